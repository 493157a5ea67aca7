"""Moist air, the simulator's own formulas (Magnus; the monitor uses another)."""

from __future__ import annotations

import math

MAGNUS_PA, MAGNUS_B, MAGNUS_C = 611.2, 17.62, 243.12
"""[Pa], [-], [°C]. WMO guide to instruments (CIMO), annex 4.B, over water, -45..60 °C; from memory."""

VAPOUR_J_PER_KG_K = 461.5
"""Gas constant of water vapour; 8.314462618 J/(mol K) / 18.01528 g/mol, rounded."""

ZERO_C_K = 273.15
LATENT_J_PER_KG = 2.46e6
"""Heat of vaporisation, held constant: 2.47 MJ/kg at 12 °C, 2.45 at 20 °C (IAPWS by way of CoolProp)."""

AIR_J_PER_M3_K = 1220.0
"""Density times specific heat of air at 15 °C and sea level: 1.225 kg/m3 x 1005 J/(kg K), rounded."""


def sat_pressure_pa(temp_c: float) -> float:
    """Return the saturation vapour pressure over water [Pa]; `temp_c` -45..60 °C.

    Equation: e = 611.2 exp(17.62 t / (243.12 + t)).
    Error: within 0.35 % of IAPWS-95 over 0..30 °C (`tests/published/test_plant_physics.py`).
    """
    return MAGNUS_PA * math.exp(MAGNUS_B * temp_c / (MAGNUS_C + temp_c))


def vapour_density_kg_m3(pressure_pa: float, temp_c: float) -> float:
    """Return the mass of vapour in a cubic metre, as an ideal gas."""
    return pressure_pa / (VAPOUR_J_PER_KG_K * (temp_c + ZERO_C_K))


def vapour_pressure_pa(density_kg_m3: float, temp_c: float) -> float:
    """Return the vapour's pressure [Pa], as an ideal gas."""
    return density_kg_m3 * VAPOUR_J_PER_KG_K * (temp_c + ZERO_C_K)


def rh_pct(pressure_pa: float, temp_c: float) -> float:
    """Return the relative humidity over water [%], not clipped."""
    return 100.0 * pressure_pa / sat_pressure_pa(temp_c)
