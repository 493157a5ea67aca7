"""How long a piece salts: the trade's rule, and beside it what diffusion says of the salt in its core.

Rules for this file: the rule is a rule and says so; the diffusion is not bent to agree with it.
"""

from __future__ import annotations

import math
from functools import cache

from chamberwatch.errors import OutOfRange
from chamberwatch.model import Shape

SALT_D_M2_S = 2e-10
"""[m²/s] Salt in pork at 2 to 4 °C; from memory, known to within a factor of two at best."""
TEMP_MIN_C, TEMP_MAX_C = 1.0, 4.0
"""[°C] The salting fridge the rule is made for; common practice, no source."""
THICK_MIN_MM, THICK_MAX_MM = 8.0, 250.0
DAYS_MAX = 365.0
_RULE_EXTRA_DAYS, _RULE_FAST_MM, _RULE_SLOW_MM = 2.0, 7.0, 6.0
_TERMS = 60
_BESSEL_POINTS = 600
_NEWTON_STEPS = 6
_S_PER_DAY = 86_400.0
_SHORT_FO = 1e-4


def salting_days_by_rule(thickness_mm: float) -> tuple[float, float]:
    """Days in salt by the trade's rule: from, to.

    Equation: thickness / 7 + 2 to thickness / 6 + 2.
    Args: thickness_mm: thickness, or a round piece's diameter [mm], 8..250.   Returns: [days], at 2 to 4 °C.
    Valid: that closed range, outside and NaN -> raises OutOfRange.
    Source: common practice, no source.   Error: unknown; `core_salt_share` shows how little it leaves
    certain.
    """
    if not THICK_MIN_MM <= thickness_mm <= THICK_MAX_MM:
        raise OutOfRange(f"thickness {thickness_mm:g} mm is outside {THICK_MIN_MM:g} to {THICK_MAX_MM:g} mm")
    return thickness_mm / _RULE_FAST_MM + _RULE_EXTRA_DAYS, thickness_mm / _RULE_SLOW_MM + _RULE_EXTRA_DAYS


def fourier_number(thickness_mm: float, days: float, diffusivity_m2_s: float = SALT_D_M2_S) -> float:
    """How far diffusion has come.

    Equation: Fo = D t / R², R half the thickness or diameter.
    Args: thickness_mm, 8..250. days, 0..365. diffusivity_m2_s, above 0, to 1e-8.   Returns: [1].
    Valid: those ranges, outside and NaN -> raises OutOfRange. Source: definition. Error: as the
    diffusivity's.
    """
    if not THICK_MIN_MM <= thickness_mm <= THICK_MAX_MM:
        raise OutOfRange(f"thickness {thickness_mm:g} mm is outside {THICK_MIN_MM:g} to {THICK_MAX_MM:g} mm")
    if not 0.0 <= days <= DAYS_MAX:
        raise OutOfRange(f"{days:g} days are outside 0 to {DAYS_MAX:g} days")
    if not 0.0 < diffusivity_m2_s <= 1e-8:  # noqa: PLR2004  salt in plain water has 1.5e-9
        raise OutOfRange(f"diffusivity {diffusivity_m2_s:g} m²/s is outside 0 to 1e-8 m²/s")
    return diffusivity_m2_s * days * _S_PER_DAY / (thickness_mm / 2e3) ** 2


def core_salt_share(shape: Shape, fourier: float) -> float:
    """Salt in the core as a share of what the surface holds, surface held constant.

    Equation: round: 1 - Σ 2/(z J1(z)) exp(-z² Fo), J0(z) = 0;
    slab: 1 - Σ 4/π (-1)^n/(2n+1) exp(-(2n+1)² π² Fo / 4).
    Args: fourier: from 0, R is the radius or half the thickness.   Returns: [1], 0..1.
    Valid: from 0, negative and NaN -> raises OutOfRange.
    Source: J. Crank, The Mathematics of Diffusion, 2nd ed. 1975, cylinder and plane sheet (from memory).
    Error: series cut after 60 terms, below 1e-6 from Fo 0.0001 on, where the core is still 0.
    """
    _check(fourier)
    if fourier < _SHORT_FO:
        return 0.0
    if shape is Shape.ROUND:
        left = math.fsum(2.0 / (z * j) * math.exp(-z * z * fourier) for z, j in bessel_roots())
    else:
        left = math.fsum((-1) ** n * 4.0 / math.pi / o * _fading(o, fourier) for n, o in enumerate(_odd()))
    return min(max(1.0 - left, 0.0), 1.0)


