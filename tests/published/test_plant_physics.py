"""The simulator's plant and air against numbers and laws from outside this project."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from simulator.air import (
    AIR_J_PER_M3_K,
    LATENT_J_PER_KG,
    rh_pct,
    sat_pressure_pa,
    vapour_density_kg_m3,
    vapour_pressure_pa,
)
from simulator.cabinet import FRIDGE
from simulator.plant import Hands, Plant
from simulator.weather import RoomAir

# Saturation pressure over water [Pa] by IAPWS-95, computed with CoolProp 8.0.0.
IAPWS_95 = {5: 872.575, 10: 1228.199, 12: 1402.848, 15: 1705.793, 20: 2339.318, 25: 3169.929, 30: 4246.971}
MAGNUS_ERROR = 0.0035  # measured of this coefficient set against IAPWS-95 over 0..30 °C

# %RH after a change of temperature at constant vapour pressure from 12 °C, 75 %; computed with PsychroLib 2.5.0
# (Hyland-Wexler, as in ASHRAE's handbook).
FROM_12_C_75_PCT = {-2.0: 85.66, -1.0: 80.13, -0.5: 77.52, 0.5: 72.57, 1.0: 70.23, 2.0: 65.80}

# Absolute humidity [g/m3] of an ideal gas at (°C, %RH), from PsychroLib's vapour pressure and 461.523 J/(kg K).
ABSOLUTE = {(12.0, 75.0): 7.9933, (15.0, 70.0): 8.9769, (22.0, 50.0): 9.7078, (4.0, 90.0): 5.7238}

OFF = Hands(powered=False)
HOUR = 3600


@pytest.mark.parametrize(("temp_c", "pressure_pa"), IAPWS_95.items())
def test_saturation_is_within_the_magnus_error_of_iapws_95(temp_c, pressure_pa):
    """The simulator's saturation pressure strays from IAPWS-95 by no more than its formula is known to."""
    assert sat_pressure_pa(temp_c) == pytest.approx(pressure_pa, rel=MAGNUS_ERROR)


@pytest.mark.parametrize(("change_c", "expected_pct"), FROM_12_C_75_PCT.items())
def test_rh_follows_temperature_at_constant_vapour_pressure(change_c, expected_pct):
    """Warming air without adding water dries it as ASHRAE's formula says; 0.05 %RH covers Magnus and rounding."""
    vapour_pa = 0.75 * sat_pressure_pa(12.0)
    assert rh_pct(vapour_pa, 12.0 + change_c) == pytest.approx(expected_pct, abs=0.05)


@pytest.mark.parametrize(("state", "grams"), ABSOLUTE.items())
def test_a_cubic_metre_holds_as_much_vapour_as_psychrolib_says(state, grams):
    """Vapour density agrees within Magnus' error, and turning it back gives the pressure exactly."""
    temp_c, humidity = state
    pressure_pa = sat_pressure_pa(temp_c) * humidity / 100
    density = vapour_density_kg_m3(pressure_pa, temp_c)
    assert 1000 * density == pytest.approx(grams, rel=MAGNUS_ERROR)
    assert vapour_pressure_pa(density, temp_c) == pytest.approx(pressure_pa, rel=1e-12)


def _dry_box(**changes):
    """A cabinet in which nothing but heat moves: no film, no leak, air as dry as the coil allows."""
    still = {"film_kg_per_s_pct": 1e-12, "leak_m3_per_s": 0.0, "fan_w": 0.0}
    return replace(FRIDGE, **{**still, **changes})


def test_steady_state_by_hand():
    """A dead fridge with its fan on ends as far above the room as fan watts over watts per kelvin (by hand)."""
    plant = Plant(_dry_box(fan_w=2.5, liner_j_per_k=4_000.0), temp_c=12.5, humidity_pct=40.0)
    room = RoomAir(20.0, 900.0)
    for _ in range(24 * HOUR // 5):
        plant.step(5.0, room, Hands(compressor_works=False, tank_runs_dry=True))
    # All fan heat passes air -> liner -> room: 2.5 W / 2.2 W/K over the room, and 2.5 / 10 more in the air.
    assert plant.liner_c == pytest.approx(20.0 + 2.5 / 2.2, abs=1e-3)
    assert plant.temp_c == pytest.approx(20.0 + 2.5 / 2.2 + 2.5 / 10.0, abs=1e-3)


def test_warming_is_exponential_with_the_time_constant_by_hand():
    """With the air made light the liner warms as 1 - exp(-t/RC), RC = capacity over conductance (by hand)."""
    cabinet = _dry_box(air_j_per_k=200.0, coil_j_per_k=100.0)
    plant = Plant(cabinet, temp_c=10.0, humidity_pct=40.0)
    for _ in range(2 * HOUR):
        plant.step(1.0, RoomAir(20.0, 900.0), OFF)
    rc_s = (20_000.0 + 200.0 + 100.0) / 2.2
    assert plant.temp_c == pytest.approx(20.0 - 10.0 * math.exp(-2 * HOUR / rc_s), abs=0.02)


def test_an_open_door_brings_the_room_in_at_the_rate_by_hand():
    """The first seconds of an open door change the air by flow over volume, and heat by flow times 1220 J/(m3 K)."""
    plant = Plant(_dry_box(coil_to_air_w_per_k=0.0, liner_to_air_w_per_k=0.0), temp_c=12.0, humidity_pct=70.0)
    before_kg = plant.vapour_kg
    room = RoomAir(20.0, 600.0)
    plant.step(1.0, room, Hands(door=1.0, powered=False))
    assert plant.temp_c - 12.0 == pytest.approx(0.022 * AIR_J_PER_M3_K * 8.0 / 4_500.0, rel=1e-9)
    difference = vapour_density_kg_m3(600.0, 20.0) - before_kg / 0.25
    assert plant.vapour_kg - before_kg == pytest.approx(0.022 * difference, rel=1e-6)


def test_mist_cools_by_its_latent_heat():
    """A gram of mist taken up takes 2.46 kJ from the air (latent heat by IAPWS, rounded)."""
    cabinet = _dry_box(coil_to_air_w_per_k=0.0, liner_to_air_w_per_k=0.0, mist_kg_per_s=1e-4)
    plant = Plant(cabinet, temp_c=12.0, humidity_pct=60.0)
    plant.step(1.0, RoomAir(12.0, 900.0), Hands(compressor_works=False))
    assert plant.temp_c - 12.0 == pytest.approx(-1e-4 * LATENT_J_PER_KG / 4_500.0, rel=1e-9)


def test_a_cold_coil_dries_the_air_down_to_its_own_saturation():
    """Held at 0.5 °C long enough, the coil leaves the air with the vapour of saturation at 0.5 °C."""
    cabinet = _dry_box(coil_j_per_k=1e9)  # a coil that nothing warms
    plant = Plant(cabinet, temp_c=12.5, humidity_pct=75.0)
    plant.coil_c = 0.5
    for _ in range(2 * HOUR // 5):
        plant.step(5.0, RoomAir(12.5, 900.0), OFF)
    assert plant.coil_c == pytest.approx(0.5, abs=1e-3)
    assert plant.vapour_kg / 0.25 == pytest.approx(vapour_density_kg_m3(sat_pressure_pa(0.5), 0.5), rel=1e-3)
