"""Turning points of a slow signal: a new one once the signal has come back by `back` from its extreme.

Missing input: no step. Works in the signal's own unit. Our own choice (a zig-zag filter), no source.
"""

from __future__ import annotations

from typing import NamedTuple


class State(NamedTuple):
    """Direction (+1 rising, -1 falling, 0 not yet known) and the extreme so far with its time.

    While the direction is unknown `value` is the first value seen.
    """

    direction: int = 0
    value: float = 0.0
    at_ms: int = 0
    started: bool = False


class Turn(NamedTuple):
    """A maximum (`top`) or minimum, where it was."""

    at_ms: int
    value: float
    top: bool


def step(back: float, state: State, at_ms: int, value: float) -> tuple[State, Turn | None]:
    """Follow the signal; return the turning point that this value confirms, if any."""
    if not state.started:
        return State(0, value, at_ms, started=True), None
    if state.direction == 0:
        if abs(value - state.value) < back:
            return state, None
        return State(1 if value > state.value else -1, value, at_ms, started=True), None
    if (value - state.value) * state.direction >= 0:
        return State(state.direction, value, at_ms, started=True), None
    if abs(value - state.value) < back:
        return state, None
    turn = Turn(state.at_ms, state.value, state.direction > 0)
    return State(-state.direction, value, at_ms, started=True), turn
