"""A jump no probe can follow waits until the readings after it confirm it.

A probe's own lag lets it follow a step only so far within one interval (`reachable`): a change by more than
`Params.jump` is a jump. It is either real (`need` readings in a row agree with one another: all are handed
on, in order) or a glitch: a reading back near the last one handed on, or one that agrees with neither, drops
what waited, and that counts as one bad piece of input. Costs `need` - 1 intervals of delay, only for jumps.

Missing input: what waits goes on waiting; after a gap longer than `hold_ms` nothing is left to compare with:
the new reading passes, what waited is dropped as a glitch. Source: the lags of common elements (from memory);
the count is our own choice, cf. the Hampel identifier (median of three).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

Sample = tuple[int, float]


@dataclass(frozen=True, slots=True)
class Params:
    """`jump` in the quantity's unit; `hold_ms` the longest interval two readings are compared over."""

    jump: float
    hold_ms: int
    need: int = 2
    """How many readings in a row must agree before a jump is believed."""

    def __post_init__(self) -> None:
        if not (self.jump > 0 and self.hold_ms > 0 and self.need >= 2):  # noqa: PLR2004  one cannot agree
            raise ValueError("jump and hold must be above 0, need at least 2")


def reachable(reach: float, lag_ms: float, every_ms: float) -> float:
    """Return how far a probe of that lag can follow a step of `reach` within one interval [reach's unit]."""
    return reach * (1.0 - math.exp(-every_ms / lag_ms))


class State(NamedTuple):
    """The last value handed on, and readings that wait for confirmation, oldest first."""

    value: float | None = None
    at_ms: int = 0
    pending: tuple[Sample, ...] = ()


class Passed(NamedTuple):
    """What goes on to the rules, oldest first, and how many glitches were dropped."""

    samples: tuple[Sample, ...]
    dropped: int = 0


def step(params: Params, state: State, at_ms: int, value: float, more: int = 0) -> tuple[State, Passed]:
    """Pass, hold back or drop one reading; `at_ms` must be later than any before it.

    `more`: how many readings beyond `need` a suspect probe must agree with itself. The further the jump, the
    more must agree as well: one for each whole `jump` beyond the first, up to twice `need`.
    """
    last, pending = state.value, state.pending
    newest_ms = pending[-1][0] if pending else state.at_ms
    if last is None or at_ms - newest_ms > params.hold_ms or abs(value - last) <= params.jump:
        return State(value, at_ms), Passed(((at_ms, value),), len(pending))
    agrees = bool(pending) and abs(value - pending[-1][1]) <= params.jump
    waiting = (*pending, (at_ms, value)) if agrees else ((at_ms, value),)
    more += min(int(abs(value - last) / params.jump) - 1, 2 * params.need)
    if len(waiting) >= params.need + more:
        return State(value, at_ms), Passed(waiting)
    return State(last, state.at_ms, waiting), Passed((), 0 if agrees else len(pending))
