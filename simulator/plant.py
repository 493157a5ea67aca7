"""One chamber as lumped equations, stepped by explicit Euler; heat and water are conserved to rounding.

Rules for this file: every flow is computed once and applied to both ends; whatever crosses the chamber's
wall is entered in the ledger, so that `heat_j()` and `water_kg()` can be audited at any time. Liquid water
carries no heat of its own (its sensible heat is 1 % of the latent), vapour carries the latent heat.
"""

from __future__ import annotations

from dataclasses import dataclass

from simulator.air import (
    AIR_J_PER_M3_K,
    LATENT_J_PER_KG,
    rh_pct,
    sat_pressure_pa,
    vapour_density_kg_m3,
    vapour_pressure_pa,
)
from simulator.cabinet import Cabinet
from simulator.weather import RoomAir

DRYER_RATED_PCT = 75.0


@dataclass(slots=True)
class Hands:
    """What people and faults do to the plant now."""

    door: float = 0.0
    """How far the door stands open, 0..1."""
    powered: bool = True
    compressor_works: bool = True
    tank_runs_dry: bool = False
    cooling_part: float = 1.0
    """What is left of the compressor's power, 0..1."""
    stuck_on: bool = False
    """The compressor runs whatever the thermostat says."""
    thermostat_c: float = 0.0
    """How much warmer than planned the thermostat is set [K]."""
    coil_part: float = 1.0
    """What is left of the coil's exchange with the air, 0..1: ice, dust."""
    fan_works: bool = True
    defrosting: bool = False
    heater_stuck: bool = False
    mist_part: float = 1.0
    mist_stuck: bool = False
    hygrostat_pct: float = 0.0
    """How much damper than planned the humidifier is set [%RH]."""
    dryer_pct: float = 0.0
    """How much damper than delivered the dryer is set [%RH]; below 0 it dries sooner."""
    dryer_stuck: bool = False
    leak_times: float = 1.0
    """How many times its usual leak the chamber has: a worn seal."""
    wet_kg_per_s: float = 0.0
    """Water that evaporates from something wet: a new piece, a spill."""


@dataclass(slots=True)
class Ledger:
    """What crossed the chamber's wall since the start: heat [J] and water [kg] gained."""

    heat_j: float = 0.0
    water_kg: float = 0.0


