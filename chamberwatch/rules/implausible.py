"""Bad input that persists: a leaky count, `WEIGHT` up for each refused or glitching piece, 1 down for a good.

Raised at `RAISE_AT`: by ten bad pieces in a row, and sooner or later by any share of bad ones above a
quarter. A smaller share gets there by chance only. Mean number of pieces until then, computed exactly (a
Markov chain's first passage): 3 in 10 bad: 120; 1 in 5: 2600; 1 in 10: 24 million, over 7 years of readings
each 10 s. A glitch counts when a later reading unmasks it. Returned
at 0: three good pieces for each bad one, `CAP` at most. Our own choice, no source. Missing input: no step.
"""

from __future__ import annotations

from typing import NamedTuple

WEIGHT = 3
RAISE_AT = 10 * WEIGHT
CAP = 2 * RAISE_AT
SUSPECT_AT = 5 * WEIGHT
"""From here on its readings are not judged: half way to the alarm."""


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
