"""Air on its way out of plan, and humidity that swings: temperature-drift, humidity-drift, humidity-swing.

What air does to meat is trade practice here (common practice, no source), never a model's result.
"""

from __future__ import annotations

from chamberwatch.model import ChamberKind, EventState, Kind
from chamberwatch.words import air, cautions
from chamberwatch.words.view import View, Wording

FELT, FAST = "felt", "fast"
"""`Event.detail` of a swing: which of the two tests it met."""

GETS = {
    Kind.TEMPERATURE_HIGH: ("warmer", "rising"),
    Kind.TEMPERATURE_LOW: ("colder", "falling"),
    Kind.HUMIDITY_HIGH: ("damper", "rising"),
    Kind.HUMIDITY_LOW: ("drier", "falling"),
}
FAST_CHECK = {
    ChamberKind.CURE_CHAMBER: "a gap between the settings of humidifier and dehumidifier, a humidifier too "
    "strong or blowing at the probe, fan",
    ChamberKind.COLD: "a fan that cycles, door seal, brine or standing water under the probe",
    ChamberKind.ROOM: "a humidifier or heater that cycles, windows, the probe in a draught",
}
FELT_CHECK = {
    ChamberKind.CURE_CHAMBER: "what keeps that rhythm: day and night, the room around, a humidifier run dry "
    "and refilled, vent, door",
    ChamberKind.COLD: "what keeps that rhythm: the room around, door seal, pieces covered and uncovered",
    ChamberKind.ROOM: "what keeps that rhythm: windows by day and night, a heater, a floor that dries out",
}
"""What to check first, likeliest cause first (common practice, no source)."""


# -- temperature-drift, humidity-drift --------------------------------------------------------------------


def towards(view: View) -> Kind | None:
    """Return which way it goes, as the kind that stands at the end of it; None if the event doesn't tell."""
    event, plan = view.event, view.scene.chamber
    if event.value is None or event.limit is None:
        return None
    band = plan.temperature if view.in_degrees else plan.humidity
    ahead = event.limit - event.value or event.limit - (band.low + band.high) / 2
    up = (ahead > 0) is not _met(view)
    if view.in_degrees:
        return Kind.TEMPERATURE_HIGH if up else Kind.TEMPERATURE_LOW
    return Kind.HUMIDITY_HIGH if up else Kind.HUMIDITY_LOW


def _met(view: View) -> bool:
    """Whether it was past the limit when it was told; of a later time the event says nothing."""
    event = view.event
    first = event.state is EventState.ACTIVE
    return first and event.meets_ms is not None and event.meets_ms <= event.at_ms


def drifts(view: View) -> Wording:
    """Word a drift as it begins: which way, how far, when it meets the limit."""
    toward = towards(view)
    if toward is None:
        headline = f"{view.matter()} since {view.since}."
    else:
        gets, going = GETS[toward]
        headline = f"{view.chamber} gets {gets}: {view.value} and {going} since {view.since}, {_meets(view)}."
    other = f"; {view.scene.other_probe} reads {view.other}" if view.other else ""
    return headline, [
        f"The figure is a mean over whole cycles, half an hour at least, by {view.probes}{other}.",
        view.hanging,
        *_outlook(view, toward),
        *drift_reminder(view),
    ]


def _meets(view: View) -> str:
    limit, meets_ms = view.limit(view.event.limit or 0.0), view.event.meets_ms
    if meets_ms is None:
        return f"towards {limit}"
    return f"past {limit} already" if _met(view) else f"crosses {limit} about {view.ahead(meets_ms)}"


def _outlook(view: View, toward: Kind | None) -> tuple[str, ...]:
    if toward is None or _met(view):
        return ()
    bound = "at most" if toward in {Kind.TEMPERATURE_HIGH, Kind.HUMIDITY_HIGH} else "at least"
    limit = view.limit(view.event.limit or 0.0)
    return (
        f"Planned is {bound} {limit}: on average the air is as planned so far.",
        "The hour I name holds if it goes on at this pace.",
    )


def drift_reminder(view: View) -> list[str]:
    """Return what to check, and whether it can wait."""
    toward = towards(view)
    if toward is None:
        return ["Wait till morning: yes; if it leaves the plan I'll tell you."]
    return [f"Check first: {air.CHECK[toward, view.kind]}.", _wait(view, toward)]


def _wait(view: View, toward: Kind) -> str:
    plan = view.scene.chamber
    if toward is Kind.TEMPERATURE_HIGH and view.kind is ChamberKind.COLD:
        limit = view.limit(plan.temperature.high)
        return f"Wait till morning: only while it stays below {limit}; meat in salt lives by the cold."
    match toward:
        case Kind.TEMPERATURE_HIGH:
            stays = f", while it stays below {view.limit(plan.urgent_high_c)}"
        case Kind.TEMPERATURE_LOW:
            stays = f", while it stays above {view.limit(plan.urgent_low_c)}"
        case _:
            stays = ""
    return f"Wait till morning: yes{stays}; if it leaves the plan I'll tell you."


def drift_ends(view: View) -> Wording:
    """Word the end of a drift; whether the air is as planned is another matter."""
    limit = "" if view.event.limit is None else f", limit {view.limit(view.event.limit)}"
    return f"{view.chamber} drifts no more: {view.value}{limit}, after {view.lasted}.", [
        f"It had gone that way since {view.since}.",
        view.hanging,
        "This is about the drift alone: air outside its plan I tell you apart.",
    ]


# -- humidity-swing ---------------------------------------------------------------------------------------


def swings(view: View) -> Wording:
    """Word a swing as it begins, by the test it met."""
    name, far, since = view.chamber, view.value, view.since
    headline = {
        FAST: f"Humidity in {name} swings by {far} again and again since {since}: controls at odds?",
        FELT: f"Slow humidity swings in {name}, felt by the meat's outside: {far} since {since}.",
    }.get(view.event.detail, f"Humidity in {name} swings by {far} since {since}.")
    return headline, [*_swing_meaning(view), view.hanging, *swing_reminder(view)]


def _swing_meaning(view: View) -> tuple[str, ...]:
    least = "" if view.event.limit is None else f" by {view.limit(view.event.limit)} or more"
    meanings = {
        FAST: (
            f"Six times or more within 6 h it went up and down{least}, by {view.probes}.",
            "So it goes when controls fight: one wets while another dries.",
            "The meat hardly feels swings so quick; what they cost is water and wear.",
        ),
        FELT: (
            f"Twice or more within three days the outer millimetre went up and down{least}.",
            f"That is an estimate from the air, by {view.probes}.",
            "Each dry half sets the outside a little harder, each damp half invites mold you don't want.",
        ),
    }
    return meanings.get(view.event.detail, ())


def swing_reminder(view: View) -> list[str]:
    """Return what to check, and whether it can wait."""
    felt = view.event.detail == FELT
    check = (FELT_CHECK if felt else FAST_CHECK)[view.kind]
    lines = [f"Check first: {check}.", "Wait till morning: yes. Then change one thing at a time."]
    return [*lines, cautions.MOLD] if felt else lines


def swing_ends(view: View) -> Wording:
    """Word the end of a swing."""
    press = "At the next door opening press the pieces: leather outside, soft inside is a crust beginning."
    felt = view.event.detail == FELT and view.scene.pieces
    return f"Humidity in {view.chamber} is calm again, after {view.lasted} of swings.", [
        f"They began {view.since}.",
        view.hanging,
        press if felt else "Nothing to do.",
    ]
