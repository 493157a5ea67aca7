"""`cooling-lost`: the compressor's next run is overdue and the air climbs beyond where it always turned.

Raised when, since the last bottom, `CYCLES` learnt cycles and `SLACK_MS` have passed (`CUT_MS` after a run
that was cut short: its end is when it failed), or the longest usual pause and `DEFROST_MS`, the air is warmer
than the usual top by `ABOVE_C`, and still within `NEAR_C` of its warmest since then. So, if the air climbs at
all, at the latest two cycles and 15 min after the failure: for some of these minutes the coil is still cold.
A defrost of half an hour does not raise it. Returned when the air has come back by the usual saw-tooth
(`BACK_C` at least) from its warmest.

Without a learnt cycle: never raised (the band alarm stands in), and no pause from before it counts. Missing
input: no step; time unseen, over `GAP_MS`, is no pause. Source: our choice.
"""

from __future__ import annotations

from typing import NamedTuple

from chamberwatch.model import MS_PER_MIN
from chamberwatch.rules.cycle import GAP_MS, Learnt
from chamberwatch.rules.minute import Minute

CYCLES = 1.75
SLACK_MS = 13 * MS_PER_MIN
CUT_MS = 8 * MS_PER_MIN
DEFROST_MS = 75 * MS_PER_MIN
"""A defrost and what it takes to be cold again: where cycles are long, no need to wait for another."""
CUT_PART = 0.25
"""A bottom this part of the usual saw-tooth too high: the compressor was stopped amid its run."""
LOW_PART = 0.1
STILL_MS = 12 * MS_PER_MIN
"""What has been the same to the last digit for so long is frozen, which is another rule's matter."""
ABOVE_C = 0.4
NEAR_C = 0.15
BACK_C = 0.5
RAN_PART = 0.6
"""Of the usual saw-tooth: a fall by this means that the compressor ran."""


class State(NamedTuple):
    """The coldest and the warmest minute since the air last came down, and whether the alarm stands."""

    bottom_ms: int = 0
    bottom_c: float = 99.0
    top_c: float = -99.0
    active: bool = False
    since_ms: int = 0
    last_ms: int = 0
    last_c: float = 99.0
    still_ms: int = 0
    """Since when every minute has been the same."""


def step(state: State, minute: Minute, norm: Learnt | None) -> tuple[State, bool | None]:
    """Follow one minute; return the state and True/False on a rising/falling edge."""
    temp_c = minute.temp_c
    if temp_c is None:
        return state, None
    seen = minute.at_ms - state.last_ms <= GAP_MS
    if state.active:
        return _until_back(state, minute.at_ms, temp_c, norm)
    if (
        norm is None
        or not seen
        or temp_c <= max(state.bottom_c, norm.bottom_c - LOW_PART * norm.saw_c)
        or temp_c <= state.top_c - RAN_PART * norm.saw_c
    ):
        # The compressor ran, or may have: a new pause begins at the next bottom. From below the usual one it
        # begins as the air comes by there: a box made too cold takes longer to be warm again.
        return _fresh(minute.at_ms, temp_c), None
    still_ms = state.still_ms if temp_c == state.last_c else minute.at_ms
    top_c = max(state.top_c, temp_c)
    cut_short = state.bottom_c > norm.bottom_c + CUT_PART * norm.saw_c
    overdue_ms = min(
        CYCLES * norm.period_ms + (CUT_MS if cut_short else SLACK_MS), norm.warming_ms + DEFROST_MS
    )
    climbs = temp_c >= norm.top_c + ABOVE_C and temp_c >= top_c - NEAR_C
    moves = minute.at_ms - still_ms < STILL_MS
    rises = climbs and moves and minute.at_ms - state.bottom_ms >= overdue_ms
    since_ms = min(state.bottom_ms + norm.warming_ms, minute.at_ms)
    state = State(
        state.bottom_ms, state.bottom_c, top_c, rises, since_ms, minute.at_ms, temp_c, still_ms
    )
    return state, True if rises else None


def _fresh(at_ms: int, temp_c: float) -> State:
    """A new pause."""
    return State(at_ms, temp_c, temp_c, last_ms=at_ms, last_c=temp_c, still_ms=at_ms)


def _until_back(state: State, at_ms: int, temp_c: float, norm: Learnt | None) -> tuple[State, bool | None]:
    top_c = max(state.top_c, temp_c)
    back_c = max(BACK_C, norm.saw_c if norm is not None else 0.0)
    if temp_c <= top_c - back_c:
        return _fresh(at_ms, temp_c), False
    return state._replace(top_c=top_c, last_ms=at_ms), None
