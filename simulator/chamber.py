"""A weekend lived through: plant, weather, probes and faults together, told as what appears on the wires."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, NamedTuple

from simulator.cabinet import CABINETS
from simulator.faults import Trouble, hands_at, probe_faults
from simulator.plant import Plant
from simulator.probes import Line, Probe
from simulator.weather import Weather

if TYPE_CHECKING:
    from collections.abc import Iterator

    from simulator.weekend import Weekend

STEP_S = 5
PHASE_MS = 700
"""Probes do not speak in step: each begins this much after the one before it."""

PIECE_COMES_AT_C = 8.0
"""A piece comes from the salting fridge by way of the kitchen table; our own choice."""


class Unplug(NamedTuple):
    """A probe's plug is pulled."""

    at_ms: int
    probe: str


class Plug(NamedTuple):
    """A probe's plug is back."""

    at_ms: int
    probe: str


Word = Line | Unplug | Plug


def tell(weekend: Weekend, seed: int | None = None) -> Iterator[Word]:
    """Yield all that the weekend's probes put on their wires, in order of time.

    The same weekend and seed give the same bytes, whatever machine they are made on.
    """
    life = _Life(weekend, weekend.seed if seed is None else seed)
    for at_ms in range(weekend.start_ms, weekend.end_ms, STEP_S * 1000):
        yield from life.step(at_ms)


class _Life:
    def __init__(self, weekend: Weekend, seed: int) -> None:
        self.weekend = weekend
        self.weather = Weather(weekend.climate, seed)
        self.plant = Plant(CABINETS[weekend.cabinet])
        self.probes = [Probe(b, self.plant.temp_c, self.plant.rh_pct, seed) for b in weekend.probes]
        self.unplugged: set[str] = set()
        self.to_hang = sorted(weekend.pieces, key=lambda p: p.hung_ms)
        self.was_dry = False

    def step(self, at_ms: int) -> Iterator[Word]:
        self._hang(at_ms)
        hands = hands_at(self.weekend.faults, at_ms)
        if self.was_dry and not hands.tank_runs_dry:
            self.plant.refill()
        self.was_dry = hands.tank_runs_dry
        room = self.weather.at(_second_of_day(at_ms), (at_ms - self.weekend.start_ms) / 1000)
        self.plant.step(STEP_S, room, hands)
        vapour_pa = self.plant.vapour_pa
        speaks = (at_ms - self.weekend.start_ms) % (self.weekend.every_s * 1000) == 0
        for n, probe in enumerate(self.probes):
            probe.feel(STEP_S, self.plant.temp_c, vapour_pa)
            if speaks:
                yield from self._speak(probe, at_ms + n * PHASE_MS)

    def _hang(self, at_ms: int) -> None:
        while self.to_hang and self.to_hang[0].hung_ms <= at_ms:
            piece = self.to_hang.pop(0)
            old = piece.hung_ms < self.weekend.start_ms
            comes_at_c = self.plant.temp_c if old else PIECE_COMES_AT_C
            self.plant.hang(piece.weighs_kg, comes_at_c, piece.sheds_g_per_day)

    def _speak(self, probe: Probe, at_ms: int) -> Iterator[Word]:
        name = probe.build.name
        faults = probe_faults(self.weekend.faults, name, at_ms)
        gone = Trouble.UNPLUGGED in faults
        if gone and name not in self.unplugged:
            self.unplugged.add(name)
            yield Unplug(at_ms, name)
        elif not gone and name in self.unplugged:
            self.unplugged.discard(name)
            yield Plug(at_ms, name)
        line = probe.speak(at_ms, faults)
        if line is not None:
            yield line


def _second_of_day(at_ms: int) -> float:
    at = datetime.fromtimestamp(at_ms / 1000, UTC)
    return at.hour * 3600.0 + at.minute * 60.0 + at.second
