"""What a chamber does when all is well: its compressor cycle and saw-tooth, as one probe sees them.

Learnt from turning points of the temperature: usable after 6 cycles, or 6 h with 3; growing to 24 h, then
final. While anything is wrong the caller gives `frozen`, and nothing is learnt: a fault must never become
the norm. A chamber whose compressor never pauses (a cellar, a variable-speed one) has no cycle: then
`learnt` stays None, the rules that need it stand aside and the band alarms stand in.

Missing input: a cycle that a gap of over `GAP_MS` interrupts is not learnt. Our own choice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from typing import NamedTuple

from chamberwatch.model import MS_PER_H, MS_PER_MIN
from chamberwatch.rules import turning
from chamberwatch.rules.minute import Minute

BACK_C = 0.20
"""A turn must come back by this: over a good probe's noise in a minute, under any thermostat's band."""
NOISE_TIMES = 2.6
"""And by so many times the usual second difference of minutes: of white noise, five standard deviations."""
NOISE_PART = 1.0 / 60.0
"""The newest minute's part in what is usual: about an hour's memory."""
MIN_PERIOD_MS = 4 * MS_PER_MIN
MAX_PERIOD_MS = 4 * MS_PER_H
GAP_MS = 5 * MS_PER_MIN
CYCLES = 6
FEW_CYCLES = 3
FEW_AFTER_MS = 6 * MS_PER_H
FINAL_MS = 24 * MS_PER_H
KEPT = 24


class Learnt(NamedTuple):
    """The norm: period and warming phase [ms], top and bottom [°C], and the saw-teeth [°C, %RH]."""

    period_ms: int
    warming_ms: int
    """The 90th percentile: a night's pauses are longer than a day's."""
    top_c: float
    bottom_c: float
    saw_c: float
    saw_pct: float
    rise_c_per_h: float
    """How fast it warms between two runs of the compressor (median)."""


class Loop(NamedTuple):
    """One cycle: top to top."""

    period_ms: int
    warming_ms: int
    top_c: float
    bottom_c: float
    saw_pct: float


class State(NamedTuple):
    """Where the signal is in its cycle, and the cycles learnt so far."""

    turn: turning.State = turning.State()
    top: tuple[int, float] | None = None
    bottom: tuple[int, float] | None = None
    rh_low: float = 200.0
    rh_high: float = -1.0
    last_ms: int = 0
    began_ms: int = 0
    whole: bool = False
    loops: tuple[Loop, ...] = ()
    before: tuple[float, ...] = ()
    rough_c: float = 0.0
    """The usual size of the second difference of minutes: a probe's noise, and a little of the turns."""


def step(state: State, minute: Minute, *, frozen: bool) -> State:
    """Follow one minute; `frozen`: something is wrong, learn nothing."""
    if minute.temp_c is None:
        return state
    gap = state.last_ms > 0 and minute.at_ms - state.last_ms > GAP_MS
    before = () if gap else state.before
    rough_c = _rough(state.rough_c, before, minute.temp_c)
    turn_state, turn = turning.step(
        max(BACK_C, NOISE_TIMES * rough_c),
        turning.State() if gap else state.turn,
        minute.at_ms,
        minute.temp_c,
    )
    rh_low, rh_high, rh_pct = state.rh_low, state.rh_high, minute.rh_pct
    if rh_pct is not None:
        rh_low, rh_high = min(rh_low, rh_pct), max(rh_high, rh_pct)
    state = State(
        turn_state,
        state.top,
        state.bottom,
        rh_low,
        rh_high,
        minute.at_ms,
        state.began_ms or minute.at_ms,
        state.whole and not gap and not frozen,
        state.loops,
        (*before[-1:], minute.temp_c),
        rough_c,
    )
    if turn is None:
        return state
    if not turn.top:
        return state._replace(bottom=(turn.at_ms, turn.value))
    return _close(state, turn, frozen=frozen)


def _rough(rough_c: float, before: tuple[float, ...], temp_c: float) -> float:
    if len(before) < 2:  # noqa: PLR2004  a second difference takes three
        return rough_c
    bend_c = abs(temp_c - 2.0 * before[1] + before[0])
    return round(rough_c + NOISE_PART * (bend_c - rough_c), 4)


def _close(state: State, turn: turning.Turn, *, frozen: bool) -> State:
    """A top ends a cycle: learn it if it was whole and it is still time to."""
    loops = state.loops
    if state.whole and state.top is not None and state.bottom is not None and _open(state, turn.at_ms):
        period_ms = turn.at_ms - state.top[0]
        if MIN_PERIOD_MS <= period_ms <= MAX_PERIOD_MS and state.bottom[0] > state.top[0]:
            saw_pct = max(0.0, state.rh_high - state.rh_low)
            warming_ms = turn.at_ms - state.bottom[0]
            loop = Loop(period_ms, warming_ms, turn.value, state.bottom[1], round(saw_pct, 2))
            loops = (*loops, loop)[-KEPT:]
    return state._replace(
        top=(turn.at_ms, turn.value), rh_low=200.0, rh_high=-1.0, whole=not frozen, loops=loops
    )


def _open(state: State, at_ms: int) -> bool:
    return at_ms - state.began_ms <= FINAL_MS or len(state.loops) < CYCLES


def learnt(state: State) -> Learnt | None:
    """Return the norm, or None while too little was seen."""
    loops = state.loops
    few = len(loops) >= FEW_CYCLES and state.last_ms - state.began_ms >= FEW_AFTER_MS
    if len(loops) < CYCLES and not few:
        return None
    top_c = median(loop.top_c for loop in loops)
    bottom_c = median(loop.bottom_c for loop in loops)
    warming_ms = percentile([loop.warming_ms for loop in loops], 0.9)
    typical_ms = max(median(loop.warming_ms for loop in loops), MS_PER_MIN)
    return Learnt(
        round(median(loop.period_ms for loop in loops)),
        round(warming_ms),
        top_c,
        bottom_c,
        top_c - bottom_c,
        median(loop.saw_pct for loop in loops),
        (top_c - bottom_c) / (typical_ms / MS_PER_H),
    )


def percentile(values: Sequence[float], part: float) -> float:
    """Return the value below which `part` (0..1) of them lie, by nearest rank; values must not be empty."""
    ranked = sorted(values)
    return ranked[min(len(ranked) - 1, int(part * len(ranked)))]
