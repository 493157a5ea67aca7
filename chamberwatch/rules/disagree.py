"""`probes-disagree`: two probes of one chamber part from their learnt difference, and one left its own past.

The difference of hourly means is learnt over the first hours (usable after 6, final at 24); a departure of
more than `LIMIT_C` / `LIMIT_PCT` on hourly means for 2 h, or of more than `PLAIN` times that for one, is
told, naming the probe whose own mean left its own learnt mean further. Returned when the difference is back
within half the limit.

Missing input: an hour that one probe missed does not count. Frozen while an alarm stands. Source: our
choice, against the drift that makers state (0.25-0.5 %RH a year, from memory).
"""

from __future__ import annotations

from statistics import median
from typing import NamedTuple

LIMIT_C = 0.5
LIMIT_PCT = 2.0
USABLE_HOURS = 6
FINAL_HOURS = 24
HOLD_HOURS = 2
PLAIN = 1.5
"""A departure of so many limits needs no second hour."""
RECENT_HOURS = 3


class State(NamedTuple):
    """Learnt hours as (mean of a, mean of b), how many hours the departure has lasted, and who is named."""

    hours: tuple[tuple[float, float], ...] = ()
    away: int = 0
    since_ms: int = 0
    named: int = 0
    """0 nobody, 1 the first probe, 2 the second."""


class Found(NamedTuple):
    """An edge: which of the two (1 or 2), and the departure from the learnt difference [unit]."""

    probe: int
    active: bool
    value: float
    since_ms: int


def step(
    state: State, at_ms: int, a: float, b: float, within: float, *, frozen: bool
) -> tuple[State, Found | None]:
    """Add one hour's means of both probes (the hour ended at `at_ms`)."""
    departure = _departure(state, a, b)
    if departure is None or (len(state.hours) < FINAL_HOURS and abs(departure) <= within and not frozen):
        hours = state.hours if frozen else (*state.hours, (round(a, 3), round(b, 3)))
        state = state._replace(hours=hours[-FINAL_HOURS:])
    if departure is None:
        return state, None
    if state.named:
        if abs(departure) <= within / 2:
            return State(state.hours), Found(state.named, False, departure, state.since_ms)  # noqa: FBT003
        return state, None
    if abs(departure) <= within:
        return state._replace(away=0, since_ms=0), None
    away, since_ms = state.away + 1, state.since_ms or at_ms
    if away < HOLD_HOURS and abs(departure) <= PLAIN * within:
        return state._replace(away=away, since_ms=since_ms), None
    named = (
        1 if abs(a - median(h[0] for h in state.hours)) >= abs(b - median(h[1] for h in state.hours)) else 2
    )
    return State(state.hours, away, since_ms, named), Found(named, True, departure, since_ms)  # noqa: FBT003


def _departure(state: State, a: float, b: float) -> float | None:
    if len(state.hours) < USABLE_HOURS:
        return None
    return (a - b) - median(x - y for x, y in state.hours)
