"""Moist air against others' numbers: ASHRAE's tables, PsychroLib, CoolProp.

Each table's file names its source and how well it is known. What the formula here (Sonntag 1990) can differ by:
0.007 % from IAPWS-95, 0.024 % from Hyland-Wexler, which ASHRAE and PsychroLib use.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import psychrolib
import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI

from chamberwatch.psychrometrics import (
    absolute_humidity_g_m3,
    dew_point_c,
    rh_at_temp_pct,
    sat_vapour_pressure_water_pa,
    vapour_pressure_pa,
)

PRESSURE_PA = 101_325.0
VAPOUR_TO_AIR = 0.621945  # ratio of molar masses, ASHRAE 2017 (from memory; the same number is in PsychroLib)
TEMPS_C, HUMIDITIES_PCT = (2, 4, 8, 10, 12, 13, 15, 18, 22, 30), (30, 50, 70, 75, 80, 95, 100)
BAND = [(temp_c, rh_pct) for temp_c in TEMPS_C for rh_pct in HUMIDITIES_PCT]
psychrolib.SetUnitSystem(psychrolib.SI)


def rows(name: str) -> list[dict[str, float]]:
    """The rows of a table beside this file."""
    lines = (Path(__file__).parent / name).read_text(encoding="utf-8").splitlines()
    table = csv.DictReader(line for line in lines if not line.startswith("#"))
    return [{key: float(value) for key, value in row.items()} for row in table]


@pytest.mark.parametrize("row", [r for r in rows("ashrae_2017.csv") if r["table"] == 3], ids=str)
def test_saturation_pressure_of_ashrae(row: dict[str, float]) -> None:
    """Tolerance 300 ppm, as the table's own users take; our formula's distance from theirs is at most 240 ppm."""
    assert sat_vapour_pressure_water_pa(row["temp_c"]) == pytest.approx(row["value"], rel=300e-6)


@pytest.mark.parametrize("row", [r for r in rows("ashrae_2017.csv") if r["table"] == 2], ids=str)
def test_saturated_humidity_ratio_of_ashrae(row: dict[str, float]) -> None:
    """Tolerance 0.6 %: the table's real gas holds 0.42 to 0.47 % more vapour than ideal gases do."""
    vapour_pa = vapour_pressure_pa(row["temp_c"], 100.0)
    assert VAPOUR_TO_AIR * vapour_pa / (PRESSURE_PA - vapour_pa) == pytest.approx(row["value"], rel=6e-3)


def test_dew_point_of_ashrae_example_1() -> None:
    """Air of 40 °C and 14 %RH: 7 °C, read off the handbook's chart (± 0.5 K) (FOUND in PsychroLib's tests)."""
    assert dew_point_c(40.0, 14.0) == pytest.approx(7.0, abs=0.5)


@pytest.mark.parametrize("row", rows("air_state_points.csv"), ids=str)
def test_state_points(row: dict[str, float]) -> None:
    """Tolerance 0.03 %, the distance of the two saturation formulas; dew point 0.001 K, the library's own step."""
    at = row["temp_c"], row["rh_pct"]
    assert vapour_pressure_pa(*at) == pytest.approx(row["vapour_pressure_pa"], rel=3e-4)
    assert absolute_humidity_g_m3(*at) == pytest.approx(row["absolute_humidity_g_m3"], rel=3e-4)
    assert dew_point_c(*at) == pytest.approx(row["dew_point_c"], abs=1.5e-3)


@pytest.mark.parametrize("temp_c", [0.01, 1, 4, 10, 12, 13, 15, 18, 25, 40, 50, 60, 70, 85])
def test_saturation_agrees_with_coolprop(temp_c: float) -> None:
    """CoolProp's IAPWS-95, the reference formulation for water: within 0.007 % over a probe's span above 0 °C."""
    reference_pa = PropsSI("P", "T", temp_c + 273.15, "Q", 0, "Water")
    assert sat_vapour_pressure_water_pa(temp_c) == pytest.approx(reference_pa, rel=7e-5)


@pytest.mark.parametrize("temp_c", [-40, -30, -20, -10, -5, 0])
def test_supercooled_water_agrees_with_murphy_and_koop(temp_c: float) -> None:
    """Murphy and Koop 2005, Q. J. R. Meteorol. Soc. 131, 1539, eq. 10 (coefficients from memory).

    Tolerance 0.7 %: supercooled water is hard to measure, and the formulas part below -20 °C.
    """
    t = temp_c + 273.15
    far = 53.878 - 1331.22 / t - 9.44523 * math.log(t) + 0.014025 * t
    ln_pa = 54.842763 - 6763.22 / t - 4.21 * math.log(t) + 0.000367 * t + math.tanh(0.0415 * (t - 218.8)) * far
    assert sat_vapour_pressure_water_pa(temp_c) == pytest.approx(math.exp(ln_pa), rel=7e-3)


