"""What a chamber is built of: the numbers that make one plant a fridge and another something slower."""

from __future__ import annotations

import random
from dataclasses import dataclass, replace

from simulator.air import AIR_J_PER_M3_K

COLD_SATURATED_KG_M3 = 0.0078
"""Below what saturated air at 8 °C holds (8.3e-3 by Magnus): the film must stay stable down to there."""


@dataclass(frozen=True, slots=True)
class Thermostat:
    """Cooling on at or above `on_c`, off at or below `off_c`, and never sooner than `rest_s` after a stop.

    `bulb_s`: the lag of its sensor.
    """

    on_c: float = 12.8
    off_c: float = 12.0
    rest_s: float = 600.0
    bulb_s: float = 60.0


@dataclass(frozen=True, slots=True)
class Hygrostat:
    """Mist on at or below `on_pct`, off at or above `off_pct` [%RH]."""

    on_pct: float = 73.5
    off_pct: float = 75.5


@dataclass(frozen=True, slots=True)
class Dryer:
    """A second actuator that takes water out; its own hygrostat: on at `on_pct`, off at `off_pct` [%RH].

    `kg_per_s` at 75 %RH; `sensor_s` the lag of its sensor; `rest_s` the shortest run and the shortest pause,
    as a small compressor needs. As delivered it is set so high that it never meets the humidifier.
    """

    kg_per_s: float = 6.0e-5
    on_pct: float = 90.0
    off_pct: float = 84.0
    sensor_s: float = 120.0
    rest_s: float = 180.0


@dataclass(frozen=True, slots=True)
class Defrost:
    """Every `every_s` the compressor rests for `for_s`; a heater warms the coil to `until_c` [s, W, °C]."""

    every_s: float = 0.0
    """0: it has no defrost of its own."""
    for_s: float = 1_500.0
    heater_w: float = 60.0
    until_c: float = 8.0


@dataclass(frozen=True, slots=True)
class Cabinet:
    """One lumped chamber: heat in J and W, water in kg, air in m3.

    Nodes of heat: air (with all that follows it at once), liner (walls, racks), coil, meat. Stores of water:
    vapour, film (what casings, wood and liner take up and give back), coil, tank.
    """

    volume_m3: float
    air_j_per_k: float
    liner_j_per_k: float
    coil_j_per_k: float
    room_to_liner_w_per_k: float
    liner_to_air_w_per_k: float
    coil_to_air_w_per_k: float
    meat_to_air_w_per_piece_k: float
    meat_j_per_kg_k: float
    fan_w: float
    cooling_w: float
    coldest_coil_c: float
    """The coil takes full `cooling_w` down to this, then only what keeps it there."""
    coil_holds_kg: float
    """What clings to the coil; more drips into the drain and is gone."""
    film_kg_per_pct: float
    film_kg_per_s_pct: float
    leak_m3_per_s: float
    door_m3_per_s: float
    """Air exchanged with the room while the door stands open."""
    mist_kg_per_s: float
    tank_kg: float
    thermostat: Thermostat = Thermostat()
    hygrostat: Hygrostat = Hygrostat()
    dryer: Dryer = Dryer()
    defrost: Defrost = Defrost()
    fan_every_s: float = 0.0
    """The fan's timer: every so often it runs for `fan_on_s`, and whenever the compressor does; 0: always."""
    fan_on_s: float = 0.0
    still_part: float = 1.0
    """What is left of liner's, coil's and meat's exchange with the air while the fan stands."""

    def __post_init__(self) -> None:
        if min(self.volume_m3, self.air_j_per_k, self.liner_j_per_k, self.coil_j_per_k) <= 0:
            raise ValueError("a cabinet's volume and heat capacities must be above 0")
        if self.thermostat.off_c >= self.thermostat.on_c:
            raise ValueError("the thermostat must switch off below where it switches on")
        if self.dryer.off_pct >= self.dryer.on_pct:
            raise ValueError("the dryer must switch off below where it switches on")
        if self.hygrostat.off_pct <= self.hygrostat.on_pct:
            raise ValueError("the hygrostat must switch off above where it switches on")

    def longest_step_s(self, pieces: int) -> float:
        """Return the longest step [s] in which no node of air can overshoot (explicit Euler, door open)."""
        heat = (
            self.liner_to_air_w_per_k
            + self.coil_to_air_w_per_k
            + self.meat_to_air_w_per_piece_k * pieces
            + (self.door_m3_per_s + self.leak_m3_per_s) * AIR_J_PER_M3_K
        )
        vapour_m3_per_s = self.door_m3_per_s + self.leak_m3_per_s + self.coil_to_air_w_per_k / AIR_J_PER_M3_K
        vapour_m3_per_s += 100.0 * self.film_kg_per_s_pct / COLD_SATURATED_KG_M3
        film_s = self.film_kg_per_pct / self.film_kg_per_s_pct
        return min(self.air_j_per_k / heat, self.volume_m3 / vapour_m3_per_s, film_s)


