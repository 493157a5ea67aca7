"""The air of a hang, hour by hour, and how it is taken in steps.

Rules for this file: hour 0 begins when the piece was hung; an hour nobody measured stays marked as such,
with the planned air in its place, so that what it did to the meat is guessed with a wide margin and not left
out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.errors import OutOfRange
from chamberwatch.psychrometrics import absolute_humidity_g_m3

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import numpy as np
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

FINE_HOURS = 48
"""So long after the hang air is taken hour by hour; later in steps of `COARSE_HOURS`, begun at whole
multiples of that, so that an hour more at the end changes nothing before it."""
COARSE_HOURS = 3
S_PER_H = 3600.0
TEMP_MIN_C, TEMP_MAX_C = -30.0, 60.0
RH_DRIEST_PCT = 1.0
_G_PER_KG = 1000.0


class Air(NamedTuple):
    """Air by the hour: °C, %RH, and whether it was measured or planned (1) or is only supposed (0)."""

    temp_c: Floats
    rh_pct: Floats
    known: Floats

    def then(self, later: Air) -> Air:
        """Return this air with `later` after it."""
        import numpy as np

        return Air(*(np.concatenate(pair) for pair in zip(self, later, strict=True)))


def planned(hours: int, temp_c: float, rh_pct: float) -> Air:
    """Return steady air, for a twin or a forecast.

    Valid: hours from 0, -30..60 °C, 1..100 %RH -> else raises OutOfRange.
    """
    import numpy as np

    if hours < 0:
        raise OutOfRange(f"{hours} hours are fewer than none")
    return checked(np.full(hours, temp_c), np.full(hours, rh_pct))


def checked(temp_c: npt.ArrayLike, rh_pct: npt.ArrayLike) -> Air:
    """Return hourly means as air that is known throughout.

    Valid: as many temperatures as humidities, -30..60 °C, 0..100 %RH, no NaN -> else raises OutOfRange. Air
    drier than 1 %RH is taken for 1 %RH.
    """
    import numpy as np

    temp, humid = np.asarray(temp_c, dtype=np.float64), np.asarray(rh_pct, dtype=np.float64)
    _check(temp, humid)
    return Air(temp, np.maximum(humid, RH_DRIEST_PCT), np.ones(len(temp)))


def filled(temp_c: Sequence[float] | Floats, rh_pct: Sequence[float] | Floats, plan: Air) -> Air:
    """Return hourly means with the planned air where either is NaN (nobody measured), marked as supposed.

    Valid: as `checked`, but for NaN, and a plan of at least as many hours -> else raises OutOfRange.
    """
    import numpy as np

    temp, humid = np.asarray(temp_c, dtype=np.float64), np.asarray(rh_pct, dtype=np.float64)
    if len(plan.temp_c) < len(temp):
        raise OutOfRange(f"{len(temp)} hours of air, but {len(plan.temp_c)} of planned air")
    if len(temp) != len(humid):
        raise OutOfRange(f"{len(temp)} hours of temperature, but {len(humid)} of humidity")
    seen = np.isfinite(temp) & np.isfinite(humid)
    air = checked(
        np.where(seen, temp, plan.temp_c[: len(temp)]), np.where(seen, humid, plan.rh_pct[: len(temp)])
    )
    return air._replace(known=seen.astype(np.float64))


def _check(temp: Floats, humid: Floats) -> None:
    import numpy as np

    if temp.shape != humid.shape or temp.ndim != 1:
        raise OutOfRange(f"{len(temp)} hours of temperature, but {len(humid)} of humidity")
    if not np.all((temp >= TEMP_MIN_C) & (temp <= TEMP_MAX_C)):
        raise OutOfRange(f"an hour's temperature is outside {TEMP_MIN_C:g} to {TEMP_MAX_C:g} °C")
    if not np.all((humid >= 0.0) & (humid <= 100.0)):  # noqa: PLR2004  the scale of relative humidity
        raise OutOfRange("an hour's humidity is outside 0 to 100 %RH")


class Block(NamedTuple):
    """Mean air of some hours: from the end of hour `begin_h`, `length_s` long."""

    begin_h: int
    end_h: int
    temp_c: float
    rh_pct: float
    known: float

    @property
    def length_s(self) -> float:
        """How long it is [s]."""
        return (self.end_h - self.begin_h) * S_PER_H


def blocks(air: Air, begin_h: int = 0) -> Iterator[Block]:
    """Yield the steps of the hours from `begin_h`: single ones at first, later `COARSE_HOURS` together."""
    at, hours = begin_h, len(air.temp_c)
    while at < hours:
        end = at + 1 if at < FINE_HOURS else min((at // COARSE_HOURS + 1) * COARSE_HOURS, hours)
        part = slice(at, end)
        temp_c, rh_pct, known = (float(sum(column[part])) / (end - at) for column in air)
        yield Block(at, end, temp_c, rh_pct, known)
        at = end


def saturated_kg_m3(temp_c: float) -> tuple[float, float]:
    """Vapour over water at a temperature [kg/m³], and the relative rise of it per kelvin there [1/K]."""
    warmer, colder = (absolute_humidity_g_m3(temp_c + by, 100.0) for by in (0.5, -0.5))
    here = absolute_humidity_g_m3(temp_c, 100.0)
    return here / _G_PER_KG, (warmer - colder) / here
