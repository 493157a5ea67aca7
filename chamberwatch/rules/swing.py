"""`humidity-swing`: two tests, because two things are wrong with a swinging humidity.

Controls fighting: at least `FAST_CYCLES` rainflow cycles of at least max(12 %RH, 2 × the learnt saw-tooth)
within 6 h. The meat feels it: the outer millimetre follows the air as a first-order lag of about 5.6 h
(L²/D with D = 5e-11 m²/s); at least `SLOW_CYCLES` rainflow cycles of that felt humidity of at least 6 %RH
within 72 h. Each is looked at only when a turning point is new; each returns when its count has fallen
below.

Missing input: no step; after a gap the felt humidity goes on from where it was by the time that passed.
Sources: ASTM E1049-85 for the counting; the lag from published diffusivities of pork; the counts are ours.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from chamberwatch.model import MS_PER_H
from chamberwatch.rules import rainflow, turning
from chamberwatch.rules.minute import Minute

FAST_BACK_PCT, FAST_RANGE_PCT, FAST_CYCLES, FAST_WINDOW_MS = 4.0, 12.0, 6, 6 * MS_PER_H
SLOW_BACK_PCT, SLOW_RANGE_PCT, SLOW_CYCLES, SLOW_WINDOW_MS = 1.5, 6.0, 2, 72 * MS_PER_H
SAW_TIMES = 2.0
FELT_LAG_MS = round(5.6 * MS_PER_H)
LONGEST_STEP_MS = MS_PER_H


class Count(NamedTuple):
    """Turning points of one signal within its window, and whether its test holds."""

    turn: turning.State = turning.State()
    turns: tuple[tuple[int, float], ...] = ()
    active: bool = False


class State(NamedTuple):
    """Both tests, and the humidity that the outer millimetre feels [%RH]."""

    fast: Count = Count()
    slow: Count = Count()
    felt_pct: float = -1.0
    last_ms: int = 0


class Found(NamedTuple):
    """A test's edge: which test, and the largest range within the window [%RH]."""

    meat_feels_it: bool
    active: bool
    range_pct: float
    since_ms: int


def step(state: State, minute: Minute, saw_pct: float | None) -> tuple[State, tuple[Found, ...]]:
    """Follow one minute; `saw_pct`: the learnt saw-tooth [%RH] or None."""
    rh_pct = minute.rh_pct
    if rh_pct is None:
        return state, ()
    felt_pct = round(_felt(state, minute.at_ms, rh_pct), 4)
    fast_range_pct = max(FAST_RANGE_PCT, SAW_TIMES * (saw_pct or 0.0))
    fast = _count(
        state.fast, minute.at_ms, rh_pct, FAST_BACK_PCT, FAST_WINDOW_MS, fast_range_pct, FAST_CYCLES
    )
    slow = _count(
        state.slow, minute.at_ms, felt_pct, SLOW_BACK_PCT, SLOW_WINDOW_MS, SLOW_RANGE_PCT, SLOW_CYCLES
    )
    if fast.active is state.fast.active and slow.active is state.slow.active:
        return State(fast, slow, felt_pct, minute.at_ms), ()
    found = [
        _found(after, meat_feels_it=meat)
        for before, after, meat in ((state.fast, fast, False), (state.slow, slow, True))
        if before.active is not after.active
    ]
    return State(fast, slow, felt_pct, minute.at_ms), tuple(found)


def _felt(state: State, at_ms: int, rh_pct: float) -> float:
    if state.felt_pct < 0:
        return rh_pct
    passed_ms = min(at_ms - state.last_ms, LONGEST_STEP_MS)
    return rh_pct + (state.felt_pct - rh_pct) * math.exp(-passed_ms / FELT_LAG_MS)


def _count(
    count: Count, at_ms: int, value: float, back: float, window_ms: int, range_pct: float, cycles: int
) -> Count:
    turn_state, turn = turning.step(back, count.turn, at_ms, value)
    turns = count.turns
    if turn is not None:
        turns = (*turns, (turn.at_ms, turn.value))
    elif not turns or at_ms - turns[0][0] <= window_ms:
        return Count(turn_state, turns, count.active)
    turns = tuple(t for t in turns if at_ms - t[0] <= window_ms)
    found = sum(n for size, n in rainflow.ranges(v for _, v in turns) if size >= range_pct)
    return Count(turn_state, turns, found >= cycles)


def _found(count: Count, *, meat_feels_it: bool) -> Found:
    values = [v for _, v in count.turns]
    size = max(values) - min(values) if values else 0.0
    since_ms = count.turns[0][0] if count.turns else 0
    return Found(meat_feels_it, count.active, size, since_ms)
