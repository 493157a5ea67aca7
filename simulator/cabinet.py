"""What a chamber is built of: the numbers that make one plant a fridge and another something slower."""

from __future__ import annotations

from dataclasses import dataclass

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

    def __post_init__(self) -> None:
        if min(self.volume_m3, self.air_j_per_k, self.liner_j_per_k, self.coil_j_per_k) <= 0:
            raise ValueError("a cabinet's volume and heat capacities must be above 0")
        if self.thermostat.off_c >= self.thermostat.on_c:
            raise ValueError("the thermostat must switch off below where it switches on")
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

CABINETS = {"fridge": FRIDGE}
