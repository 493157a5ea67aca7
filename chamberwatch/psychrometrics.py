"""Moist air as a cure chamber needs it: vapour pressure, dew point, absolute humidity. Pure functions.

Rules for this file: one equation a function; relative humidity is over liquid water at every temperature,
below 0 °C too, as electronic hygrometers report it (WMO's convention; from memory); air and vapour are
ideal gases, without the enhancement factor (which adds 0.4 to 0.5 % to both vapour pressures in a chamber
and cancels in dew point and relative humidity).
"""

from __future__ import annotations

import math

from chamberwatch.errors import OutOfRange

KELVIN_AT_0_C = 273.15
"""[K], exact by definition of the Celsius scale."""

WATER_GAS_CONSTANT_J_KG_K = 461.523
"""[J/(kg K)]: the molar gas constant 8.314462618 J/(mol K) over water's 0.018015268 kg/mol."""

TEMP_MIN_C, TEMP_MAX_C = -40.0, 85.0
"""[°C] Air temperatures taken: what a probe can report."""

DEW_POINT_MIN_C = -100.0
"""[°C] The saturation formula's own lower end."""

# Sonntag's coefficients for liquid water; pressure in Pa, temperature in K on ITS-90.
_A_K, _B, _C_PER_K, _D_PER_K2, _E = -6096.9385, 21.2409642, -2.711193e-2, 1.673952e-5, 2.433502

_LN_100 = math.log(100.0)
_NEWTON_STEPS = 12
_NEWTON_CLOSE_K = 1e-10


def sat_vapour_pressure_water_pa(temp_c: float) -> float:
    """Saturation vapour pressure over a flat surface of pure liquid water, supercooled below 0 °C.

    Equation: ln(p/Pa) = A/T + B + C T + D T² + E ln(T), with T in kelvin.
    Args: temp_c: temperature [°C], -40..85.   Returns: [Pa].
    Valid: that closed range, outside and NaN -> raises OutOfRange. The source goes from -100 to 100 °C (from
    memory).
    Source: D. Sonntag, Important new values of the physical constants of 1986, vapour pressure formulations
    based on the ITS-90, and psychrometer formulae, Z. Meteorol. 40 (1990) 340-344; read in secondary
    copies that agree with one another, coefficient B for Pa (21.2409642 = 16.635794 + ln 100).
    Error: the source's own bound was not read; measured within 0.007 % of CoolProp's IAPWS-95 at 0.01..85 °C
    (`test_psychrometrics.py::test_saturation_agrees_with_coolprop`).
    """
    return math.exp(_ln_sat_pa(_temp_k(temp_c)))


def vapour_pressure_pa(temp_c: float, rh_pct: float) -> float:
    """Partial pressure of the water vapour in air.

    Equation: e = (rh/100) es(t).
    Args: temp_c: air temperature [°C], -40..85. rh_pct: relative humidity [%RH], 0..100.   Returns: [Pa].
    Valid: both closed ranges, outside and NaN -> raises OutOfRange.
    Source: definition of relative humidity over water.
    Error: as `sat_vapour_pressure_water_pa`; 0.4 to 0.5 % below a real gas at 1 atm, see the file's head.
    """
    _check_rh(rh_pct)
    return rh_pct / 100.0 * sat_vapour_pressure_water_pa(temp_c)


