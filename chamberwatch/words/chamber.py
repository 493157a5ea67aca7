"""What the chamber itself does wrong: cooling-lost, door-open, condensation-risk.

What that does to meat is trade practice here (common practice, no source), never a model's result.
"""

from __future__ import annotations

from chamberwatch.model import MS_PER_H, MS_PER_MIN, ChamberKind
from chamberwatch.words import air, cautions
from chamberwatch.words.view import View, Wording

PACE_FROM_MS = 10 * MS_PER_MIN
"""A climb must have lasted so long before an hour is told for where it leads."""
PACE_TO_MS = 12 * MS_PER_H
"""So far ahead a straight line says nothing: air warms ever more slowly towards the room's."""

CURE, COLD, ROOM = ChamberKind.CURE_CHAMBER, ChamberKind.COLD, ChamberKind.ROOM
COOLING_CHECK = {
    CURE: "plug and breaker, thermostat, iced coil, fan, door, whether the compressor hums",
    COLD: "plug and breaker, thermostat, door, iced coil, goods put in warm",
    ROOM: "plug and breaker of what cools it, its filter and coil, windows and doors, sun",
}
DOOR_CHECK = {
    CURE: "the latch, a hook, net or hose in the gap, the seal; then stay until it closes by itself",
    COLD: "the latch, a bag or box that keeps it open, the seal",
    ROOM: "door and windows, what the wind has opened",
}
WET_CHECK = {
    CURE: "a piece hung in cold, damp air by the door, a long pause of cooling, fan, humidifier stuck on",
    COLD: "goods put in warm, damp air let in, door seal, standing water",
    ROOM: "windows open to damp warm weather, a wet floor, pieces brought in cold",
}
"""What to check first, likeliest cause first (common practice, no source)."""


# -- cooling-lost -----------------------------------------------------------------------------------------


def not_cooling(view: View) -> Wording:
    """Word `cooling-lost` as it begins: how warm, where it leads, since when the compressor is overdue."""
    name, leads = view.chamber.upper(), _leads(view)
    return f"{name} NOT COOLING: {view.value}{leads}; compressor overdue since {view.since}.", [
        f"{_by(view, 'the cooling has stopped')} {_overdue(view)}",
        "The hour I name holds if it climbs on at this pace." if "about" in leads else "",
        view.hanging,
        air.warmth(view),
        *cooling_reminder(view),
    ]


def _by(view: View, claim: str) -> str:
    """Return who measured it; a lone probe gets its doubt."""
    line = f"Measured by {view.probes} at {view.at}"
    if view.other:
        return f"{line}; {view.scene.other_probe} reads {view.other}."
    return f"{line}." if len(view.event.probes) > 1 else air.alone(view, claim, urgent=True)


def _overdue(view: View) -> str:
    usual = view.event.limit
    turns = "" if usual is None else f"; usually the air turns at {view.figure(usual)}"
    return f"The compressor should have run by {view.since}{turns}."


def _leads(view: View) -> str:
    """Return ", 18 °C by about 04:40" where the climb since the compressor was due says so."""
    event, urgent_c = view.event, view.scene.chamber.urgent_high_c
    if event.value is None or event.limit is None:
        return ""
    if event.value > urgent_c:
        return f", past {view.limit(urgent_c)}"
    climbed_c, lasted_ms = event.value - event.limit, event.at_ms - event.since_ms
    if climbed_c <= 0 or lasted_ms < PACE_FROM_MS:
        return ""
    ahead_ms = (urgent_c - event.value) / climbed_c * lasted_ms
    if ahead_ms > PACE_TO_MS:
        return ""
    return f", {view.limit(urgent_c)} by about {view.ahead(event.at_ms + round(ahead_ms))}"


def cooling_reminder(view: View) -> list[str]:
    """Return what to check, that it cannot wait, and the cautions."""
    return [
        f"Check first: {COOLING_CHECK[view.kind]}.",
        f"Wait till morning: no. {air.rescue(view)}",
        cautions.WARM,
        cautions.DISCARD,
    ]


