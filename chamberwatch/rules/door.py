"""`door-open`: room air comes in fast, and the air does not come back by itself.

A door is told from a failing compressor by its speed: within 10 min the temperature moves away from plan by
at least `JUMP_C` and `OVER_C` more than a usual pause warms it. Raised when `WAIT_MS` after such a jump, or
later, one of three has held for `HELD_MS`. Warm: the air is within `NEAR_PART` of the rise from its warmest
or has settled (`SETTLED_C` in ten minutes), it is `ABOVE_C` past its usual top (no cycle learnt: has risen by
`UNKNOWN_RISE_C`), and the humidity stands `OTHER_PCT` from where it was. Strange: where the compressor keeps
up, the humidity, usual before the jump, stands `AWAY_PCT` and a saw-tooth away from where it was, and outside
what was usual. Flat: where the compressor nearly keeps up, the air is `FLAT_ABOVE_C` past its usual top,
neither climbs nor falls, and of the saw-tooth less than `FLAT_PART` is left (where a cycle is short enough to
show it in ten minutes). A fall by half of the rise (`BACK_PART`) ends the matter, told or untold. A door
session (`tend`) holds it: the jump is remembered and the wait begins when the session ends.

Missing input: no step; a gap of over 5 min forgets the past. Source: common practice for the half hour.
"""

from __future__ import annotations

from typing import NamedTuple

from chamberwatch.model import MS_PER_H, MS_PER_MIN
from chamberwatch.rules.cycle import Learnt
from chamberwatch.rules.minute import Minute

LOOK_BACK = 10
JUMP_C = 1.0
OVER_C = 0.8
WAIT_MS = 19 * MS_PER_MIN
"""With the ten minutes of the jump within the half hour; a visit's air is half way back by then."""
HELD_MS = 10 * MS_PER_MIN
"""A second visit at the end of the wait looks like room air too, but not for so long."""
BACK_PART = 0.5
NEAR_PART = 0.25
"""Of the rise: so near its warmest, room air still comes in; after a visit it is on its way back."""
SETTLED_C = 0.2
"""Where the compressor nearly keeps up the air comes back a little and stays there."""
ABOVE_C = 0.5
"""Past the usual top: after a visit the usual pause may warm the air as far as it always does."""
FLAT_ABOVE_C = 0.5
FLAT_WITHIN_MS = 60 * MS_PER_MIN
"""Of the jump: what stands still later than this has another reason."""
FLAT_PERIOD_MS = 3 * LOOK_BACK * MS_PER_MIN
"""Where a cycle is longer than this, ten minutes without a saw-tooth say nothing."""
FLAT_PART = 0.35
OTHER_PCT = 3.0
"""Room air brings its own humidity; after a visit it is soon as before, even if a defrost keeps it warm."""
AWAY_PCT = 3.0
USUAL_SAW_PCT = 4.0
"""Taken for a chamber whose saw-tooth is not learnt yet."""
UNKNOWN_RISE_C = 2.5
"""The rise that stands for the usual top while no cycle is learnt."""
GAP_MS = 5 * MS_PER_MIN
USUAL_C_PER_H = 2.0
"""Taken for a chamber whose own warming is not learnt yet."""


class State(NamedTuple):
    """The last ten minutes' air, and the jump that is waited for: its start, foot and furthest values."""

    recent: tuple[tuple[int, float, float], ...] = ()
    since_ms: int = 0
    foot_c: float = 0.0
    foot_pct: float = 0.0
    usual_pct: float | None = None
    """The humidity's mean before the jump, if the jump began near it."""
    far_c: float = 0.0
    due_ms: int = 0
    calm_ms: int = 0
    """When the air last did not look like room air."""
    active: bool = False


