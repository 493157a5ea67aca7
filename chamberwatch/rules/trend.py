"""Robust trend: Theil-Sen's slope and the Mann-Kendall test.

Sources: P. K. Sen, Estimates of the regression coefficient based on Kendall's tau, JASA 63 (1968)
1379-1389; R. O. Gilbert, Statistical Methods for Environmental Pollution Monitoring, 1987, pp. 208-219.
Exact for any length ≥ 2; cost grows with the square of the length, so callers keep it below about 60.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from statistics import NormalDist, median
from typing import NamedTuple


class Trend(NamedTuple):
    """Slope [unit of y per unit of x], intercept [unit of y] through the medians, two-sided p (0..1)."""

    slope: float
    intercept: float
    p: float


def theil_sen(x: Sequence[float], y: Sequence[float]) -> tuple[float, float]:
    """Return the median slope over all pairs with different x, and median(y) - slope · median(x).

    Raises:
        ValueError: fewer than two different x, or lengths that differ.
    """
    if len(x) != len(y):
        raise ValueError(f"{len(x)} x and {len(y)} y")
    slopes = [(y[j] - y[i]) / (x[j] - x[i]) for i in range(len(x)) for j in range(i) if x[j] != x[i]]
    if not slopes:
        raise ValueError("a slope needs two different x")
    slope = median(slopes)
    return slope, median(y) - slope * median(x)


def mann_kendall(y: Sequence[float]) -> tuple[int, float, float]:
    """Return S, its variance under no trend (ties corrected), and Z (continuity corrected).

    Source: Gilbert 1987, eqs. 16.2-16.5.
    """
    n = len(y)
    s = sum((y[j] > y[i]) - (y[j] < y[i]) for i in range(n) for j in range(i + 1, n))
    ties = Counter(y).values()
    variance = (n * (n - 1) * (2 * n + 5) - sum(t * (t - 1) * (2 * t + 5) for t in ties)) / 18
    if s == 0 or variance <= 0:
        return s, variance, 0.0
    return s, variance, (s - math.copysign(1, s)) / math.sqrt(variance)


def trend(x: Sequence[float], y: Sequence[float]) -> Trend:
    """Return both for one series in order of x."""
    slope, intercept = theil_sen(x, y)
    z = mann_kendall(y)[2]
    return Trend(slope, intercept, 2.0 * NormalDist().cdf(-abs(z)))
