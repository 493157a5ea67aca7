"""A probe that says nothing: its deadline, and the hour after which a chamber without eyes is urgent.

The only rule on the arrival clock: a reading's own time cannot tell that none came. A silence ends with the
first word; one that follows within `CHATTER_MS` of another, or of such a word, when `STEADY` have come in a
row, each within `CLOSE_INTERVALS`: a loose plug is told once, not at every crackle. Our choice, no source.
"""

from __future__ import annotations

from typing import NamedTuple

from chamberwatch.model import MS_PER_MIN, MS_PER_S

INTERVALS = 3
FLOOR_MS = 90 * MS_PER_S
BLIND_MS = 60 * MS_PER_MIN
"""No working probe for so long is urgent: longer than a radio gap; common practice, no source."""

CHATTER_MS = 30 * MS_PER_MIN
STEADY = 5
CLOSE_INTERVALS = 1.5


class State(NamedTuple):
    """Words heard in a row, the newest's time, when the last silence ended [ms]."""

    words: int = 0
    last_ms: int = 0
    ended_ms: int = 0


def patience_ms(every_s: float) -> int:
    """Return how long a probe may be silent: max(3 intervals, 90 s). `every_s` > 0 [s]."""
    return max(round(INTERVALS * every_s * MS_PER_S), FLOOR_MS)


def hear(state: State, at_ms: int, every_s: float) -> tuple[State, bool]:
    """Take a word from a silent probe, good or bad; return the state and whether its silence is over."""
    close = at_ms - state.last_ms <= CLOSE_INTERVALS * every_s * MS_PER_S
    words = state.words + 1 if close else 1
    loose = state.ended_ms > 0 and at_ms - max(state.ended_ms, state.last_ms) <= CHATTER_MS
    if loose and words < STEADY:
        return State(words, at_ms, state.ended_ms), False
    return State(0, at_ms, at_ms), True