def step(
    state: State, minute: Minute, norm: Learnt | None, tended: tuple[int, int], mean_pct: float | None = None
) -> tuple[State, bool | None]:
    """Follow one minute; return the state and True/False on a rising/falling edge.

    `mean_pct`: the humidity's mean over the last full cycle, None before one is learnt.
    """
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
        return _look(State(recent), at_ms, temp_c, norm, mean_pct), None
    return _wait(state._replace(recent=recent), at_ms, (temp_c, minute.rh_pct), norm, tended)


def _look(state: State, at_ms: int, temp_c: float, norm: Learnt | None, mean_pct: float | None) -> State:
    """Look for room air's shape within the last ten minutes."""
    foot_ms, foot_c, foot_pct = min(state.recent, key=lambda r: r[1])
    rise_c = temp_c - foot_c
    usual = norm.rise_c_per_h if norm is not None else USUAL_C_PER_H
    usual_c = usual * (at_ms - foot_ms) / MS_PER_H
    near = mean_pct is not None and abs(foot_pct - mean_pct) <= AWAY_PCT + _saw_pct(norm) / 2
    if rise_c < max(JUMP_C, usual_c + OVER_C):
        return state
    return State(
        state.recent,
        foot_ms,
        foot_c,
        foot_pct,
        mean_pct if near else None,
        temp_c,
        at_ms + WAIT_MS,
        at_ms,
    )


def _saw_pct(norm: Learnt | None) -> float:
    return norm.saw_pct if norm is not None else USUAL_SAW_PCT


def _wait(
    state: State, at_ms: int, air: tuple[float, float], norm: Learnt | None, tended: tuple[int, int]
) -> tuple[State, bool | None]:
    temp_c, rh_pct = air
    far_c = max(state.far_c, temp_c)
    rise_c = far_c - state.foot_c
    if temp_c <= far_c - BACK_PART * rise_c:
        return State(state.recent), False if state.active else None
    due_ms = state.due_ms
    if tended[0] <= at_ms < tended[1]:
        due_ms = max(due_ms, tended[1] + WAIT_MS)
    state = state._replace(far_c=far_c, due_ms=due_ms)
    warm = _warm(state, temp_c, rh_pct, norm)
    if not (warm or _strange(state, rh_pct, norm) or _flat(state, temp_c, norm)):
        return state._replace(calm_ms=at_ms), None
    rises = not state.active and at_ms >= due_ms and at_ms - state.calm_ms >= HELD_MS
    return state._replace(active=state.active or rises), True if rises else None


def _warm(state: State, temp_c: float, rh_pct: float, norm: Learnt | None) -> bool:
    hot_c = state.foot_c + UNKNOWN_RISE_C if norm is None else norm.top_c + ABOVE_C
    if temp_c < hot_c or abs(rh_pct - state.foot_pct) < OTHER_PCT:
        return False
    temps = [r[1] for r in state.recent]
    near_c = state.far_c - NEAR_PART * (state.far_c - state.foot_c)
    return temp_c >= near_c or max(temps) - min(temps) <= SETTLED_C


def _flat(state: State, temp_c: float, norm: Learnt | None) -> bool:
    if norm is None or temp_c < norm.top_c + FLAT_ABOVE_C or norm.period_ms > FLAT_PERIOD_MS:
        return False
    if state.recent[-1][0] - state.since_ms > FLAT_WITHIN_MS:
        return False
    temps = [r[1] for r in state.recent]
    climbs = abs(temps[-1] - temps[0]) > SETTLED_C  # nobody cools, which is another rule's matter
    return not climbs and max(temps) - min(temps) <= FLAT_PART * norm.saw_c


def _strange(state: State, rh_pct: float, norm: Learnt | None) -> bool:
    """Whether the humidity is away from where it was at the foot, and from what it was before."""
    if state.usual_pct is None:
        return False
    saw_pct = _saw_pct(norm)
    far = abs(rh_pct - state.foot_pct) >= AWAY_PCT + saw_pct
    return far and abs(rh_pct - state.usual_pct) >= AWAY_PCT + saw_pct / 2
