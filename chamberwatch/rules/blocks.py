"""Five-minute means of one quantity over the last hours: the mean of the last full cycle, and of a day.

Missing input: a block without a reading does not exist. Bounded: `KEPT` blocks.
"""

from __future__ import annotations

from typing import NamedTuple

from chamberwatch.model import MS_PER_MIN

BLOCK_MS = 5 * MS_PER_MIN
KEPT = 48
"""Four hours: the longest cycle that is learnt."""


class State(NamedTuple):
    """The block under way (number, sum, count) and the closed ones as (end, mean)."""

    number: int = -1
    total: float = 0.0
    seen: int = 0
    closed: tuple[tuple[int, float], ...] = ()


def step(state: State, at_ms: int, value: float, period_ms: int | None) -> State:
    """Add a minute's mean that ended at `at_ms`; keep what a period needs, once one is known."""
    number = (at_ms - 1) // BLOCK_MS
    if number == state.number:
        return State(number, round(state.total + value, 3), state.seen + 1, state.closed)
    closed = state.closed
    if state.seen:
        ended_ms = (state.number + 1) * BLOCK_MS
        closed = (*closed, (ended_ms, round(state.total / state.seen, 2)))
        closed = closed[-(KEPT if period_ms is None else period_ms // BLOCK_MS + 2) :]
    return State(number, value, 1, closed)


def mean_of_last(state: State, at_ms: int, period_ms: int) -> float | None:
    """Return the mean over the last full period that ended with a block; None if too little was seen."""
    if not state.closed or at_ms - state.closed[-1][0] > 2 * BLOCK_MS:
        return None
    since_ms = state.closed[-1][0] - period_ms
    values = [v for ended_ms, v in state.closed if ended_ms > since_ms]
    if len(values) * BLOCK_MS < 0.8 * period_ms - BLOCK_MS:
        return None
    return sum(values) / len(values)
