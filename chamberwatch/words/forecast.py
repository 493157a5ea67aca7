"""A forecast in words: in rough words before two weigh-ins, with days and an honest interval after.

Pure. What is an estimate says so; nothing here says that food is safe.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.words.cautions import DISCARD, READY, UNPROVEN
from chamberwatch.words.dates import day_of, say_day, say_days, say_roughly
from chamberwatch.words.units import show_mass, show_rh, show_temp

if TYPE_CHECKING:
    from datetime import date, tzinfo

WEIGH_INS_FOR_DAYS = 2
"""Before so many a single day would be believed too much."""


class Span(NamedTuple):
    """The middle 80 % and the median."""

    low: float
    middle: float
    high: float


class Dated(NamedTuple):
    """What is told of one piece: times in ms UTC, parts of green weight in %, water activities 0..1."""

    name: str
    day: int
    as_of_ms: int
    target_loss_pct: float
    loss_pct: Span
    ready_ms: Span
    open_end: bool
    surface_aw: float
    core_aw: float
    mean_aw: float
    ready_mean_aw: float
    weigh_ins: int
    tare_g: float
    measured_h: int
    unknown_h: int
    ahead_c: float
    ahead_pct: float
    ahead_from: str
    """Where the air to come is taken from: "days", "plan" or "asked"."""
    kind: str = ""
    finished: tuple[int, float, float] | None = None
    """Finished pieces of this kind here that moved the date: how many, their mean days and loss [%]."""


def say_forecast(told: Dated, units: str, zone: tzinfo) -> list[str]:
    """Return paragraphs, the first one with the date."""
    today = day_of(told.as_of_ms, zone)
    loss = told.loss_pct
    lost = (
        f"Lost so far: {loss.middle:.1f} % of its green weight ({loss.low:.1f} to {loss.high:.1f}); "
        f"target {told.target_loss_pct:g} %."
    )
    moist = (
        f"Water activity, an estimate nobody measured: {told.surface_aw:.2f} at the surface, "
        f"{told.core_aw:.2f} in the centre, {told.mean_aw:.2f} once evened out; at the target "
        f"{told.ready_mean_aw:.2f} evened out."
    )
    return [
        f"{told.name}, day {told.day}: {_date(told, today, zone)}",
        lost,
        moist,
        _basis(told, units),
        *_finished(told),
        _narrower(told),
        READY + DISCARD,
        UNPROVEN,
    ]


def _date(told: Dated, today: date, zone: tzinfo) -> str:
    first, middle, last = (day_of(round(ms), zone) for ms in told.ready_ms)
    if told.loss_pct.low >= told.target_loss_pct:
        return f"has reached its target, about {say_day(middle, today)}."
    if told.open_end:
        return f"not before {say_day(first, today)}; in this air it may take over a year, or never get there."
    if told.weigh_ins < WEIGH_INS_FOR_DAYS:
        return f"ready {say_roughly(first, last, today)} (4 chances in 5)."
    return f"ready about {say_day(middle, today)} (4 chances in 5: {say_days(first, last, today)})."


def _basis(told: Dated, units: str) -> str:
    weigh_ins = {0: "no weigh-in", 1: "one weigh-in"}.get(told.weigh_ins, f"{told.weigh_ins} weigh-ins")
    hours = f"{told.measured_h} h of measured air"
    unknown = f", {told.unknown_h} h that nobody measured" if told.unknown_h else ""
    source = {
        "days": "as in the last days", "plan": "as planned", "asked": "as you asked",
    }[told.ahead_from]  # fmt: skip
    return (
        f"Based on {weigh_ins} (tare {show_mass(told.tare_g, units)}), {hours}{unknown}; from now on "
        f"{show_temp(told.ahead_c, units)} and {show_rh(told.ahead_pct)}, {source}."
    )


def _finished(told: Dated) -> list[str]:
    if told.finished is None:
        return []
    count, days, loss_pct = told.finished
    which = f"Your last {told.kind} here" if count == 1 else f"Your last {count} pieces of {told.kind} here"
    return [f"{which}: {days:.0f} days, {loss_pct:.0f} %; that counts in this date."]


def _narrower(told: Dated) -> str:
    if told.weigh_ins < WEIGH_INS_FOR_DAYS:
        return "What would narrow it most: weigh it now and again in a week, on the same scale."
    return "What would narrow it most: another weigh-in; and a probe held against a second one."
