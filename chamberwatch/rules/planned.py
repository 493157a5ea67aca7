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
    """Return the humidity planned at `at_ms` [%RH], by the pieces that hang then."""
    ages = [at_ms - s.hung_ms for s in stays if s.from_ms <= at_ms and (s.to_ms is None or at_ms < s.to_ms)]
    band = plan.humidity
    if not ages:
        return band
    youngest_ms = min(ages)
    low, high = band.low, band.high
    phase = next((p for p in plan.phases if youngest_ms < p.until_day * MS_PER_DAY), None)
    if phase is not None:
        low, high = phase.humidity_low_pct, phase.humidity_high_pct
    if youngest_ms < NEW_PIECE_MS:
        high = max(high, NEW_PIECE_HIGH_PCT)
    return Band(low, high, band.patience)