def dew_point_c(temp_c: float, rh_pct: float) -> float:
    """Dew point of air: where its vapour saturates over liquid water (below 0 °C too; never a frost point).

    Equation: es(td) = (rh/100) es(t), solved by Newton's method in 1/T, where ln es is nearly straight.
    Args: temp_c: air temperature [°C], -40..85. rh_pct: relative humidity [%RH], above 0, to 100.
    Returns: [°C], never above `temp_c`.
    Valid: those ranges, outside and NaN -> raises OutOfRange; so does air with a dew point below -100 °C
    (below 0.02 %RH at -40 °C, below 0.0006 %RH at 0 °C).
    Source: inversion of `sat_vapour_pressure_water_pa`.
    Error: solved to 1e-10 K; measured within 0.01 K of PsychroLib and CoolProp above 0 °C
    (`test_psychrometrics.py::test_dew_point_agrees_with_two_libraries`).
    """
    temp_k = _temp_k(temp_c)
    _check_rh(rh_pct)
    if rh_pct <= 0.0:
        raise OutOfRange(f"relative humidity {rh_pct:g} %RH must be above 0 %RH for a dew point")
    ln_pa = _ln_sat_pa(temp_k) + math.log(rh_pct) - _LN_100
    if ln_pa < _DRIEST_LN_PA:
        raise OutOfRange(f"air of {temp_c:g} °C, {rh_pct:g} %RH: dew point below {DEW_POINT_MIN_C:g} °C")
    return min(_saturated_at_k(ln_pa, temp_k) - KELVIN_AT_0_C, temp_c)


def rh_at_temp_pct(temp_c: float, rh_pct: float, new_temp_c: float) -> float:
    """Relative humidity of the same air brought to another temperature, no water gained or lost.

    Equation: rh' = rh es(t) / es(t').
    Args: temp_c, new_temp_c: temperatures [°C], -40..85. rh_pct: relative humidity at `temp_c` [%RH], 0..100.
    Returns: [%RH]; above 100 means that water condenses at `new_temp_c`.
    Valid: those closed ranges, outside and NaN -> raises OutOfRange.
    Source: constant vapour pressure at constant pressure, ideal gas.
    Error: as the ratio of two saturation pressures, below 0.02 % of the value at 1..85 °C.
    """
    return 100.0 * vapour_pressure_pa(temp_c, rh_pct) / sat_vapour_pressure_water_pa(new_temp_c)


def absolute_humidity_g_m3(temp_c: float, rh_pct: float) -> float:
    """Mass of water vapour in a volume of air.

    Equation: a = 1000 e / (Rw T).
    Args: temp_c: air temperature [°C], -40..85. rh_pct: relative humidity [%RH], 0..100.   Returns: [g/m³].
    Valid: both closed ranges, outside and NaN -> raises OutOfRange.
    Source: ideal gas law with water's gas constant.
    Error: 0.4 to 0.5 % below a real-gas model at 1 atm, see the file's head.
    """
    return 1000.0 * vapour_pressure_pa(temp_c, rh_pct) / (WATER_GAS_CONSTANT_J_KG_K * _temp_k(temp_c))


def _ln_sat_pa(temp_k: float) -> float:
    return _A_K / temp_k + _B + (_C_PER_K + _D_PER_K2 * temp_k) * temp_k + _E * math.log(temp_k)


_DRIEST_LN_PA = _ln_sat_pa(DEW_POINT_MIN_C + KELVIN_AT_0_C)


def _saturated_at_k(ln_pa: float, start_k: float) -> float:
    temp_k = start_k
    for _ in range(_NEWTON_STEPS):
        slope_k = _A_K - (_C_PER_K + (2.0 * _D_PER_K2) * temp_k) * temp_k**2 - _E * temp_k  # d ln es / d(1/T)
        next_k = 1.0 / (1.0 / temp_k + (ln_pa - _ln_sat_pa(temp_k)) / slope_k)
        last_k, temp_k = temp_k, next_k
        if abs(temp_k - last_k) < _NEWTON_CLOSE_K:
            break
    return temp_k


def _temp_k(temp_c: float) -> float:
    if not TEMP_MIN_C <= temp_c <= TEMP_MAX_C:
        raise OutOfRange(f"temperature {temp_c:g} °C is outside {TEMP_MIN_C:g} to {TEMP_MAX_C:g} °C")
    return temp_c + KELVIN_AT_0_C


def _check_rh(rh_pct: float) -> None:
    if not 0.0 <= rh_pct <= 100.0:  # noqa: PLR2004  the scale of relative humidity
        raise OutOfRange(f"relative humidity {rh_pct:g} %RH is outside 0 to 100 %RH")