def cools_again(view: View) -> Wording:
    """Word the end of `cooling-lost`."""
    return f"{view.chamber} cools again: {view.value}, after {view.lasted}.", [
        f"{_furthest(view)}The compressor had been overdue since {view.since}.",
        view.hanging,
        "What stopped once may stop again: look for the reason while it runs.",
        *(air.after_warmth(view) if view.scene.pieces else ()),
    ]


def _furthest(view: View) -> str:
    return "" if view.event.worst is None else f"The furthest was {view.figure(view.event.worst)}. "


# -- door-open --------------------------------------------------------------------------------------------


def door_stands(view: View) -> Wording:
    """Word `door-open` as it begins: from where to where, since when."""
    what = "Door or window" if view.kind is ROOM else "Door"
    came = "Outside" if view.kind is ROOM else "Room"
    foot = "" if view.event.limit is None else f"Up from {view.figure(view.event.limit)} to "
    return f"{what} of {view.chamber} open? {foot}{view.value} since {view.since}, not coming back.", [
        f"{came} air came in fast and stays. {_by(view, 'something stands open')}",
        view.hanging,
        air.warmth(view),
        *door_reminder(view),
    ]


def door_reminder(view: View) -> list[str]:
    """Return what to check, whether it can wait, and the cautions."""
    lines = [f"Check first: {DOOR_CHECK[view.kind]}.", _wait_door(view)]
    warm = view.kind is COLD or air.past_urgent(view, view.event.value)
    return [*lines, cautions.WARM, cautions.DISCARD] if warm else lines


def _wait_door(view: View) -> str:
    if air.past_urgent(view, view.event.value):
        limit = view.limit(view.scene.chamber.urgent_high_c)
        return f"Wait till morning: no, it is past {limit}. {air.rescue(view)}"
    if view.kind is ROOM:
        return "Wait till morning: yes, unless frost or heat is outside."
    if view.kind is COLD:
        return "Wait till morning: no. It takes a minute to shut, and the cold is all that salting meat has."
    return "Wait till morning: better not. It takes a minute to shut, and till then it only gets warmer."


def door_shut(view: View) -> Wording:
    """Word the end of `door-open`."""
    return f"The air in {view.chamber} comes back: {view.value}, after about {view.lasted}.", [
        f"{_furthest(view)}It began {view.since}.",
        view.hanging,
        "If that was you: say `chamberwatch tend` before you open; then I wait, and check that it shut.",
        *(air.after_warmth(view) if view.scene.pieces else ()),
    ]


# -- condensation-risk ------------------------------------------------------------------------------------


def wets(view: View) -> Wording:
    """Word `condensation-risk` as it begins: the two temperatures that make it."""
    event = view.event
    surface = "" if event.limit is None else f", surface about {view.figure(event.limit, beside=event.value)}"
    return f"Wet meat in {view.chamber}? Dew point {view.value}{surface}, since {view.since}.", [
        f"Water settles on what is colder than the dew point, as on a cold glass. Air by {view.probes}.",
        "The surface is an estimate: meat follows the air an hour or two behind.",
        view.hanging,
        "An hour or two of it does little; a surface that stays wet invites slime and mold you don't want.",
        *wet_reminder(view),
    ]


def wet_reminder(view: View) -> list[str]:
    """Return what to check and do, and that it can wait."""
    return [
        f"Check first: {WET_CHECK[view.kind]}.",
        "Let air pass around every piece and dab off drops with clean paper; don't heat to dry it.",
        "Wait till morning: yes.",
        cautions.MOLD,
    ]


def dries(view: View) -> Wording:
    """Word the end of `condensation-risk`."""
    look = "At the next door opening look where pieces touch: drops and wet spots want dabbing off."
    return f"No more water settles on the meat in {view.chamber}, after {view.lasted}.", [
        f"It began {view.since}.",
        view.hanging,
        *((look, cautions.MOLD) if view.scene.pieces else ()),
    ]
