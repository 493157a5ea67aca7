"""A weekend lived through: plant, weather, probes and faults together, told as what appears on the wires."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.model import MS_PER_DAY, MS_PER_MIN
from simulator.air import sat_pressure_pa
from simulator.faults import OF_PROBES, Fault, Trouble, hands_at, probe_faults, room_at
from simulator.plant import Hands, Plant
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

OTHER_CHAMBER_PCT = 85.0
"""The air of the chamber a swapped probe hangs in: a salting fridge, common practice, no source."""

NONE: dict[Trouble, Fault] = {}


class Unplug(NamedTuple):
    """A probe's plug is pulled."""

    at_ms: int
    probe: str


class Plug(NamedTuple):
    """A probe's plug is back."""

    at_ms: int
    probe: str


Word = Line | Unplug | Plug
Watch = Callable[[int, Plant], None]


def tell(weekend: Weekend, seed: int | None = None, watch: Watch | None = None) -> Iterator[Word]:
    """Yield all that the weekend's probes put on their wires, in order of time.

    The same weekend and seed give the same bytes, whatever machine they are made on. `watch` is shown
    the time and the plant once a minute: what really is, to judge by.
    """
    life = _Life(weekend, weekend.seed if seed is None else seed)
    for at_ms in range(weekend.start_ms, weekend.end_ms, STEP_S * 1000):
        yield from life.step(at_ms)
        if watch is not None and at_ms % MS_PER_MIN == 0:
            watch(at_ms, life.plant)


class _Life:
    def __init__(self, weekend: Weekend, seed: int) -> None:
        self.weekend = weekend
        self.weather = Weather(weekend.climate, seed)
        self.plant = Plant(weekend.cabinet)
        self.probes = [Probe(b, self.plant.temp_c, self.plant.rh_pct, seed) for b in weekend.probes]
        names = [b.name for b in weekend.probes]
        self.faults = {name: [f for f in weekend.faults if f.probe == name] for name in names}
        self.of_plant = [f for f in weekend.faults if f.what not in OF_PROBES]
        self.edges = sorted({t for f in self.of_plant for t in (f.from_ms, f.to_ms)}, reverse=True)
        self.unplugged: set[str] = set()
        self.to_hang = sorted(weekend.pieces, key=lambda p: p.hung_ms)
        self.was_dry = False
        self.hands = Hands()
        self.room = self.weather.at(_second_of_day(weekend.start_ms), 0.0)

    def step(self, at_ms: int) -> Iterator[Word]:
        self._hang(at_ms)
        if at_ms % MS_PER_MIN == 0 or (self.edges and self.edges[-1] <= at_ms):
            self._look_up(at_ms)
        self.plant.step(STEP_S, self.room, self.hands)
        vapour_pa = self.plant.vapour_pa
        speaks = (at_ms - self.weekend.start_ms) % (self.weekend.every_s * 1000) == 0
        for n, probe in enumerate(self.probes):
            faults = self._probe_faults(probe, at_ms)
            self._feel(probe, faults, vapour_pa)
            if speaks:
                yield from self._speak(probe, at_ms + n * PHASE_MS)

    def _probe_faults(self, probe: Probe, at_ms: int) -> dict[Trouble, Fault]:
        faults = self.faults[probe.build.name]
        if not faults:
            return NONE
        return probe_faults(faults, probe.build.name, at_ms)

    def _look_up(self, at_ms: int) -> None:
        """Look at weather and faults: once a minute, and whenever one begins or ends."""
        while self.edges and self.edges[-1] <= at_ms:
            self.edges.pop()
        self.hands = hands_at(self.of_plant, at_ms)
        if self.was_dry and not self.hands.tank_runs_dry:
            self.plant.refill()
        self.was_dry = self.hands.tank_runs_dry
        room = self.weather.at(_second_of_day(at_ms), (at_ms - self.weekend.start_ms) / 1000)
        self.room = room_at(self.of_plant, room, at_ms)

    def _feel(self, probe: Probe, faults: dict[Trouble, Fault], vapour_pa: float) -> None:
        if Trouble.MOVED_OUT in faults:
            probe.feel(STEP_S, self.room.temp_c, self.room.vapour_pa)
            return
        if Trouble.SWAPPED in faults:
            other_c = faults[Trouble.SWAPPED].amount
            probe.feel(STEP_S, other_c, sat_pressure_pa(other_c) * OTHER_CHAMBER_PCT / 100.0)
            return
        b, plant = probe.build, self.plant
        temp_c = plant.temp_c + b.near_room * (self.room.temp_c - plant.temp_c)
        temp_c += b.near_coil * (plant.coil_c - plant.temp_c)
        probe.feel(STEP_S, temp_c, vapour_pa)

    def _hang(self, at_ms: int) -> None:
        while self.to_hang and self.to_hang[0].hung_ms <= at_ms:
            piece = self.to_hang.pop(0)
            old = piece.hung_ms < self.weekend.start_ms
            comes_at_c = self.plant.temp_c if old else PIECE_COMES_AT_C
            self.plant.hang(piece.weighs_kg, comes_at_c, piece.sheds_g_per_day)

    def _speak(self, probe: Probe, at_ms: int) -> Iterator[Word]:
        name = probe.build.name
        faults = self._probe_faults(probe, at_ms)
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
    return at_ms % MS_PER_DAY / 1000
