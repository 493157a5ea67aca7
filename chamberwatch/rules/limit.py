"""The four band alarms: a one-sided cumulative sum of the signed distance to a limit, over time.

Missing input: none arrives, nothing accumulates or drains. Stale or late input: the engine never hands it
over. NaN: cannot occur (the wire refuses it). After a gap longer than `hold_ms` a reading speaks for one
interval only, so that missing data is never evidence.

Source: E. S. Page, Continuous inspection schemes, Biometrika 41 (1954) 100-115, here with time as weight:
S(i) = max(0, S(i-1) + sign · (x(i) - limit) · dt), alarm when S ≥ patience, return when S = 0.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from chamberwatch.model import MS_PER_MIN, Kind
from chamberwatch.rules.edge import Edge

CAP = 1.5
"""The sum stops at this multiple of the patience, so that an alarm returns in bounded time. Our choice."""

DEEP_MS = 30 * MS_PER_MIN
ROUNDING = 1e-9
"""[unit·min]: what adding up 10 s steps may lose against the exact sum."""


@dataclass(frozen=True, slots=True)
class Params:
    """One limit.

    `sign` +1: above is outside; -1: below is. `limit` in °C or %RH, `patience` in that unit times minutes,
    `every_ms` the probe's interval, `hold_ms` the longest interval that a reading may speak for.
    """

    kind: Kind
    sign: int
    limit: float
    patience: float
    every_ms: int
    hold_ms: int
    cap: float = CAP
    near: float = 0.0
    """Outside by more than this for `DEEP_MS`, or by more than `far` now, is judged whatever the mean is."""
    far: float = 0.0
    recovers_ms: int = 0
    """So long after its worst an excursion that is half over may be on its way back; 0: not asked."""

    def __post_init__(self) -> None:
        if self.sign not in (1, -1):
            raise ValueError(f"sign {self.sign} must be 1 or -1")
        if not (math.isfinite(self.limit) and self.patience > 0 and self.cap >= 1):
            raise ValueError("limit must be finite, patience above 0, cap at least 1")
        if not 0 < self.every_ms <= self.hold_ms:
            raise ValueError(f"0 < every {self.every_ms} ms <= hold {self.hold_ms} ms does not hold")


class State(NamedTuple):
    """The sum so far [unit·min], its onset, whether the alarm stands, the furthest value since onset."""

    level: float = 0.0
    since_ms: int = 0
    active: bool = False
    worst: float = 0.0
    deep_ms: int = 0
    """Since when it has been outside by more than `near` without a break; 0: it is not."""
    worst_ms: int = 0


RESTING = State()


def step(
    params: Params,
    state: State,
    value: float,
    at_ms: int,
    last_ms: int | None,
    *,
    held: bool = False,
    mean: float | None = None,
) -> tuple[State, Edge | None]:
    """Add one reading to the sum.

    Args:
        params: the limit.
        state: what the last step returned.
        value: the reading [°C or %RH].
        at_ms: its time; must be later than `last_ms`.
        last_ms: time of the reading before; None if there is none.
        held: a door session is on: the sum may drain but not grow.
        mean: the mean over the last full cycle, once one is learnt: while it is inside, the alarm waits, and
            while it is outside, so does its end.

    Returns:
        The new state, and an edge when the alarm begins or ends.
    """
    over = params.sign * (value - params.limit)
    if over <= 0.0 and state.level == 0.0 and not state.active:
        return state, None
    dt_ms = params.every_ms if last_ms is None or at_ms - last_ms > params.hold_ms else at_ms - last_ms
    gain = over * dt_ms / MS_PER_MIN
    level = state.level + (min(gain, 0.0) if held else gain)
    level = min(max(level, 0.0), params.cap * params.patience)
    if level == 0.0:
        if state.active and mean is not None and params.sign * (mean - params.limit) > 0:
            return state._replace(level=0.0, deep_ms=0), None
        return RESTING, _edge(params, state, value, at_ms, active=False) if state.active else None
    goes_on = state.level > 0.0 or state.active
    since_ms = state.since_ms if goes_on else at_ms
    worst = value if not goes_on or params.sign * (value - state.worst) > 0 else state.worst
    deep_ms = (state.deep_ms or at_ms) if over > params.near else 0
    reached = level >= params.patience - ROUNDING
    worst_ms = at_ms if worst != state.worst or not goes_on else state.worst_ms
    waits = reached and (
        _waits(params, over, at_ms, deep_ms, mean) or _recovers(params, over, at_ms, worst, worst_ms)
    )
    active = state.active or (reached and not waits)
    new = State(level, since_ms, active, worst, deep_ms, worst_ms)
    return new, _edge(params, new, value, at_ms, active=True) if active and not state.active else None


def _waits(params: Params, over: float, at_ms: int, deep_ms: int, mean: float | None) -> bool:
    """A saw-tooth that crosses the limit each cycle while its mean is inside is not worth a word."""
    if mean is None or params.sign * (mean - params.limit) > 0:
        return False
    return over <= params.far and not (deep_ms and at_ms - deep_ms >= DEEP_MS)


def _recovers(params: Params, over: float, at_ms: int, worst: float, worst_ms: int) -> bool:
    """An excursion that is already half over shortly after its worst: a visit's air is on its way back."""
    worst_over = params.sign * (worst - params.limit)
    return over < worst_over / 2 and at_ms - worst_ms < params.recovers_ms


def _edge(params: Params, state: State, value: float, at_ms: int, *, active: bool) -> Edge:
    return Edge(params.kind, "", active, at_ms, state.since_ms, value, params.limit, state.worst)
