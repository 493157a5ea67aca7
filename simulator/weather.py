"""The room the chamber stands in: a daily swing, slower weather on top, all from one seed."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from typing import NamedTuple

DAY_S = 86_400.0
WARMEST_S = 16.0 * 3600.0
"""A lived-in room is warmest in the late afternoon; common practice, no source."""


class RoomAir(NamedTuple):
    """The room's air: °C and the vapour's pressure in Pa."""

    temp_c: float
    vapour_pa: float


@dataclass(frozen=True, slots=True)
class Climate:
    """What the room is like: its means and swings (half of peak to peak)."""

    mean_c: float = 21.5
    daily_c: float = 1.2
    slow_c: float = 0.6
    mean_vapour_pa: float = 850.0
    slow_vapour_pa: float = 50.0


class Weather:
    """The room's air at any second, a pure function of climate, seed and time."""

    def __init__(self, climate: Climate, seed: int) -> None:
        rng = random.Random(f"weather {seed}")
        self._climate = climate
        # Three sines of incommensurable periods (hours) look like weather and never repeat in a weekend.
        self._temp = [(rng.uniform(0.0, math.tau), hours * 3600.0) for hours in (31.0, 53.0, 13.0)]
        self._vapour = [(rng.uniform(0.0, math.tau), hours * 3600.0) for hours in (37.0, 61.0, 17.0)]

    def at(self, second_of_day_s: float, elapsed_s: float) -> RoomAir:
        """Return the room's air; the daily swing goes by the hour of the day, the rest by elapsed time."""
        c = self._climate
        daily = c.daily_c * math.cos(math.tau * (second_of_day_s - WARMEST_S) / DAY_S)
        temp_c = c.mean_c + daily + c.slow_c * _mix(self._temp, elapsed_s)
        return RoomAir(temp_c, c.mean_vapour_pa + c.slow_vapour_pa * _mix(self._vapour, elapsed_s))


def _mix(waves: list[tuple[float, float]], elapsed_s: float) -> float:
    total = sum(math.sin(phase + math.tau * elapsed_s / period_s) for phase, period_s in waves)
    return total / len(waves)
