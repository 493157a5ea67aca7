"""Water activity of salted meat: brine, other solids, and both together.

Rules for this file: numbers or arrays in, arrays out (a number gives a numpy number); salt is sodium
chloride; tables of 25 °C serve 5 to 25 °C, where the osmotic coefficient moves by a few thousandths (known
second hand).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from chamberwatch.errors import OutOfRange

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

NACL_KG_MOL = 0.058443
"""[kg/mol] Molar mass of sodium chloride."""
WATER_KG_MOL = 0.0180153
"""[kg/mol] Molar mass of water."""
SATURATED_MOL_KG = 6.144
"""[mol/kg water] Sodium chloride at saturation, 25 °C (from memory)."""
SATURATED_TEMP_MIN_C, SATURATED_TEMP_MAX_C = 10.0, 40.0
ALL_WATER_MIN = 1e-6
"""[kg/kg] Below this no water is left that an equation could speak of."""

# Pitzer and Mayorga's parameters for NaCl at 25 °C.
_A_PHI, _B, _ALPHA, _BETA_0, _BETA_1, _C_PHI = 0.3915, 1.2, 2.0, 0.0765, 0.2664, 0.00127
_ROSS_FACTOR, _ROSS_POWER = 0.0334, -1.09
_SATURATED_RH_PCT, _SATURATED_K = 69.20, 25.0
_KELVIN_AT_0_C = 273.15
_HALVINGS = 60


def osmotic_coefficient(salt_mol_kg: npt.ArrayLike) -> Floats:
    """Osmotic coefficient of a sodium chloride solution at 25 °C.

    Equation: φ = 1 - A √m / (1 + 1.2 √m) + m (β0 + β1 exp(-2 √m)) + m² C.
    Args: salt_mol_kg: molality [mol/kg water], 0..6.144.   Returns: [1].
    Valid: that closed range, outside and NaN -> raises OutOfRange.
    Source: K. S. Pitzer, G. Mayorga, J. Phys. Chem. 77 (1973) 2300; parameters from memory.
    Error: within 0.003 of Robinson and Stokes' values (from memory) over the range
    (`test_meat_brine.py::test_osmotic_coefficients_of_robinson_and_stokes`).
    """
    import numpy as np

    molal = np.asarray(salt_mol_kg, dtype=np.float64)
    _check("molality", molal, 0.0, SATURATED_MOL_KG, "mol/kg")
    return np.asarray(_phi(molal))


def _phi(molal: Floats) -> Floats:
    import numpy as np

    root = np.sqrt(molal)
    pitzer: Floats = (
        1.0
        - _A_PHI * root / (1.0 + _B * root)
        + molal * (_BETA_0 + _BETA_1 * np.exp(-_ALPHA * root))
        + molal**2 * _C_PHI
    )
    return pitzer


def brine_water_activity(salt_mol_kg: npt.ArrayLike) -> Floats:
    """Water activity of brine at 25 °C; above saturation the salt crystallises and it stays where it is.

    Equation: ln a_w = -2 φ m Mw, with φ of `osmotic_coefficient`; m is held at 6.144 above it.
    Args: salt_mol_kg: all the salt there is, over the water [mol/kg], from 0.   Returns: [1], 0.752..1.
    Valid: 0 and above; negative, infinite and NaN -> raises OutOfRange.
    Source: definition of the osmotic coefficient.
    Error: ± 0.001 against tabled solutions (`test_meat_brine.py::test_water_activity_of_brine`).
    """
    import numpy as np

    molal = np.asarray(salt_mol_kg, dtype=np.float64)
    _check("molality", molal, 0.0, math.inf, "mol/kg")
    return np.asarray(_brine(molal))


def _brine(molal: Floats) -> Floats:
    import numpy as np

    dissolved = np.minimum(molal, SATURATED_MOL_KG)
    activity: Floats = np.exp(-2.0 * WATER_KG_MOL * dissolved * _phi(dissolved))
    return activity


def molality_at(water_activity: float) -> float:
    """Molality of the brine that has a water activity, at 25 °C.

    Equation: inverse of `brine_water_activity`, by bisection.
    Args: water_activity: [1], from that of saturated brine (0.7524) to 1.   Returns: [mol/kg water].
    Valid: that closed range, outside and NaN -> raises OutOfRange (no brine is drier).
    Source: as `brine_water_activity`.   Error: solved to 1e-9 mol/kg.
    """
    low, high = 0.0, SATURATED_MOL_KG
    driest = float(brine_water_activity(high))
    if not driest <= water_activity <= 1.0:
        raise OutOfRange(f"water activity {water_activity:g} is outside {driest:.4f} to 1 of brine")
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        if brine_water_activity(middle) > water_activity:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


def saturated_brine_rh_pct(temp_c: float) -> float:
    """Relative humidity over saturated sodium chloride: what a probe should show in a salt test.

    Equation: RH = 69.20 exp(25 / T), T in kelvin.
    Args: temp_c: [°C], 10..40.   Returns: [%RH].
    Valid: that closed range, outside and NaN -> raises OutOfRange.
    Source: CRC Handbook, table of saturated salt solutions (read in a copy).
    Error: within 0.2 %RH of Greenspan's values (from memory) at 10..25 °C
    (`test_meat_brine.py::test_air_over_saturated_brine`).
    """
    if not SATURATED_TEMP_MIN_C <= temp_c <= SATURATED_TEMP_MAX_C:
        raise OutOfRange(f"temperature {temp_c:g} °C is outside 10 to 40 °C")
    return _SATURATED_RH_PCT * math.exp(_SATURATED_K / (temp_c + _KELVIN_AT_0_C))


def solids_water_activity(water_per_solids: npt.ArrayLike) -> Floats:
    """Water activity of lean meat without its salt.

    Equation: a_ns = exp(-0.0334 X^-1.09).
    Args: water_per_solids: kg water per kg of solids that are neither salt nor fat, above 0.   Returns: [1].
    Valid: above 1e-6; below, infinite and NaN -> raises OutOfRange.
    Source: our own curve through two points from memory: fresh lean pork, X 3.0 at 0.990, and desorption of
    beef and pork, X 0.35 at 0.90. No published fit could be read.
    Error: unknown between the points; the points themselves to 0.001.
    """
    import numpy as np

    ratio = np.asarray(water_per_solids, dtype=np.float64)
    _check("water per solids", ratio, ALL_WATER_MIN, math.inf, "kg/kg")
    return np.asarray(np.exp(-_ROSS_FACTOR * ratio**_ROSS_POWER))


def meat_water_activity(water: npt.ArrayLike, lean: npt.ArrayLike, salt: npt.ArrayLike) -> Floats:
    """Water activity of salted meat.

    Equation: a_w = a_NaCl(salt in all the water) × a_ns(water over lean solids).
    Args: water, lean (solids that are neither fat nor salt), salt: masses in one unit, or shares of one mass;
    water and lean above 0, salt from 0.   Returns: [1].
    Valid: those ranges, outside and NaN -> raises OutOfRange.
    Source: K. D. Ross, Food Technol. 29 (1975) 26: the product rule, from memory.
    Error: no measurement of cured neck could be read; a published regression on cured meat scatters by about
    0.01, and no better is claimed here.
    """
    import numpy as np

    parts = [np.asarray(part, dtype=np.float64) for part in (water, lean, salt)]
    for name, part, low in zip(("water", "lean solids", "salt"), parts, (1e-12, 1e-12, 0.0), strict=True):
        _check(name, part, low, math.inf, "kg")
    return activity_and_slope(parts[0], parts[1], parts[2])[0]


def activity_and_slope(water: Floats, lean: Floats, salt: Floats) -> tuple[Floats, Floats]:
    """`meat_water_activity` unchecked, and its derivative by `water`, for the solver's inner loop.

    Equation: d ln a_w / dw = {2 Mw m d(φ m)/dm + 1.09 × 0.0334 (w/lean)^-1.09} / w; no brine part where salt
    has crystallised.   Args: masses as there; water at least 1e-6 of lean.   Returns: [1], [1 per unit of
    mass].
    """
    import numpy as np

    molal = salt / (NACL_KG_MOL * water)
    dissolved = np.minimum(molal, SATURATED_MOL_KG)
    root = np.sqrt(dissolved)
    denominator = 1.0 + _B * root
    falling = _BETA_1 * np.exp(-_ALPHA * root)
    square = dissolved * dissolved
    virial = _BETA_0 + falling + _C_PHI * dissolved
    osmotic = dissolved * (1.0 - _A_PHI * root / denominator) + square * virial
    by_molal = (
        1.0
        - _A_PHI * root * (1.5 + _B * root) / denominator**2
        + dissolved * (2.0 * (_BETA_0 + falling) - root * falling)
        + 3.0 * _C_PHI * square
    )
    solids = _ROSS_FACTOR * (water / lean) ** _ROSS_POWER
    activity = np.exp(-2.0 * WATER_KG_MOL * osmotic - solids)
    brine = np.where(molal < SATURATED_MOL_KG, 2.0 * WATER_KG_MOL * molal * by_molal, 0.0)
    return activity, activity * (brine - _ROSS_POWER * solids) / water


def _check(name: str, value: Floats, low: float, high: float, unit: str) -> None:
    import numpy as np

    if not (np.all(value >= low) and np.all(value <= high) and np.all(np.isfinite(value))):
        raise OutOfRange(f"{name} {value} is outside {low:g} to {high:g} {unit}")
