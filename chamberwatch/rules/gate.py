"""A jump no air can make waits for the next reading to confirm it.

Between two readings of one probe the air of a chamber cannot move by `jump`; a reading that did is either a
glitch (the next one is back where the last was: dropped, and counted as bad input) or real (the next one
agrees: both are handed on, in order). Costs one interval of delay, and only for such jumps.

Missing input: a pending jump stays pending; after a gap longer than `hold_ms` nothing is left to compare
with, so the new reading passes and the pending one is dropped. Our own choice, no source; cf. the Hampel
identifier (median of three).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple


@dataclass(frozen=True, slots=True)
class Params:
    """`jump` in the quantity's unit; `hold_ms` the longest interval two readings are compared over."""

    jump: float
    hold_ms: int

    def __post_init__(self) -> None:
        if not (self.jump > 0 and self.hold_ms > 0):
            raise ValueError("jump and hold must be above 0")


class State(NamedTuple):
    """The last value handed on, and a jump that waits for confirmation."""

    value: float | None = None
    at_ms: int = 0
    pending: tuple[int, float] | None = None


class Passed(NamedTuple):
    """What goes on to the rules, oldest first, and whether a glitch was dropped."""

    samples: tuple[tuple[int, float], ...]
    glitch: bool = False


def step(params: Params, state: State, at_ms: int, value: float) -> tuple[State, Passed]:
    """Pass, hold back or drop one reading; `at_ms` must be later than any before it."""
    last, pending = state.value, state.pending
    if last is None or at_ms - state.at_ms > params.hold_ms or abs(value - last) <= params.jump:
        return State(value, at_ms), Passed(((at_ms, value),), glitch=pending is not None)
    if pending is not None and abs(value - pending[1]) <= params.jump:
        return State(value, at_ms), Passed((pending, (at_ms, value)))
    return State(last, state.at_ms, (at_ms, value)), Passed((), glitch=pending is not None)
