"""The air planned for a chamber at a time: its band, its first damp days, the window of a new wet piece.

Phases are dated by the youngest piece; without phases or pieces the plain band holds. For 72 h after a piece
was hung `humidity-high` is judged from `NEW_PIECE_HIGH_PCT` at least: a new piece sheds water (about 55 g on
day one for 2 kg; common practice, no source), and that is no fault. Pure: a function of plan, facts and time.
"""

from __future__ import annotations

from collections.abc import Sequence

from chamberwatch.model import MS_PER_DAY, MS_PER_H, Band, ChamberPlan, HangingTime

NEW_PIECE_MS = 72 * MS_PER_H
NEW_PIECE_HIGH_PCT = 92.0


def humidity_band(plan: ChamberPlan, stays: Sequence[HangingTime], at_ms: int) -> Band:
    """Return the humidity that is not told of at `at_ms` [%RH], by the pieces that hang then."""
    youngest_ms = _youngest_ms(stays, at_ms)
    band = aimed_at(plan, youngest_ms)
    if youngest_ms is not None and youngest_ms < NEW_PIECE_MS:
        return Band(band.low, max(band.high, NEW_PIECE_HIGH_PCT), band.patience)
    return band


def aimed_at(plan: ChamberPlan, age_ms: int | None) -> Band:
    """Return the humidity the owner wants [%RH] when the youngest piece has hung for `age_ms`."""
    phase = None
    if age_ms is not None:
        phase = next((p for p in plan.phases if age_ms < p.until_day * MS_PER_DAY), None)
    if phase is None:
        return plan.humidity
    return Band(phase.humidity_low_pct, phase.humidity_high_pct, plan.humidity.patience)


def middle(plan: ChamberPlan, stays: Sequence[HangingTime], at_ms: int) -> tuple[float, float]:
    """Return the middle of the planned air at `at_ms` [°C, %RH]: what a piece hangs in if all goes well."""
    band = aimed_at(plan, _youngest_ms(stays, at_ms))
    return (plan.temperature.low + plan.temperature.high) / 2.0, (band.low + band.high) / 2.0


def _youngest_ms(stays: Sequence[HangingTime], at_ms: int) -> int | None:
    ages = [at_ms - s.hung_ms for s in stays if s.from_ms <= at_ms and (s.to_ms is None or at_ms < s.to_ms)]
    return min(ages, default=None)
