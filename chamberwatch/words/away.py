"""Going away: the sheet for whoever leaves, the page for whoever stands in. Pure.

What to do at a chamber is common practice, no source; the hours of slack are an estimate and say so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.model import ChamberKind
from chamberwatch.words import cautions
from chamberwatch.words.chamber import COOLING_CHECK
from chamberwatch.words.units import show_span, show_temp, show_temp_gap

if TYPE_CHECKING:
    from chamberwatch.model import ChamberPlan

CURE, COLD, ROOM = ChamberKind.CURE_CHAMBER, ChamberKind.COLD, ChamberKind.ROOM
REFILL = {
    CURE: "fill the humidifier, empty drip tray and dryer's tank, wipe the seal, see that the door shuts",
    COLD: "turn the pieces, see that bags and boxes are tight, clear the drain, see that the door shuts",
    ROOM: "shut or open the windows for the weather to come, wet the floor or not, look for pests",
}
MS_PER_H = 3_600_000.0


class Slack(NamedTuple):
    """What a chamber has once its cooling dies: its air now [°C], its climb [°C/h]; None: unknown."""

    chamber: ChamberPlan
    temp_c: float | None
    rise_c_per_h: float | None


@dataclass(frozen=True, slots=True)
class Going:
    """What the sheet is made of; times and duties are already in words."""

    until: str
    stand_in: str
    chambers: tuple[Slack, ...]
    due: tuple[str, ...]
    open_alarms: tuple[str, ...]
    remark: str
    units: str


def page(plan: ChamberPlan, remark: str, units: str, *, until: str = "") -> list[str]:
    """Return what somebody who never saw the fridge should do there, a step a line."""
    cold = "36-39 °F" if units == "us" else "2-4 °C"
    pauses = "" if plan.kind is COLD else "; drying only pauses"
    lines = [
        f"WHAT TO DO AT {plan.name}" + (f" (its owner is away until {until})" if until else ""),
        f"1. Look: {COOLING_CHECK[plan.kind]}. Read the plain thermometer inside, then shut the door.",
        "2. Put right what you can see (a plug, the door). Wait half an hour and look again.",
        f"3. Not mended? Move all the meat to another fridge at {cold}{pauses}.",
        "4. Don't spray the meat, don't freeze it, don't cut it, don't taste it, and let nobody eat of it.",
        "5. Take a photo of the thermometer and of the meat; write down the time. Tell the owner.",
    ]
    if remark:
        lines.append(f"From the owner: {remark}")
    return [*lines, cautions.DISCARD]


def slack(item: Slack, units: str) -> str:
    """Return how long there is to act once the cooling dies, or why that is not known."""
    plan = item.chamber
    if plan.kind is ROOM:
        return f"{plan.name}: has no cooling that could die."
    if item.temp_c is None:
        return f"{plan.name}: no reading yet, so I can't say."
    if item.rise_c_per_h is None or item.rise_c_per_h <= 0:
        return f"{plan.name}: how fast it warms is not learnt yet (it takes some hours of its own pauses)."
    pace = f"{show_temp_gap(item.rise_c_per_h, units)} an hour"
    return (
        f"{plan.name}: {show_temp(item.temp_c, units)} now. At the pace of its own pauses ({pace}, learnt) "
        f"{_past(item, plan.temperature.high, units)} and {_past(item, plan.urgent_high_c, units)}. "
        "An estimate: a hot day or an open door makes it shorter. A thick piece follows the air over hours."
    )


def _past(item: Slack, limit_c: float, units: str) -> str:
    left_c = limit_c - (item.temp_c or 0.0)
    if left_c <= 0 or not item.rise_c_per_h:
        return f"it is past {show_temp(limit_c, units)} already"
    left_ms = round(left_c / item.rise_c_per_h * MS_PER_H)
    return f"past {show_temp(limit_c, units)} after about {show_span(left_ms)}"


def sheet(going: Going) -> list[tuple[str, list[str]]]:
    """Return the sheet as headings, each with its lines."""
    who = (
        f"What happens is told to {going.stand_in}; what is urgent, and my own trouble, to you as well."
        if going.stand_in
        else "NOBODY STANDS IN: everything is still told to you alone. Name a stand-in with --stand-in."
    )
    found = [
        (f"Away until {going.until}", [who, "It ends by itself; `away --back` ends it sooner."]),
        ("Before you go", [f"{s.chamber.name}: {REFILL[s.chamber.kind]}." for s in going.chambers]),
        ("Falls due before you are back: do it now, or let it wait", list(going.due) or ["nothing"]),
        ("If the cooling dies", [slack(s, going.units) for s in going.chambers]),
        ("Open now", list(going.open_alarms) or ["nothing"]),
    ]
    if going.stand_in:
        heading = "For the stand-in, also sent with what is urgent"
        found += [(heading, page(s.chamber, going.remark, going.units)) for s in going.chambers]
    return found
