"""One-minute means of one probe: what the slow rules look at. A bounded, exact reduction of the readings.

Missing input: a minute without a reading does not exist (no filling). Late input never comes here.
"""

from __future__ import annotations

from typing import NamedTuple

from chamberwatch.model import MS_PER_MIN


class Minute(NamedTuple):
    """The mean air [°C, %RH] of one minute that ended at `at_ms`; a half that was not measured is None.

    Rounded to 0.001, finer than any probe: what is kept of it stays short.
    """

    at_ms: int
    temp_c: float | None
    rh_pct: float | None


class State(NamedTuple):
    """The minute under way: its number, sums and counts."""

    number: int = -1
    temp_sum: float = 0.0
    temps: int = 0
    rh_sum: float = 0.0
    rhs: int = 0


EMPTY = State()


def step(state: State, at_ms: int, temp_c: float | None, rh_pct: float | None) -> tuple[State, Minute | None]:
    """Add one reading; return the minute it closed, if it did.

    Args:
        state: what the last step returned.
        at_ms: the reading's time; not before any earlier one.
        temp_c: [°C] or None.
        rh_pct: [%RH] or None.
    """
    number = at_ms // MS_PER_MIN
    closed = None
    if number != state.number:
        closed = mean(state)
        state = State(number)
    if temp_c is not None:
        state = state._replace(temp_sum=state.temp_sum + temp_c, temps=state.temps + 1)
    if rh_pct is not None:
        state = state._replace(rh_sum=state.rh_sum + rh_pct, rhs=state.rhs + 1)
    return state, closed


def mean(state: State) -> Minute | None:
    """Return the minute under way as if it closed now; None if it holds nothing."""
    if state.temps == 0 and state.rhs == 0:
        return None
    temp_c = round(state.temp_sum / state.temps, 3) if state.temps else None
    rh_pct = round(state.rh_sum / state.rhs, 3) if state.rhs else None
    return Minute((state.number + 1) * MS_PER_MIN, temp_c, rh_pct)
