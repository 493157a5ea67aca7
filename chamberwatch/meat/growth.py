"""How fast mold and bacteria could grow: cardinal models, degree-hours. Never a verdict.

The models here know temperature and water activity alone: no lag, no competitors, no acid, nitrite or smoke.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.errors import OutOfRange

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

CRITICAL_TEMP_C = 15.6
"""[°C] 60 °F: above it *S. aureus* multiplies and makes toxin, in the rule for fermented sausage (read)."""
AW_MAX = 1.0
LN_10 = math.log(10.0)
_WARMEST_C = ((33.0, 665.0), (37.0, 555.0), (math.inf, 500.0))


class Organism(NamedTuple):
    """Cardinal temperatures [°C], cardinal water activities [1] and the rate at the optimum [`unit`]."""

    name: str
    temp_min_c: float
    temp_opt_c: float
    temp_max_c: float
    aw_min: float
    aw_opt: float
    rate_opt: float
    unit: str


P_EXPANSUM = Organism("Penicillium expansum", -4.4, 23.9, 32.5, 0.856, 0.981, 4.19, "mm/d")
"""Judet-Correia et al., Int. J. Food Microbiol. 142 (2010) 106-113, read in a public model repository (the
rate's unit from memory). The only set of a penicillium that could be read: it stands in for the mold of meat,
of which *P. nalgiovense* still grows at 0.86 (read) and others below that."""

S_AUREUS = Organism("Staphylococcus aureus", 7.7, 40.6, 46.7, 0.808, 0.994, 1.97, "1/h")
"""Medvedová et al., Ital. J. Food Saf. 8 (2019) 8287 (read)."""

L_MONOCYTOGENES = Organism("Listeria monocytogenes", -1.72, 37.0, 45.5, 0.913, 0.997, 1.0, "of optimum")
"""Augustin et al. 2005, from memory; its rate is left at 1: only the factors are known."""


def temperature_factor(who: Organism, temp_c: npt.ArrayLike) -> Floats:
    """Share of the best growth rate that a temperature allows (0 at and beyond the cardinal ends).

    Equation: γT = (T - Tmax)(T - Tmin)² / {(Topt - Tmin)[(Topt - Tmin)(T - Topt) -
    (Topt - Tmax)(Topt + Tmin - 2T)]}.
    Args: temp_c: [°C], -40..85.   Returns: [1], 0..1.
    Valid: that closed range, outside and NaN -> raises OutOfRange.
    Source: Rosso, Lobry, Bajard, Flandrois, J. Theor. Biol. 162 (1993) 447; equation read in two public
    codes.
    Error: none of its own; what the parameters of one strain say of another is unknown.
    """
    import numpy as np

    temp = np.asarray(temp_c, dtype=np.float64)
    _check("temperature", temp, -40.0, 85.0, "°C")
    return _cardinal(temp, who.temp_min_c, who.temp_opt_c, who.temp_max_c)


def water_factor(who: Organism, water_activity: npt.ArrayLike) -> Floats:
    """Share of the best growth rate that a water activity allows (0 at and below the least, and at 1).

    Equation: as `temperature_factor`, with a_w for T and 1 for the greatest.
    Args: water_activity: [1], 0..1.   Returns: [1], 0..1.
    Valid: that closed range, outside and NaN -> raises OutOfRange.
    Source: Rosso, Robinson, Int. J. Food Microbiol. 63 (2001) 265; equation read in two public codes.
    Error: as `temperature_factor`.
    """
    import numpy as np

    activity = np.asarray(water_activity, dtype=np.float64)
    _check("water activity", activity, 0.0, 1.0, "")
    return _cardinal(activity, who.aw_min, who.aw_opt, AW_MAX)


def growth_rate(who: Organism, temp_c: npt.ArrayLike, water_activity: npt.ArrayLike) -> Floats:
    """Growth rate of an organism without lag or competitors: an upper bound.

    Equation: μ = μopt γT γw.
    Args: temp_c: [°C], -40..85. water_activity: [1], 0..1.   Returns: in the organism's unit.
    Valid: those closed ranges, outside and NaN -> raises OutOfRange.
    Source: the gamma concept (Zwietering; from memory).
    Error: see the factors; nothing here was fitted on cured meat.
    """
    factor: Floats = temperature_factor(who, temp_c) * water_factor(who, water_activity)
    return who.rate_opt * factor


def growth_bound_log10(who: Organism, temp_c: npt.ArrayLike, water_activity: npt.ArrayLike) -> Floats:
    """Tenfold multiplications an hour that an organism could make at most: `growth_rate` [1/h] over ln 10."""
    return growth_rate(who, temp_c, water_activity) / LN_10


def degree_hours(temps_c: npt.ArrayLike, hours: npt.ArrayLike) -> float:
    """Degree-hours above 15.6 °C.

    Equation: Σ max(T - 15.6, 0) Δt.
    Args: temps_c: [°C], -40..85. hours: how long each stood [h], from 0.   Returns: [°C·h].
    Valid: those ranges, outside and NaN -> raises OutOfRange.
    Source: the Canadian inspection manual's rule for fermented sausage (read); for whole muscle no acid ever
    stops the clock, so the number is told beside others and never as within a limit.
    Error: none.
    """
    import numpy as np

    temp, length = np.asarray(temps_c, dtype=np.float64), np.asarray(hours, dtype=np.float64)
    _check("temperature", temp, -40.0, 85.0, "°C")
    _check("duration", length, 0.0, 1e6, "h")
    return float(np.sum(np.maximum(temp - CRITICAL_TEMP_C, 0.0) * length))


def degree_hour_limit(warmest_c: float) -> float:
    """The degree-hours that rule allows a fermented sausage before its acid must stand, by its warmest hour.

    Args: warmest_c: [°C], -40..85.   Returns: [°C·h]: 665 below 33 °C, 555 to 37 °C, 500 above.
    Valid: that closed range, outside and NaN -> raises OutOfRange.
    Source: the Canadian inspection manual (read). Error: none; not a limit for whole muscle.
    """
    if not -40.0 <= warmest_c <= 85.0:  # noqa: PLR2004  the air temperatures taken
        raise OutOfRange(f"temperature {warmest_c:g} °C is outside -40 to 85 °C")
    below, between, above = _WARMEST_C
    if warmest_c < below[0]:
        return below[1]
    return between[1] if warmest_c <= between[0] else above[1]


def _cardinal(value: Floats, least: float, best: float, most: float) -> Floats:
    import numpy as np

    inside = (value > least) & (value < most)
    at = np.where(inside, value, best)
    below = (best - least) * (at - best) - (best - most) * (best + least - 2.0 * at)
    share = (at - most) * (at - least) ** 2 / ((best - least) * below)
    return np.asarray(np.where(inside, share, 0.0))


def _check(name: str, value: Floats, low: float, high: float, unit: str) -> None:
    import numpy as np

    if not (np.all(value >= low) and np.all(value <= high)):
        raise OutOfRange(f"{name} {value} is outside {low:g} to {high:g} {unit}".rstrip())
