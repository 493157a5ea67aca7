"""`probe-stuck`: the same value for hours while the air moves.

A quantity is stuck when its reading has not changed at all for `STUCK_MS` while a witness moved: another
probe of the chamber, or the probe's other half, by at least `MOVED_C` / `MOVED_PCT` within that time.
Without any witness nothing is said. Pinned at 100 %RH counts as not changing. Returned at the first other
value.

Missing input: silence is not sameness; a gap of over `GAP_MS` begins anew. Source: our choice.
"""

from __future__ import annotations

from typing import NamedTuple

from chamberwatch.model import MS_PER_H, MS_PER_MIN

STUCK_MS = 3 * MS_PER_H
GAP_MS = 15 * MS_PER_MIN
MOVED_C = 0.4
MOVED_PCT = 2.0


class State(NamedTuple):
    """The value, since when it stands, when it was last seen, and whether the alarm stands."""

    value: float = -999.0
    since_ms: int = 0
    last_ms: int = 0
    active: bool = False


def step(state: State, at_ms: int, value: float) -> tuple[State, bool]:
    """Follow one reading; return the state and whether an alarm that stood has ended."""
    if value != state.value or at_ms - state.last_ms > GAP_MS:
        return State(value, at_ms, at_ms), state.active
    return state._replace(last_ms=at_ms), False


def due(state: State) -> bool:
    """Whether the value has stood long enough to ask the witnesses."""
    return not state.active and state.since_ms > 0 and state.last_ms - state.since_ms >= STUCK_MS
