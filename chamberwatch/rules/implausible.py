"""Bad input that persists: a leaky count, + `WEIGHT` for each refused or glitching piece, -1 for a good reading.

Raised at `RAISE_AT`, returned at 0, capped so that it returns in bounded time: ten bad pieces in a row raise it,
and so does, sooner or later, any share of bad ones above a quarter. A tenth never gets there in a year: by the
random walk's exponential bound the chance of one such excursion is about 2e-7. Our own choice, no source.
Missing input: no step, no change.
"""

from __future__ import annotations

from typing import NamedTuple

WEIGHT = 3
RAISE_AT = 10 * WEIGHT
CAP = 2 * RAISE_AT


class State(NamedTuple):
    """`WEIGHT` for a bad piece, -1 for a good one (0..CAP), since when, and whether the alarm stands."""

    excess: int = 0
    since_ms: int = 0
    active: bool = False


RESTING = State()


def step(state: State, at_ms: int, *, bad: bool) -> tuple[State, bool | None]:
    """Count one piece of input at `at_ms`; return the new state and True/False on a rising/falling edge."""
    if not bad:
        if state.excess == 0:
            return state, None
        excess = state.excess - 1
        if excess == 0:
            return RESTING, False if state.active else None
        return State(excess, state.since_ms, state.active), None
    excess = min(state.excess + WEIGHT, CAP)
    since_ms = state.since_ms if state.excess else at_ms
    rises = excess >= RAISE_AT and not state.active
    return State(excess, since_ms, state.active or rises), True if rises else None
