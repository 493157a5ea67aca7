"""All that is known of a piece's drying as of a time, from the journal, in the meat's own terms.

Only readings, weigh-ins and stays up to that time are used, so that a forecast of last week can be looked at
again. Hours nobody measured carry the planned air, marked as supposed.
"""

from __future__ import annotations

import math
from statistics import fmean, stdev
from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.daemon.hang_clock import HangClock
from chamberwatch.errors import FactRefused
from chamberwatch.meat.forecast import LONGEST_DAYS, Ahead
from chamberwatch.meat.hours import Air, checked, filled
from chamberwatch.meat.piece import Piece, piece
from chamberwatch.meat.posterior import WeighedAt
from chamberwatch.meat.prior import GAP_RH_PCT
from chamberwatch.model import MS_PER_H, Band, ChamberKind, ChamberPlan
from chamberwatch.rules.planned import middle

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from chamberwatch.daemon.hang_clock import Span
    from chamberwatch.journal.pieces import Piece as Recorded
    from chamberwatch.journal.reader import Reader

UNPLANNED = ChamberPlan(
    "", ChamberKind.CURE_CHAMBER, Band(10.0, 15.0, 60.0), Band(70.0, 80.0, 100.0)
)
"""A chamber the journal has no plan of is taken for one with the usual band."""
HUNG_MS = 2 * MS_PER_H
"""A weigh-in so near the hang is the hanging weight."""
LOOK_BACK_H = 14 * 24
WEEK_H = 7 * 24
ENOUGH_H = 24
"""With fewer measured hours than this the air to come is the planned air."""
PLAN_KNOWN = 0.53
"""How far the planned air is as good as measured: with a probe's 2 %RH and the 6 %RH of air nobody measured
that is ± 3 %RH, and ± 0.7 °C."""
LEAST_SPREAD_PCT = 1.0
CLIPPED_H = LONGEST_DAYS * 24 - 1


class Course(NamedTuple):
    """A piece's drying so far: air and plan by the hour of hanging, weigh-ins, the air to come."""

    piece: Piece
    clock: HangClock
    air: Air
    plan: Air
    weighed: list[WeighedAt]
    ahead: Ahead
    measured_h: int
    """Hours that somebody measured."""
    ahead_measured: bool
    """Whether the air to come is that of the last days, and not just the plan."""


def course(reader: Reader, recorded: Recorded, as_of_ms: int, when: Callable[[int], str]) -> Course:
    """Return what is known of the piece's drying as of a time [ms UTC]; `when` writes a time for a person.

    Raises:
        FactRefused: the piece cannot be given a date (discarded, not hung yet, facts no whole muscle has).
    """
    _check(recorded, as_of_ms, when)
    clock = HangClock(recorded.hangs, as_of_ms)
    hung_g, weighed = _weights(recorded, clock)
    known = piece(recorded.facts, hung_g=hung_g, fan=recorded.facts.fan)
    temps, rhs, plan = _air(reader, clock)
    air = filled(temps, rhs, plan)
    ahead, measured = expected(air, plan)
    return Course(known, clock, air, plan, weighed, ahead, int(air.known.sum()), measured)


def _check(recorded: Recorded, as_of_ms: int, when: Callable[[int], str]) -> None:
    if recorded.discarded_ms is not None and recorded.discarded_ms <= as_of_ms:
        raise FactRefused(
            f"{recorded.name} was discarded {when(recorded.discarded_ms)} ({recorded.discarded_why}): "
            "a discarded piece gets no date"
        )
    if as_of_ms < recorded.hung_ms:
        raise FactRefused(
            f"{recorded.name} was hung {when(recorded.hung_ms)}: before that there is no drying to forecast"
        )


def _weights(recorded: Recorded, clock: HangClock) -> tuple[float | None, list[WeighedAt]]:
    """Return the hanging weight without tare [g] if it was weighed then, and all later weigh-ins."""
    known = [w for w in recorded.weigh_ins if recorded.hung_ms - HUNG_MS <= w.at_ms <= clock.until_ms]
    hung_g = None
    if known and known[0].at_ms <= recorded.hung_ms + HUNG_MS:
        hung_g = known.pop(0).whole_g
    return hung_g, [WeighedAt(clock.at_h(w.at_ms), w.whole_g) for w in known if w.at_ms > recorded.hung_ms]


def _air(reader: Reader, clock: HangClock) -> tuple[list[float], list[float], Air]:
    """Return the air of each hour of hanging, NaN where it is not known, and what was planned for it."""
    temps: list[float] = []
    rhs: list[float] = []
    plan: list[tuple[float, float]] = []
    for span in clock.spans:
        seen = {hour.number: hour for hour in reader.hours(span.chamber, span.from_ms, span.to_ms)}
        numbers = range(span.hours)
        temps += [seen[n].temp_c if n in seen else math.nan for n in numbers]
        rhs += [seen[n].rh_pct if n in seen else math.nan for n in numbers]
        plan += _planned(reader, span)
    if not temps:  # hung less than an hour ago: one hour of planned air stands in, as supposed
        temps, rhs, plan = [math.nan], [math.nan], [middle(_plan(reader, clock.spans[-1].chamber), (), 0)]
    clip = slice(0, CLIPPED_H)
    wanted = checked([temp_c for temp_c, _ in plan[clip]], [rh_pct for _, rh_pct in plan[clip]])
    return temps[clip], rhs[clip], wanted


def _planned(reader: Reader, span: Span) -> list[tuple[float, float]]:
    chamber, stays = _plan(reader, span.chamber), reader.hanging_times(span.chamber)
    if not chamber.phases:
        return [middle(chamber, (), 0)] * span.hours
    return [middle(chamber, stays, span.from_ms + n * MS_PER_H) for n in range(span.hours)]


def _plan(reader: Reader, chamber: str) -> ChamberPlan:
    plan = reader.plan()
    known = [c for c in plan.chambers if c.name == chamber] if plan is not None else []
    return known[0] if known else UNPLANNED


def expected(air: Air, plan: Air) -> tuple[Ahead, bool]:
    """Return the air to come: as in the last 14 days, with their days' spread; else as planned.

    What is missing of a week of measured hours is made up by the plan: a bad first day is not for ever.
    """
    seen = air.known[-LOOK_BACK_H:] > 0
    hours = int(seen.sum())
    if hours < ENOUGH_H:
        return Ahead(float(plan.temp_c[-1]), float(plan.rh_pct[-1]), PLAN_KNOWN), False
    temps, rhs = air.temp_c[-LOOK_BACK_H:][seen], air.rh_pct[-LOOK_BACK_H:][seen]
    spread = min(max(_daily_spread(rhs.tolist()), LEAST_SPREAD_PCT), GAP_RH_PCT)
    part = min(hours / WEEK_H, 1.0)
    pairs = (
        (float(temps.mean()), float(plan.temp_c[-1])),
        (float(rhs.mean()), float(plan.rh_pct[-1])),
        (1.0 - spread / GAP_RH_PCT, PLAN_KNOWN),
    )
    return Ahead(*(part * seen_one + (1.0 - part) * planned for seen_one, planned in pairs)), True


def _daily_spread(rhs: Sequence[float]) -> float:
    """Return the spread of the mean of a week, from that of its days [%RH]."""
    days = [fmean(rhs[n : n + 24]) for n in range(0, len(rhs) - 23, 24)]
    return stdev(days) / math.sqrt(7) if len(days) > 1 else LEAST_SPREAD_PCT
