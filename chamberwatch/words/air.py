"""The air outside its plan: temperature-high/-low, humidity-high/-low, when it begins and when it ends.

What air does to meat is trade practice here (common practice, no source), never a model's result.
"""

from __future__ import annotations

from chamberwatch.model import ChamberKind, Kind, Note
from chamberwatch.words import cautions
from chamberwatch.words.kinds import TEMPERATURE_KINDS, WARM_KINDS
from chamberwatch.words.view import View, Wording

CURE, COLD, ROOM = ChamberKind.CURE_CHAMBER, ChamberKind.COLD, ChamberKind.ROOM
APART_C, APART_PCT = 1.0, 5.0
"""From here on two probes of one chamber contradict each other (our choice; twice their usual accuracy)."""
FRESH_DAYS = 3
"""A piece just hung sheds so much water that the air runs damp by itself (common practice, no source)."""

_STUCK_COLD = "thermostat setting, a compressor that won't stop, the probe against the coil"
CHECK = {
    (Kind.TEMPERATURE_HIGH, CURE): "door shut and sealing, plug and breaker, thermostat, iced coil, fan",
    (Kind.TEMPERATURE_HIGH, COLD): "door shut and sealing, plug and breaker, thermostat, goods put in warm",
    (Kind.TEMPERATURE_HIGH, ROOM): "windows and sun, a heater or machine nearby, a cooler corner",
    (Kind.TEMPERATURE_LOW, CURE): _STUCK_COLD,
    (Kind.TEMPERATURE_LOW, COLD): _STUCK_COLD,
    (Kind.TEMPERATURE_LOW, ROOM): "windows, frost outside, a warmer corner",
    (Kind.HUMIDITY_HIGH, CURE): "humidifier stuck on, standing water, blocked drain, idle compressor, fan",
    (Kind.HUMIDITY_HIGH, COLD): "spilled brine, standing water, blocked drain, door seal",
    (Kind.HUMIDITY_HIGH, ROOM): "windows against the weather, wet floor, pieces too close for air to pass",
    (Kind.HUMIDITY_LOW, CURE): "humidifier water and hose, fan too strong, door, compressor without a pause",
    (Kind.HUMIDITY_LOW, COLD): "whether the pieces are covered or bagged, fan, door seal",
    (Kind.HUMIDITY_LOW, ROOM): "draught and windows, a heater, the floor (wet it), a damper corner",
}
"""What to check first, likeliest cause first (common practice, no source)."""


def begins(view: View) -> Wording:
    """Word any of the four as it begins."""
    return _headline(view), [
        witnesses(view),
        view.hanging,
        meaning(view),
        *reminder(view),
    ]


def reminder(view: View) -> list[str]:
    """Return what to check, whether it can wait, and the cautions."""
    check = f"Check first: {CHECK[view.event.kind, view.kind]}."
    return [check, wait(view), *_cautions(view.event.kind)]


def _headline(view: View) -> str:
    event = view.event
    if past_urgent(view, event.value):
        return _urgent_headline(view)
    line = f"{view.chamber} is {view.too}: {view.value} since {view.since}"
    if event.limit is None:
        return f"{line}."
    bound = "at most" if event.kind in {Kind.TEMPERATURE_HIGH, Kind.HUMIDITY_HIGH} else "at least"
    return f"{line}, planned {bound} {view.limit(event.limit)}."


def _urgent_headline(view: View) -> str:
    plan, name = view.scene.chamber, view.chamber.upper()
    if view.event.kind is Kind.TEMPERATURE_HIGH:
        limit = view.limit(plan.urgent_high_c)
        return f"{name} IS HOT: {view.value}, past {limit}; too warm since {view.since}."
    limit = view.limit(plan.urgent_low_c)
    return f"{name} NEAR FREEZING: {view.value}, below {limit}; too cold since {view.since}."


# -- who says so ------------------------------------------------------------------------------------------


def witnesses(view: View) -> str:
    """Return who measured it and whether anybody else agrees; a lone probe gets the doubt it deserves."""
    line = measured(view)
    if view.other:
        doubt = " They don't agree: a plain thermometer and hygrometer decide." if _contradicted(view) else ""
        return f"{line}; {view.scene.other_probe} reads {view.other}.{doubt}"
    if len(view.event.probes) > 1:
        return f"{line}."
    state = {Kind.TEMPERATURE_HIGH: "hot"}.get(view.event.kind, view.too)
    return alone(view, f"it is {state} in there", urgent=view.event.kind is Kind.TEMPERATURE_HIGH)


def measured(view: View) -> str:
    """Return who measured it; a room is judged by a whole day's mean, except when it is past all waiting."""
    if view.kind is ROOM and view.event.note is not Note.RAISED:
        return f"It is the mean of the 24 h to {view.at}, by {view.probes}"
    return f"Measured by {view.probes} at {view.at}"


def alone(view: View, claim: str, *, urgent: bool) -> str:
    """Word the doubt about a lone probe; what is urgent must not be slept over."""
    urge = "Look now." if urgent else "A plain instrument decides."
    return f"I hear only {view.probes} there: either the probe is wrong or {claim}. {urge}"


def _contradicted(view: View) -> bool:
    plan, scene, value = view.scene.chamber, view.scene, view.event.value
    band, other, apart = plan.humidity, scene.other_rh_pct, APART_PCT
    if view.event.kind in TEMPERATURE_KINDS:
        band, other, apart = plan.temperature, scene.other_temp_c, APART_C
    if other is None or value is None or view.kind is ROOM:
        return False  # a moment against a day's mean proves nothing
    return band.low <= other <= band.high and abs(value - other) > apart


