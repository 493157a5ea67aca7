"""What the tests of the rules share: minutes of air, a fold, and a restart in the middle of it."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any

from chamberwatch.model import (
    MS_PER_H,
    MS_PER_MIN,
    Band,
    ChamberKind,
    ChamberPlan,
    Plan,
    ProbePlan,
    Reading,
)
from chamberwatch.rules import frozen_state
from chamberwatch.rules.cycle import Learnt
from chamberwatch.rules.minute import Minute

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

T0 = 1_793_404_800_000
"""31 October 2026, midday: on the edge of a minute, a block and an hour."""
TEMPERATURE = Band(10, 15, 60)
HUMIDITY = Band(70, 80, 100)
CELLAR = ChamberPlan("cellar", ChamberKind.CURE_CHAMBER, TEMPERATURE, HUMIDITY)
NORM = Learnt(
    period_ms=20 * MS_PER_MIN, warming_ms=14 * MS_PER_MIN, top_c=12.8, bottom_c=12.0, saw_c=0.8, saw_pct=4.0,
    rise_c_per_h=0.8 * 60 / 14,
)  # fmt: skip
"""A small fridge: 14 min of pause, 6 of cooling."""


def at(minute: float) -> int:
    """Return the time [ms] of a minute after T0."""
    return T0 + round(minute * MS_PER_MIN)


def minutes_after(at_ms: int) -> float:
    """Return minutes after T0."""
    return round((at_ms - T0) / MS_PER_MIN, 2)


def minutes(
    temps: Iterable[float | None], rhs: Iterable[float | None] | float = 75.0, first: float = 1
) -> list[Minute]:
    """Return one minute after the other; `rhs` may be one value for all."""
    temps = list(temps)
    humidities = [rhs] * len(temps) if isinstance(rhs, float | int) else list(rhs)
    return [Minute(at(first + i), t, h) for i, (t, h) in enumerate(zip(temps, humidities, strict=True))]


def thawed(cls: Any, state: Any) -> Any:
    """Return a state as a restart finds it: through JSON text and back."""
    return frozen_state.load(cls, json.loads(json.dumps(frozen_state.dump(state))))


def fold(step: Callable[[Any, Any], tuple[Any, Any]], state: Any, items: Iterable[Any]) -> tuple[Any, list[Any]]:
    """Return the last state and everything that was told: what is neither None nor False nor empty."""
    told: list[Any] = []
    for item in items:
        state, found = step(state, item)
        if found is True or (found is not None and found is not False and found != ()):
            told.append((item, found))
    return state, told


def edges(step: Callable[[Any, Any], tuple[Any, Any]], state: Any, items: Iterable[Any]) -> list[Any]:
    """Return the (item, edge) of every edge; for rules that tell True and False."""
    found = []
    for item in items:
        state, edge = step(state, item)
        if edge is not None:
            found.append((item, edge))
    return found


def same_after_restarts(step: Callable[[Any, Any], tuple[Any, Any]], start: Any, items: Sequence[Any]) -> int:
    """Fold straight, and with a restart before every 7th item; assert both tell the same; return how much."""
    straight, broken = start, start
    told = 0
    for i, item in enumerate(items):
        if i % 7 == 0:
            broken = thawed(type(start), broken)
        straight, one = step(straight, item)
        broken, other = step(broken, item)
        assert one == other, (i, item)
        told += one not in {None, False} and one != ()
    assert broken == straight
    return told


def saw(minute: float, period: float = 20, low: float = 12.0, high: float = 12.8, warming: float = 0.7) -> float:
    """Return a compressor's saw-tooth [°C]: it warms for a part of the period, then cools."""
    part = minute % period / period
    up = part / warming if part < warming else (1 - part) / (1 - warming)
    return low + (high - low) * up


def wave(minute: float, period: float, mean: float, amplitude: float) -> float:
    """Return a sine."""
    return mean + amplitude * math.sin(2 * math.pi * minute / period)


def house(*probes: str, chamber: ChamberPlan = CELLAR, every_s: float = 60.0) -> Plan:
    """Return a house of one chamber."""
    return Plan((chamber,), tuple(ProbePlan(name, chamber.name, every_s) for name in probes))


def reading(probe: str, minute: float, temp_c: float | None = 12.5, rh_pct: float | None = 75.0) -> Reading:
    """Return one reading that arrives at once, at the wire's resolution."""
    t = None if temp_c is None else round(temp_c, 2)
    h = None if rh_pct is None else round(rh_pct, 2)
    return Reading(probe, at(minute), t, h, at(minute))


HOUR = MS_PER_H / MS_PER_MIN
