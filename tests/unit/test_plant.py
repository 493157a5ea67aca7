"""The fridge plant: nothing is lost, and it behaves as a converted fridge does."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.cabinet import FRIDGE, Hygrostat, Thermostat
from simulator.plant import Hands, Plant
from simulator.weather import Climate, RoomAir, Weather

HOUR_STEPS = 720  # of 5 s
DAY_S = 86_400


def _run(plant, hours, hands=None, seed=1, start_h=0.0):
    weather = Weather(Climate(), seed)
    temps, humidities, cooling = [], [], []
    for n in range(int(hours * HOUR_STEPS)):
        at_s = start_h * 3600 + n * 5
        plant.step(5.0, weather.at(at_s % DAY_S, at_s), hands or Hands())
        temps.append(plant.temp_c)
        humidities.append(plant.rh_pct)
        cooling.append(plant.cooling)
    return temps, humidities, cooling


def _settled():
    plant = Plant(FRIDGE)
    for _ in range(3):
        plant.hang(2.0, 12.5, 9.0)
    _run(plant, 2)
    return plant


HANDS = st.builds(
    Hands,
    door=st.floats(0, 1),
    powered=st.booleans(),
    compressor_works=st.booleans(),
    tank_runs_dry=st.booleans(),
)


@settings(max_examples=25, deadline=None)
@given(
    hands=st.lists(HANDS, min_size=1, max_size=4),
    room_c=st.floats(5, 35),
    room_pa=st.floats(200, 3000),
    pieces=st.integers(0, 3),
)
def test_heat_and_water_balance_to_rounding(hands, room_c, room_pa, pieces):
    """Whatever is done to the plant, what it holds changed by what crossed its wall: heat and water alike."""
    plant = Plant(FRIDGE)
    heat_j, water_kg = plant.heat_j(), plant.water_kg()
    for _ in range(pieces):
        plant.hang(2.0, 6.0, 20.0)
    for act in hands:
        for _ in range(100):
            plant.step(5.0, RoomAir(room_c, room_pa), act)
        plant.refill()
    assert plant.heat_j() - heat_j == pytest.approx(plant.ledger.heat_j, abs=1e-5)
    assert plant.water_kg() - water_kg == pytest.approx(plant.ledger.water_kg, abs=1e-10)


@settings(max_examples=25, deadline=None)
@given(act=HANDS, room_c=st.floats(5, 35), room_pa=st.floats(200, 3000))
def test_no_store_of_water_goes_below_empty(act, room_c, room_pa):
    """Vapour, film, coil and tank never hold less than nothing, and the coil never more than clings to it."""
    plant = _settled_once()
    for _ in range(300):
        plant.step(5.0, RoomAir(room_c, room_pa), act)
        assert min(plant.vapour_kg, plant.film_kg, plant.coil_kg, plant.tank_kg) >= 0.0
        assert plant.coil_kg <= FRIDGE.coil_holds_kg + 1e-15


def _settled_once():
    plant = Plant(FRIDGE)
    plant.hang(2.0, 12.5, 9.0)
    return plant


@pytest.mark.parametrize("seed", range(4))
def test_a_quiet_day_stays_in_the_planned_air(seed):
    """Left alone, the fridge saw-tooths within 10-15 °C and 70-80 %RH (the band is common practice, no source)."""
    temps, humidities, cooling = _run(_settled(), 24, seed=seed)
    assert 11.0 < min(temps) < 11.8
    assert 12.6 < max(temps) < 13.4
    assert 70.5 < min(humidities) < 74.0
    assert 77.0 < max(humidities) < 80.0
    starts = sum(b and not a for a, b in pairwise(cooling))
    assert 24 * 60 / 40 <= starts <= 24 * 60 / 15  # a cycle lasts 15 to 40 minutes


def test_humidity_rises_when_the_coil_gives_its_water_back():
    """After the compressor stops, the coil's water goes back into the air: humidity rises at rising temperature."""
    plant = _settled()
    while not plant.cooling:
        plant.step(5.0, RoomAir(20.0, 900.0), Hands())
    while plant.cooling:
        plant.step(5.0, RoomAir(20.0, 900.0), Hands())
    temp_c, humidity, held_kg = plant.temp_c, plant.rh_pct, plant.coil_kg
    assert held_kg > 0.0
    for _ in range(60):
        plant.step(5.0, RoomAir(20.0, 900.0), Hands())
    assert not plant.misting
    assert plant.coil_kg < held_kg
    assert plant.temp_c > temp_c
    assert plant.rh_pct > humidity