# -- what it means ----------------------------------------------------------------------------------------


def meaning(view: View) -> str:
    """Return what this air does to what hangs there."""
    match view.event.kind, view.kind:
        case Kind.TEMPERATURE_HIGH, _:
            return warmth(view)
        case Kind.TEMPERATURE_LOW, ChamberKind.COLD:
            return "Near freezing salt travels slower, and frozen meat takes none: salting then takes longer."
        case Kind.TEMPERATURE_LOW, _:
            return "Cold spoils nothing: drying and mold coat slow down. Only freezing tears the grain."
        case Kind.HUMIDITY_HIGH, _:
            return _damp_meaning(view)
    return "A few hours too dry do no lasting harm. Days set a crust, and behind one the middle stops drying."


def warmth(view: View) -> str:
    """Return what warm air does to what hangs there."""
    if view.kind is COLD:
        return "Meat in salt lives by the cold: until salt is in the middle, nothing else protects it."
    return "The air warms first, a thick piece follows over hours." + _worry(view)


def _worry(view: View) -> str:
    piece = view.youngest
    if piece is None or len(view.scene.pieces) == 1:
        return " Bacteria gain most where the middle is still wet."
    return f" Bacteria gain most where the middle is still wet: {piece.name}, hung last, is the worry."


def _damp_meaning(view: View) -> str:
    piece = view.youngest
    if piece is not None and piece.day <= FRESH_DAYS:
        return f"{piece.name} was hung lately and gives off much water: first days run damp by themselves."
    return "Damp air slows the drying and invites mold you don't want; that takes days, not hours."


# -- can it wait ------------------------------------------------------------------------------------------


def past_urgent(view: View, number: float | None) -> bool:
    """Tell whether a temperature is past the limit that wakes people."""
    if number is None:
        return False
    if view.event.kind in WARM_KINDS:
        return number > view.scene.chamber.urgent_high_c
    return view.event.kind is Kind.TEMPERATURE_LOW and number < view.scene.chamber.urgent_low_c


def wait(view: View) -> str:
    """Return whether it can wait till morning, and what to do at night if it can't."""
    match view.event.kind:
        case Kind.TEMPERATURE_HIGH:
            return _wait_warm(view)
        case Kind.TEMPERATURE_LOW if past_urgent(view, view.event.value):
            return "Wait till morning: no, it is close to freezing. Turn up the thermostat, or unplug."
        case Kind.TEMPERATURE_LOW:
            limit = view.limit(view.scene.chamber.urgent_low_c)
            return f"Wait till morning: yes, while it stays above {limit}; I'll tell you if it doesn't."
        case Kind.HUMIDITY_LOW:
            return "Wait till morning: yes. Don't spray the meat."
    return "Wait till morning: yes."


def rescue(view: View) -> str:
    """Return what to do with the meat when the chamber can't be mended."""
    cold = "36-39 °F" if view.scene.units == "us" else "2-4 °C"
    move = f"Can't mend it? Move the pieces to {'another' if view.kind is COLD else 'a'} fridge at {cold}"
    return f"{move}." if view.kind is COLD else f"{move} tonight; drying only pauses."


def _wait_warm(view: View) -> str:
    if view.kind is COLD:
        return f"Wait till morning: no. {rescue(view)}"
    limit = view.limit(view.scene.chamber.urgent_high_c)
    if past_urgent(view, view.event.value):
        return f"Wait till morning: no, it is past {limit}. {rescue(view)}"
    return f"Wait till morning: only while it stays below {limit}; I'll tell you if it doesn't."


def _cautions(kind: Kind) -> tuple[str, ...]:
    if kind is Kind.TEMPERATURE_HIGH:
        return cautions.WARM, cautions.DISCARD
    return (cautions.MOLD,) if kind is Kind.HUMIDITY_HIGH else ()


# -- back in plan -----------------------------------------------------------------------------------------


def ends(view: View) -> Wording:
    """Word the end of any of the four: how long, how far, what to look at now."""
    event = view.event
    far = view.figure(event.worst, beside=event.limit)
    worst = "" if event.worst is None else f"The furthest was {far}. "
    return f"{view.chamber} is back as planned: {view.value}, after {view.lasted} {view.too}.", [
        f"{worst}It began {view.since}.",
        view.hanging,
        *(_afterwards(view) if view.scene.pieces else ()),
    ]


def _afterwards(view: View) -> tuple[str, ...]:
    match view.event.kind:
        case Kind.TEMPERATURE_HIGH:
            return after_warmth(view)
        case Kind.TEMPERATURE_LOW if past_urgent(view, view.event.worst):
            return ("Press the pieces: hard as ice means frozen. Let those thaw slowly in the planned air.",)
        case Kind.TEMPERATURE_LOW:
            return ("Nothing to do; the drying takes a little longer.",)
        case Kind.HUMIDITY_HIGH:
            return "At the next door opening look for mold and wet spots.", cautions.MOLD
    return ("At the next door opening press the pieces: leather outside, soft inside is a crust beginning.",)


def after_warmth(view: View) -> tuple[str, ...]:
    """Return what to look at once it is cool again, by how warm it was."""
    if not past_urgent(view, view.event.worst) and view.kind is not COLD:
        return "Look the pieces over at the next door opening.", cautions.DISCARD
    first = ", the one hung last first" if len(view.scene.pieces) > 1 else ""
    look = f"Look the pieces over today{first}. I cannot tell you that they are safe."
    return look, cautions.WARM, cautions.DISCARD