class Plant:
    """The chamber: give it seconds with `step`, read `temp_c` and `rh_pct`."""

    def __init__(self, cabinet: Cabinet, temp_c: float = 12.5, humidity_pct: float = 74.5) -> None:
        self.cabinet = cabinet
        self.temp_c = self.liner_c = self.coil_c = self.meat_c = self.bulb_c = temp_c
        start_pa = sat_pressure_pa(temp_c) * humidity_pct / 100.0
        self.vapour_kg = cabinet.volume_m3 * vapour_density_kg_m3(start_pa, temp_c)
        self.film_kg = cabinet.film_kg_per_pct * humidity_pct
        self.coil_kg = 0.0
        self.tank_kg = cabinet.tank_kg
        self.cooling = False
        self.misting = False
        self.drying = False
        self.dryer_felt_pct = humidity_pct
        self.dryer_since_s = cabinet.dryer.rest_s
        self.heating = False
        self.fan_runs = True
        self.age_s = 0.0
        self.rested_s = cabinet.thermostat.rest_s
        self.pieces = 0
        self.meat_j_per_k = 0.0
        self.shed_kg_per_s = 0.0
        self.ledger = Ledger()

    @property
    def vapour_pa(self) -> float:
        """The vapour's pressure in the chamber's air [Pa]."""
        return vapour_pressure_pa(self.vapour_kg / self.cabinet.volume_m3, self.temp_c)

    @property
    def rh_pct(self) -> float:
        """The chamber's humidity [%RH], not clipped."""
        return rh_pct(self.vapour_pa, self.temp_c)

    def heat_j(self) -> float:
        """Return the heat in the chamber, counted from 0 °C and liquid water."""
        c = self.cabinet
        sensible = c.air_j_per_k * self.temp_c + c.liner_j_per_k * self.liner_c
        sensible += c.coil_j_per_k * self.coil_c + self.meat_j_per_k * self.meat_c
        return sensible + LATENT_J_PER_KG * self.vapour_kg

    def water_kg(self) -> float:
        """Return the water in the chamber's air, film, coil and tank; the meat's own is outside."""
        return self.vapour_kg + self.film_kg + self.coil_kg + self.tank_kg

    def hang(self, weight_kg: float, meat_c: float, shed_g_per_day: float) -> None:
        """Hang a piece: it brings its heat, and sheds water at a constant rate from then on."""
        added_j_per_k = weight_kg * self.cabinet.meat_j_per_kg_k
        total = self.meat_j_per_k + added_j_per_k
        self.meat_c = (self.meat_c * self.meat_j_per_k + meat_c * added_j_per_k) / total
        self.ledger.heat_j += added_j_per_k * meat_c
        self.meat_j_per_k = total
        self.pieces += 1
        self.shed_kg_per_s += shed_g_per_day / 1000.0 / 86_400.0

    def refill(self) -> None:
        """Fill the humidifier's tank."""
        self.ledger.water_kg += self.cabinet.tank_kg - self.tank_kg
        self.tank_kg = self.cabinet.tank_kg

    def run_dry(self) -> None:
        """Empty the humidifier's tank."""
        self.ledger.water_kg -= self.tank_kg
        self.tank_kg = 0.0

    def step(self, dt_s: float, room: RoomAir, hands: Hands) -> None:
        """Advance by `dt_s` seconds; ValueError when the step is too long for this cabinet to stay stable."""
        longest_s = self.cabinet.longest_step_s(self.pieces)
        if not 0.0 < dt_s <= longest_s:
            raise ValueError(f"a step of {dt_s:g} s is not within 0 to {longest_s:.1f} s")
        if hands.tank_runs_dry and self.tank_kg > 0.0:
            self.run_dry()
        humidity_pct = self.rh_pct
        self._control(dt_s, hands, humidity_pct)
        flows_w = self._sensible(dt_s, room, hands)
        air_w, liner_w, coil_w = self._water(dt_s, room, hands, humidity_pct, flows_w)
        c = self.cabinet
        self.temp_c += air_w * dt_s / c.air_j_per_k
        self.liner_c += liner_w * dt_s / c.liner_j_per_k
        self.coil_c += coil_w * dt_s / c.coil_j_per_k

    def _control(self, dt_s: float, hands: Hands, humidity_pct: float) -> None:
        self.age_s += dt_s
        defrosts = self._defrosts(hands)
        self._cool(dt_s, hands, defrosts=defrosts)
        self._moisten(hands, humidity_pct)
        self._dry(dt_s, hands, humidity_pct)
        c = self.cabinet
        timed = c.fan_every_s == 0.0 or self.age_s % c.fan_every_s < c.fan_on_s
        self.fan_runs = (timed or self.cooling) and hands.powered and hands.fan_works

    def _defrosts(self, hands: Hands) -> bool:
        defrost = self.cabinet.defrost
        due = defrost.every_s > 0.0 and self.age_s % defrost.every_s >= defrost.every_s - defrost.for_s
        wanted = (due or hands.defrosting) and self.coil_c < defrost.until_c
        self.heating = (wanted or hands.heater_stuck) and hands.powered
        return due or hands.defrosting

    def _cool(self, dt_s: float, hands: Hands, *, defrosts: bool) -> None:
        thermostat = self.cabinet.thermostat
        self.bulb_c += (self.temp_c - self.bulb_c) * min(dt_s / thermostat.bulb_s, 1.0)
        self.rested_s = 0.0 if self.cooling else self.rested_s + dt_s
        felt_c = self.bulb_c - hands.thermostat_c
        if self.cooling:
            self.cooling = felt_c > thermostat.off_c
        else:
            self.cooling = felt_c >= thermostat.on_c and self.rested_s >= thermostat.rest_s
        wanted = (self.cooling and not defrosts) or hands.stuck_on
        self.cooling = wanted and hands.powered and hands.compressor_works

    def _moisten(self, hands: Hands, humidity_pct: float) -> None:
        hygrostat = self.cabinet.hygrostat
        felt_pct = humidity_pct - hands.hygrostat_pct
        self.misting = felt_pct < hygrostat.off_pct if self.misting else felt_pct <= hygrostat.on_pct
        self.misting = (self.misting or hands.mist_stuck) and hands.powered

    def _dry(self, dt_s: float, hands: Hands, humidity_pct: float) -> None:
        dryer = self.cabinet.dryer
        self.dryer_felt_pct += (humidity_pct - self.dryer_felt_pct) * min(dt_s / dryer.sensor_s, 1.0)
        self.dryer_since_s += dt_s
        felt_pct = self.dryer_felt_pct - hands.dryer_pct
        wanted = felt_pct > dryer.off_pct if self.drying else felt_pct >= dryer.on_pct
        wanted = (wanted or hands.dryer_stuck) and hands.powered
        if wanted is not self.drying and (self.dryer_since_s >= dryer.rest_s or not hands.powered):
            self.drying, self.dryer_since_s = wanted, 0.0

    def _sensible(self, dt_s: float, room: RoomAir, hands: Hands) -> tuple[float, float, float]:
        """Return the watts into air, liner and coil by conduction, exchange, fan and compressor."""
        c = self.cabinet
        moved = 1.0 if self.fan_runs else c.still_part
        wall_w = c.room_to_liner_w_per_k * (room.temp_c - self.liner_c)
        liner_air_w = moved * c.liner_to_air_w_per_k * (self.liner_c - self.temp_c)
        coil_air_w = self._coil_w_per_k(hands) * (self.coil_c - self.temp_c)
        exchange_w = self._exchange_m3_per_s(hands) * AIR_J_PER_M3_K * (room.temp_c - self.temp_c)
        fan_w = c.fan_w if self.fan_runs else 0.0
        heater_w = c.defrost.heater_w if self.heating else 0.0
        cooling_w = self._cooling_w(dt_s, coil_air_w, hands)
        air_w = liner_air_w + coil_air_w + exchange_w + fan_w
        if self.meat_j_per_k:
            meat_air_w = moved * c.meat_to_air_w_per_piece_k * self.pieces * (self.meat_c - self.temp_c)
            air_w += meat_air_w
            self.meat_c -= meat_air_w * dt_s / self.meat_j_per_k
        self.ledger.heat_j += (wall_w + exchange_w + fan_w + heater_w - cooling_w) * dt_s
        return air_w, wall_w - liner_air_w, heater_w - coil_air_w - cooling_w

    def _coil_w_per_k(self, hands: Hands) -> float:
        moved = 1.0 if self.fan_runs else self.cabinet.still_part
        return moved * hands.coil_part * self.cabinet.coil_to_air_w_per_k

    def _exchange_m3_per_s(self, hands: Hands) -> float:
        c = self.cabinet
        return c.leak_m3_per_s * hands.leak_times + hands.door * c.door_m3_per_s

    def _cooling_w(self, dt_s: float, coil_air_w: float, hands: Hands) -> float:
        if not self.cooling:
            return 0.0
        c = self.cabinet
        keeps_w = (self.coil_c - c.coldest_coil_c) * c.coil_j_per_k / dt_s - coil_air_w
        return max(0.0, min(c.cooling_w * hands.cooling_part, keeps_w))

    def _water(
        self,
        dt_s: float,
        room: RoomAir,
        hands: Hands,
        humidity_pct: float,
        flows_w: tuple[float, float, float],
    ) -> tuple[float, float, float]:
        """Move water between its stores; return the watts with the heat that it took or gave."""
        c = self.cabinet
        density = self.vapour_kg / c.volume_m3
        to_coil = self._to_coil_kg(dt_s, density, self._coil_w_per_k(hands))
        to_film = c.film_kg_per_s_pct * (humidity_pct - self.film_kg / c.film_kg_per_pct) * dt_s
        mist = min(c.mist_kg_per_s * hands.mist_part * dt_s, self.tank_kg) if self.misting else 0.0
        shed = (self.shed_kg_per_s + hands.wet_kg_per_s) * dt_s
        dried = c.dryer.kg_per_s * humidity_pct / DRYER_RATED_PCT * dt_s if self.drying else 0.0
        room_density = vapour_density_kg_m3(room.vapour_pa, room.temp_c)
        exchanged = self._exchange_m3_per_s(hands) * (room_density - density) * dt_s
        self.vapour_kg += mist + shed + exchanged - to_coil - to_film - dried
        self.film_kg += to_film
        self.tank_kg -= mist
        self.coil_kg += to_coil
        dripped = max(0.0, self.coil_kg - c.coil_holds_kg)
        self.coil_kg -= dripped
        self.ledger.water_kg += shed + exchanged - dripped - dried
        self.ledger.heat_j += LATENT_J_PER_KG * exchanged
        watt = LATENT_J_PER_KG / dt_s
        air_w, liner_w, coil_w = flows_w
        # The meat's water is taken from the air's heat: it hangs in it, and its own node is slow.
        return air_w - watt * (mist + shed - dried), liner_w + watt * to_film, coil_w + watt * to_coil

    def _to_coil_kg(self, dt_s: float, density_kg_m3: float, coil_w_per_k: float) -> float:
        """Return what condenses on the coil (below 0: dries off it); by Lewis heat and vapour cross alike."""
        at_coil = vapour_density_kg_m3(sat_pressure_pa(self.coil_c), self.coil_c)
        moved = coil_w_per_k / AIR_J_PER_M3_K * (density_kg_m3 - at_coil) * dt_s
        return max(moved, -self.coil_kg)