def frostless(at: tuple[float, float]) -> bool:
    """Whether the libraries give a dew point: below 0.01 °C theirs is the frost point, another quantity."""
    return bool(psychrolib.GetTDewPointFromRelHum(at[0], at[1] / 100) > 0.01)


@pytest.mark.parametrize(("temp_c", "rh_pct"), list(filter(frostless, BAND)))
def test_dew_point_agrees_with_two_libraries(temp_c: float, rh_pct: float) -> None:
    """PsychroLib and CoolProp within 0.01 K (their own distance is 0.007 K), where no ice takes part."""
    ours_c = dew_point_c(temp_c, rh_pct)
    assert ours_c == pytest.approx(psychrolib.GetTDewPointFromRelHum(temp_c, rh_pct / 100), abs=0.01)
    real_k = HAPropsSI("D", "T", temp_c + 273.15, "P", PRESSURE_PA, "R", rh_pct / 100)
    assert ours_c == pytest.approx(real_k - 273.15, abs=0.01)


@pytest.mark.parametrize(("temp_c", "rh_pct"), BAND)
def test_vapour_agrees_with_two_libraries(temp_c: float, rh_pct: float) -> None:
    """PsychroLib (ideal gases) within 0.03 %; CoolProp (real gas) within 0.6 %, of which 0.4 to 0.5 % is real."""
    vapour_pa = vapour_pressure_pa(temp_c, rh_pct)
    assert vapour_pa == pytest.approx(psychrolib.GetVapPresFromRelHum(temp_c, rh_pct / 100), rel=3e-4)
    real_pa = HAPropsSI("P_w", "T", temp_c + 273.15, "P", PRESSURE_PA, "R", rh_pct / 100)
    assert vapour_pa == pytest.approx(real_pa, rel=6e-3)


@pytest.mark.parametrize("row", rows("rh_against_temperature.csv"), ids=str)
def test_humidity_follows_temperature_alone(row: dict[str, float]) -> None:
    """A kelvin either way sweeps a cure chamber's whole band of 70 to 80 %RH. Tolerance: the table's rounding."""
    assert rh_at_temp_pct(12.0, 75.0, 12.0 + row["change_k"]) == pytest.approx(row["rh_pct"], abs=0.006)


@pytest.mark.parametrize(("temp_c", "rh_pct", "slope_pct_k"), [
    (12, 75, -4.946), (12.5, 75, -4.926), (10, 80, -5.360), (15, 70, -4.508),
])  # fmt: skip
def test_slope_is_that_of_clausius_and_clapeyron(temp_c: float, rh_pct: float, slope_pct_k: float) -> None:
    """dRH/dT = -RH L / (Rv T²), latent heat from CoolProp. Tolerance 0.2 %: real vapour is no ideal gas.

    The slopes given were computed from Hyland-Wexler.
    """
    step_k = 1e-3
    steps = (rh_at_temp_pct(temp_c, rh_pct, temp_c + sign * step_k) for sign in (1, -1))
    slope = (next(steps) - next(steps)) / (2 * step_k)
    assert slope == pytest.approx(slope_pct_k, abs=1e-3)
    t = temp_c + 273.15
    latent_j_kg = PropsSI("H", "T", t, "Q", 1, "Water") - PropsSI("H", "T", t, "Q", 0, "Water")
    assert slope == pytest.approx(-rh_pct * latent_j_kg / (461.523 * t * t), rel=2e-3)


@pytest.mark.parametrize(("temp_c", "rh_pct"), [(t, r) for t in (5, 12, 20, 25) for r in (55, 70, 85, 95)])
def test_rule_of_thumb_for_moist_air(temp_c: float, rh_pct: float) -> None:
    """Lawrence 2005, BAMS 86, 225: above 50 %RH the dew point falls about 1 K per 5 %RH (FOUND).

    How close it comes is from memory: within 1 K, asked here up to 25 °C.
    """
    assert dew_point_c(temp_c, rh_pct) == pytest.approx(temp_c - (100 - rh_pct) / 5, abs=1.0)