def mean_salt_share(shape: Shape, fourier: float) -> float:
    """Salt taken up as a share of what the piece could take up, surface held constant.

    Equation: round: 1 - Σ 4/z² exp(-z² Fo);  slab: 1 - Σ 8/((2n+1)² π²) exp(-(2n+1)² π² Fo / 4); below Fo
    0.0001 the short-time laws 4 √(Fo/π) and 2 √(Fo/π).
    Args, Valid, Source: as `core_salt_share`.   Returns: [1], 0..1.   Error: below 1e-3 everywhere.
    """
    _check(fourier)
    if fourier < _SHORT_FO:
        return (4.0 if shape is Shape.ROUND else 2.0) * math.sqrt(fourier / math.pi)
    if shape is Shape.ROUND:
        left = math.fsum(4.0 / (z * z) * math.exp(-z * z * fourier) for z, _ in bessel_roots())
    else:
        left = math.fsum(8.0 / (o * math.pi) ** 2 * _fading(o, fourier) for o in _odd())
    return min(max(1.0 - left, 0.0), 1.0)


def core_salt_pct(
    shape: Shape, thickness_mm: float, days: float, salt_pct: float, diffusivity_m2_s: float = SALT_D_M2_S
) -> float:
    """Estimated salt in the core after some days in salt.

    Equation: salt × `core_salt_share`, as if the outside held the dose's even share from the first day.
    Args: thickness_mm 8..250, days 0..365, salt_pct: dose in % of green weight, 0..10.   Returns: [%].
    Valid: those ranges, outside and NaN -> raises OutOfRange.
    Source: as `core_salt_share`.   Error: the diffusivity's, a factor of two; a dry rub starts saltier
    outside and is a little faster.
    """
    if not 0.0 <= salt_pct <= 10.0:  # noqa: PLR2004  more is no cure for eating
        raise OutOfRange(f"salt {salt_pct:g} % is outside 0 to 10 % of green weight")
    return salt_pct * core_salt_share(shape, fourier_number(thickness_mm, days, diffusivity_m2_s))


@cache
def bessel_roots() -> tuple[tuple[float, float], ...]:
    """Return the first zeros z of the Bessel function J0, each with J1(z).

    Equation: Jn(x) = 1/π ∫ cos(n t - x sin t) dt over 0..π; Newton's method from z ≈ (n - 1/4) π.
    Source: Bessel's integral.   Error: below 1e-9 (`test_meat_salting.py`, against a numerical library).
    """
    found = []
    for n in range(1, _TERMS + 1):
        z = (n - 0.25) * math.pi
        for _ in range(_NEWTON_STEPS):
            z += _bessel(0, z) / _bessel(1, z)
        found.append((z, _bessel(1, z)))
    return tuple(found)


def _bessel(order: int, x: float) -> float:
    """The trapezoidal sum over half a period, which converges faster than any power for such integrands."""
    steps = (math.pi * (k + 0.5) / _BESSEL_POINTS for k in range(_BESSEL_POINTS))
    return math.fsum(math.cos(order * t - x * math.sin(t)) for t in steps) / _BESSEL_POINTS


def _odd() -> range:
    return range(1, 2 * _TERMS, 2)


def _fading(odd: int, fourier: float) -> float:
    return math.exp(-((odd * math.pi) ** 2) * fourier / 4.0)


def _check(fourier: float) -> None:
    if not 0.0 <= fourier < math.inf:
        raise OutOfRange(f"Fourier number {fourier:g} is below 0 or no number")