def test_the_compressor_rests_between_runs():
    """However warm it is, the compressor stays off for its rest after every stop."""
    cabinet = replace(FRIDGE, thermostat=Thermostat(on_c=12.1, off_c=12.0, rest_s=600.0, bulb_s=10.0))
    plant = Plant(cabinet)
    _, _, cooling = _run(plant, 6)
    pauses, length = [], 0
    for on in cooling:
        if on and length:
            pauses.append(length)
        length = 0 if on else length + 1
    assert len(pauses) > 3
    assert min(pauses[1:]) * 5 >= 600


def test_a_dead_compressor_lets_it_warm_past_the_urgent_limit_in_hours_not_minutes():
    """Without cooling the air passes 15 °C within 2 h and 18 °C between 4 and 8 h: a night's worth."""
    plant = _settled()
    temps, _, _ = _run(plant, 9, Hands(compressor_works=False), start_h=22)
    over_15 = next(n for n, t in enumerate(temps) if t > 15) / HOUR_STEPS
    over_18 = next(n for n, t in enumerate(temps) if t > 18) / HOUR_STEPS
    assert 0.3 < over_15 < 2
    assert 4 < over_18 < 8


def test_an_empty_humidifier_lets_it_dry_out():
    """Without mist the air falls under 68 % within 6 h, and a refill brings it back within one."""
    plant = _settled()
    _run(plant, 6, Hands(tank_runs_dry=True))
    assert plant.rh_pct < 68
    plant.refill()
    _, humidities, _ = _run(plant, 1)
    assert humidities[-1] > 72


def test_a_door_ajar_brings_room_air_and_shut_it_recovers():
    """An open door warms and dries the air within minutes; two hours after it is shut the band is held again."""
    plant = _settled()
    _run(plant, 0.5, Hands(door=1.0))
    assert plant.temp_c > 15.5
    assert plant.rh_pct < 60
    temps, humidities, _ = _run(plant, 3)
    assert max(temps[2 * HOUR_STEPS :]) < 14
    assert min(humidities[2 * HOUR_STEPS :]) > 70


def test_a_power_cut_stops_fan_mist_and_compressor():
    """Without power nothing runs, whatever the thermostat and the hygrostat want."""
    plant = _settled()
    for _ in range(HOUR_STEPS * 3):
        plant.step(5.0, RoomAir(25.0, 400.0), Hands(powered=False))
        assert not plant.cooling
        assert not plant.misting
    assert plant.temp_c > 16


def test_a_cold_piece_brings_cold_and_then_sheds():
    """A piece from a cold room cools the chamber's meat by mixing, and its water appears in the ledger."""
    plant = Plant(FRIDGE)
    plant.hang(2.0, 12.0, 0.0)
    plant.hang(2.0, 4.0, 86.4)
    assert plant.meat_c == pytest.approx(8.0)
    water_kg = plant.ledger.water_kg
    room = RoomAir(12.0, plant.vapour_pa)
    closed = replace(FRIDGE, leak_m3_per_s=0.0)
    plant.cabinet = closed
    plant.step(5.0, room, Hands(powered=False))
    assert plant.ledger.water_kg - water_kg == pytest.approx(5 * 86.4e-3 / DAY_S)


def test_a_step_too_long_is_refused():
    """A step in which the air would overshoot is refused with the range, not integrated into nonsense."""
    with pytest.raises(ValueError, match=r"a step of 60 s is not within 0 to \d"):
        Plant(FRIDGE).step(60.0, RoomAir(20.0, 900.0), Hands())
    with pytest.raises(ValueError, match="a step of nan s"):
        Plant(FRIDGE).step(float("nan"), RoomAir(20.0, 900.0), Hands())


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"volume_m3": 0.0}, "above 0"),
        ({"thermostat": Thermostat(on_c=12.0, off_c=12.5)}, "thermostat"),
        ({"hygrostat": Hygrostat(on_pct=76.0, off_pct=75.0)}, "hygrostat"),
    ],
)
def test_a_cabinet_that_cannot_work_is_refused(changes, says):
    """Sizes and switches that cannot be are refused when the cabinet is made."""
    with pytest.raises(ValueError, match=says):
        replace(FRIDGE, **changes)


def test_weather_is_one_seed_and_stays_within_its_swings():
    """One seed gives one weather; the swings add up to no more than their halves."""
    climate = Climate()
    times = [n * 977.0 for n in range(500)]
    one = [Weather(climate, 3).at(s % DAY_S, s) for s in times]
    assert one == [Weather(climate, 3).at(s % DAY_S, s) for s in times]
    assert one != [Weather(climate, 4).at(s % DAY_S, s) for s in times]
    assert max(abs(a.temp_c - climate.mean_c) for a in one) <= climate.daily_c + climate.slow_c
    assert max(abs(a.vapour_pa - climate.mean_vapour_pa) for a in one) <= climate.slow_vapour_pa
