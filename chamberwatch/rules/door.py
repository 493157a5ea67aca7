"""`door-open`: room air comes in fast, and the air does not come back by itself.

A door is told from a failing compressor by its speed: within 10 min the temperature moves away from plan by
at least `JUMP_C` and by three times what a usual pause warms, while the humidity moves too. Raised when
`WAIT_MS` after such a jump, or later, the air is `ABOVE_C` past its usual top (no cycle learnt: has risen by
`UNKNOWN_RISE_C`) and within `NEAR_PART` of the rise from its warmest; before that, a fall by half of the rise
(`BACK_PART`) ends the matter untold. Returned when it has come back by that half. A door session (`tend`)
holds it: the jump is remembered and the wait begins when the session ends.

Missing input: no step; a gap of over 5 min forgets the past. Source: common practice for the half hour.
"""

from __future__ import annotations

from typing import NamedTuple

from chamberwatch.model import MS_PER_H, MS_PER_MIN
from chamberwatch.rules.cycle import Learnt
from chamberwatch.rules.minute import Minute

LOOK_BACK = 10
JUMP_C = 1.2
JUMP_PCT = 6.0
"""Room air brings its own humidity; a defrost's heat moves it by less."""
TIMES_USUAL = 3.0
WAIT_MS = 15 * MS_PER_MIN
BACK_PART = 0.5
NEAR_PART = 0.25
"""Of the rise: so near its warmest, room air still comes in; after a visit it is on its way back."""
ABOVE_C = 0.5
"""Past the usual top: after a visit the usual pause may warm the air as far as it always does."""
UNKNOWN_RISE_C = 2.5
"""The rise that stands for it while no cycle is learnt."""
GAP_MS = 5 * MS_PER_MIN
USUAL_C_PER_H = 2.0
"""Taken for a chamber whose own warming is not learnt yet."""


class State(NamedTuple):
    """The last ten minutes' air, and the jump that is waited for: its start, foot and furthest value."""

    recent: tuple[tuple[int, float, float], ...] = ()
    since_ms: int = 0
    foot_c: float = 0.0
    far_c: float = 0.0
    due_ms: int = 0
    active: bool = False


def step(
    state: State, minute: Minute, norm: Learnt | None, tended: tuple[int, int]
) -> tuple[State, bool | None]:
    """Follow one minute; return the state and True/False on a rising/falling edge."""
    if minute.temp_c is None or minute.rh_pct is None:
        return state, None
    at_ms, temp_c = minute.at_ms, minute.temp_c
    recent = state.recent
    if recent and at_ms - recent[-1][0] > GAP_MS:
        recent = ()
    recent = (*recent[-LOOK_BACK + 1 :], (at_ms, temp_c, minute.rh_pct))
    if state.since_ms == 0:
        if temp_c - min([r[1] for r in recent]) < JUMP_C:
            return State(recent), None
        return _look(State(recent), minute, norm), None
    hot_c = state.foot_c + UNKNOWN_RISE_C if norm is None else norm.top_c + ABOVE_C
    return _wait(state._replace(recent=recent), at_ms, temp_c, hot_c, tended)


def _look(state: State, minute: Minute, norm: Learnt | None) -> State:
    """Look for room air's shape within the last ten minutes."""
    at_ms, temp_c = minute.at_ms, minute.temp_c or 0.0
    foot_ms, foot_c, foot_pct = min(state.recent, key=lambda r: r[1])
    rise_c = temp_c - foot_c
    usual = norm.rise_c_per_h if norm is not None else USUAL_C_PER_H
    usual_c = usual * (at_ms - foot_ms) / MS_PER_H
    moved_pct = max(abs(r[2] - foot_pct) for r in state.recent if r[0] >= foot_ms)
    if rise_c >= max(JUMP_C, TIMES_USUAL * usual_c) and moved_pct >= JUMP_PCT:
        return state._replace(since_ms=foot_ms, foot_c=foot_c, far_c=temp_c, due_ms=at_ms + WAIT_MS)
    return state


def _wait(
    state: State, at_ms: int, temp_c: float, hot_c: float, tended: tuple[int, int]
) -> tuple[State, bool | None]:
    far_c = max(state.far_c, temp_c)
    if temp_c <= far_c - BACK_PART * (far_c - state.foot_c):
        return State(state.recent), False if state.active else None
    due_ms = state.due_ms
    if tended[0] <= at_ms < tended[1]:
        due_ms = max(due_ms, tended[1] + WAIT_MS)
    stays = temp_c >= hot_c and temp_c >= far_c - NEAR_PART * (far_c - state.foot_c)
    rises = not state.active and at_ms >= due_ms and stays
    state = state._replace(far_c=far_c, due_ms=due_ms, active=state.active or rises)
    return state, True if rises else None
