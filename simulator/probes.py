"""Probes: they lag, they are a little off, they round, and sometimes they lie or mumble."""

from __future__ import annotations

import random
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.model import (
    PROBE_RH_MAX_PCT,
    PROBE_RH_MIN_PCT,
    PROBE_TEMP_MAX_C,
    PROBE_TEMP_MIN_C,
    Reading,
)
from chamberwatch.wire.senml import encode
from simulator.air import rh_pct
from simulator.faults import Fault, Trouble

if TYPE_CHECKING:
    from collections.abc import Mapping

GLITCH_C, GLITCH_PCT = 85.0, 0.0
"""What many digital elements report after a brown-out; common practice, no source."""


@dataclass(frozen=True, slots=True)
class ProbeBuild:
    """One probe's nature: lags in s, offsets and noise (standard deviation) in °C and %RH, smallest steps."""

    name: str
    temp_lag_s: float = 60.0
    rh_lag_s: float = 25.0
    temp_offset_c: float = 0.0
    rh_offset_pct: float = 0.0
    temp_noise_c: float = 0.02
    rh_noise_pct: float = 0.15
    step_c: float = 0.01
    step_pct: float = 0.01
    near_room: float = 0.0
    near_coil: float = 0.0
    """Where it hangs: shares of the way from the chamber's air to the room's (by the door) and the coil's."""

    def __post_init__(self) -> None:
        if min(self.temp_lag_s, self.rh_lag_s, self.step_c, self.step_pct) <= 0:
            raise ValueError(f"probe {self.name}: lags and steps must be above 0")
        if min(self.temp_noise_c, self.rh_noise_pct) < 0:
            raise ValueError(f"probe {self.name}: noise must not be below 0")


class Line(NamedTuple):
    """What a probe put on its wire at one time. `good`: the monitor should make a reading of it."""

    at_ms: int
    probe: str
    data: bytes
    good: bool


class Probe:
    """One probe: `feel` the air each step, `speak` when its turn comes."""

    def __init__(self, build: ProbeBuild, temp_c: float, humidity_pct: float, seed: int) -> None:
        self.build = build
        self.temp_c = temp_c
        self.humidity_pct = humidity_pct
        self._rng = random.Random(f"probe {build.name} {seed}")
        self._last: tuple[float, float] | None = None
        self._broken_line = False
        self._frozen_pct: float | None = None

    def feel(self, dt_s: float, temp_c: float, vapour_pa: float) -> None:
        """Follow the air for `dt_s`: the element meets the vapour at its own temperature, not the air's."""
        self.temp_c += (temp_c - self.temp_c) * min(dt_s / self.build.temp_lag_s, 1.0)
        felt_pct = rh_pct(vapour_pa, self.temp_c)
        self.humidity_pct += (felt_pct - self.humidity_pct) * min(dt_s / self.build.rh_lag_s, 1.0)

    def measure(self, faults: Mapping[Trouble, Fault], at_ms: int = 0) -> tuple[float, float]:
        """Return °C and %RH as the probe reports them."""
        b = self.build
        noisy = faults[Trouble.NOISY].amount if Trouble.NOISY in faults else 0.0
        felt_c = self.temp_c + b.temp_offset_c + self._rng.gauss(0.0, b.temp_noise_c + noisy)
        felt_pct = self.humidity_pct + b.rh_offset_pct + self._rng.gauss(0.0, b.rh_noise_pct + 5.0 * noisy)
        if Trouble.FROZEN in faults and self._last is not None:
            return self._last
        if Trouble.CREEPING in faults:
            creeping = faults[Trouble.CREEPING]
            felt_pct += creeping.amount * creeping.hours(at_ms)
        if Trouble.PINNED_DAMP in faults:
            felt_pct = PROBE_RH_MAX_PCT
        temp_c = min(max(_stepped(felt_c, b.step_c), PROBE_TEMP_MIN_C), PROBE_TEMP_MAX_C)
        humidity = min(max(_stepped(felt_pct, b.step_pct), PROBE_RH_MIN_PCT), PROBE_RH_MAX_PCT)
        if Trouble.FROZEN_HUMIDITY in faults and self._last is not None:
            humidity = self._last[1]
        self._last = temp_c, humidity
        if Trouble.GLITCHES in faults and self._rng.random() < faults[Trouble.GLITCHES].how_far:
            return GLITCH_C, GLITCH_PCT
        return self._last

    def speak(self, at_ms: int, faults: Mapping[Trouble, Fault]) -> Line | None:
        """Return the line for this moment, or None when the probe is unplugged."""
        temp_c, humidity = self.measure(faults, at_ms)
        if Trouble.UNPLUGGED in faults:
            self._broken_line = False
            return None
        ahead_s = faults[Trouble.CLOCK_OFF].amount if Trouble.CLOCK_OFF in faults else 0.0
        says_ms = at_ms + round(1000 * ahead_s)
        whole = encode([Reading(self.build.name, says_ms, temp_c, humidity, at_ms)]).rstrip(b"\n") + b"\n"
        data, good = self._mangled(whole, faults)
        spoiled = self._broken_line  # a line whose end was lost swallows the line after it
        self._broken_line = not data.endswith(b"\n")
        return Line(at_ms, self.build.name, data, good and not spoiled)

    def _mangled(self, whole: bytes, faults: Mapping[Trouble, Fault]) -> tuple[bytes, bool]:
        if Trouble.GARBAGE in faults:
            noise = bytes(b for b in self._rng.randbytes(self._rng.randint(5, 60)) if b not in b"\r\n")
            return b"~" + noise + b"\n", False
        half = faults.get(Trouble.HALF_LINES)
        if half is not None and self._rng.random() < half.how_far:
            return whole[: self._rng.randint(1, len(whole) - 2)], False
        return whole, True


def _stepped(value: float, step: float) -> float:
    return round(round(value / step) * step, 4)
