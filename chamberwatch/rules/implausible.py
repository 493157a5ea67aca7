"""Bad input that persists: a leaky count, +1 for each refused or glitching piece, -1 for each good reading.

Raised at `RAISE_AT`, returned at 0, capped so that it returns in bounded time: a probe is implausible once
it has sent six more bad pieces than good ones. One-off noise never gets there. Our own choice, no source.
Missing input: no step, no change.
"""

from __future__ import annotations

from typing import NamedTuple

RAISE_AT = 6
CAP = 12


class State(NamedTuple):
    """Bad pieces minus good ones (0..CAP), since when, and whether the alarm stands."""

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
    excess = min(state.excess + 1, CAP)
    since_ms = state.since_ms if state.excess else at_ms
    rises = excess >= RAISE_AT and not state.active
    return State(excess, since_ms, state.active or rises), True if rises else None