FRIDGE = Cabinet(
    volume_m3=0.25,
    air_j_per_k=4_500.0,
    liner_j_per_k=20_000.0,
    coil_j_per_k=1_200.0,
    room_to_liner_w_per_k=2.2,
    liner_to_air_w_per_k=10.0,
    coil_to_air_w_per_k=5.0,
    meat_to_air_w_per_piece_k=0.8,
    meat_j_per_kg_k=3_300.0,
    fan_w=2.5,
    cooling_w=75.0,
    coldest_coil_c=-4.0,
    coil_holds_kg=0.0002,
    film_kg_per_pct=0.0006,
    film_kg_per_s_pct=1.5e-6,
    leak_m3_per_s=5.0e-5,
    door_m3_per_s=0.022,
    mist_kg_per_s=2.5e-5,
    tank_kg=1.5,
)
"""A converted fridge of 250 l; sizes, insulation and compressor are common practice, no source."""

CABINET = Cabinet(
    volume_m3=0.60,
    air_j_per_k=24_000.0,
    liner_j_per_k=125_000.0,
    coil_j_per_k=4_000.0,
    room_to_liner_w_per_k=3.6,
    liner_to_air_w_per_k=20.0,
    coil_to_air_w_per_k=9.0,
    meat_to_air_w_per_piece_k=0.8,
    meat_j_per_kg_k=3_300.0,
    fan_w=4.0,
    cooling_w=110.0,
    coldest_coil_c=-2.0,
    coil_holds_kg=0.0006,
    film_kg_per_pct=0.0020,
    film_kg_per_s_pct=3.5e-6,
    leak_m3_per_s=1.2e-4,
    door_m3_per_s=0.040,
    mist_kg_per_s=3.0e-5,
    tank_kg=3.0,
    thermostat=Thermostat(on_c=13.2, off_c=11.8, rest_s=420.0, bulb_s=240.0),
    hygrostat=Hygrostat(on_pct=72.5, off_pct=76.0),
    dryer=Dryer(kg_per_s=1.1e-4),
    defrost=Defrost(every_s=12 * 3_600.0),
    fan_every_s=900.0,
    fan_on_s=300.0,
    still_part=0.6,
)
"""A converted display cabinet of 600 l, slow and heavy, defrosted twice a day; common practice, no source."""

CABINETS = {"fridge": FRIDGE, "cabinet": CABINET}


def varied(cabinet: Cabinet, rng: random.Random, part: float = 0.15) -> Cabinet:
    """Return one specimen of a kind: its sizes, conductances and powers each off by up to `part`.

    What follows from its size (film, door) goes with the volume, so that a specimen stays stable at 5 s.
    """

    def near(value: float, to: float = part) -> float:
        return value * rng.uniform(1.0 - to, 1.0 + to)

    size = rng.uniform(1.0 - part, 1.0 + part)
    return replace(
        cabinet,
        volume_m3=cabinet.volume_m3 * size,
        film_kg_per_s_pct=cabinet.film_kg_per_s_pct * size * rng.uniform(0.88, 1.05),
        door_m3_per_s=cabinet.door_m3_per_s * size * rng.uniform(0.88, 1.05),
        air_j_per_k=near(cabinet.air_j_per_k),
        liner_j_per_k=near(cabinet.liner_j_per_k),
        coil_j_per_k=near(cabinet.coil_j_per_k),
        room_to_liner_w_per_k=near(cabinet.room_to_liner_w_per_k),
        liner_to_air_w_per_k=near(cabinet.liner_to_air_w_per_k),
        coil_to_air_w_per_k=cabinet.coil_to_air_w_per_k * size * rng.uniform(0.88, 1.05),
        fan_w=near(cabinet.fan_w),
        cooling_w=near(cabinet.cooling_w),
        coil_holds_kg=near(cabinet.coil_holds_kg),
        film_kg_per_pct=near(cabinet.film_kg_per_pct),
        leak_m3_per_s=near(cabinet.leak_m3_per_s),
        mist_kg_per_s=near(cabinet.mist_kg_per_s),
    )
