"""Salting: the trade's rule, and Crank's series of a constant surface (equations from memory), with scipy beside it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import j1, jn_zeros

from chamberwatch.errors import OutOfRange
from chamberwatch.meat.salting import (
    bessel_roots,
    core_salt_pct,
    core_salt_share,
    fourier_number,
    mean_salt_share,
    salting_days_by_rule,
)
from chamberwatch.model import Shape


def test_roots_of_bessel_against_scipy():
    """All 60 zeros of J0 and J1 at them within 1e-9."""
    zeros = jn_zeros(0, 60)
    assert np.array(bessel_roots()) == pytest.approx(np.column_stack([zeros, j1(zeros)]), abs=1e-9)


@pytest.mark.parametrize(
    ("fourier", "mean", "core"),
    [
        (0.005, 0.84549, 1.0), (0.01, 0.78453, 1.0), (0.02, 0.70144, 1.0), (0.05, 0.54788, 0.98710),
        (0.10, 0.39418, 0.84836), (0.20, 0.21785, 0.50149), (0.30, 0.12203, 0.28249),
    ],
)  # fmt: skip
def test_cylinder_series(fourier, mean, core):
    """Unaccomplished mean and centre of a cylinder (computed), to 1e-4 where the table says '~1'."""
    assert 1 - mean_salt_share(Shape.ROUND, fourier) == pytest.approx(mean, abs=1e-5)
    assert 1 - core_salt_share(Shape.ROUND, fourier) == pytest.approx(core, abs=1e-4)


@pytest.mark.parametrize("shape", list(Shape))
def test_short_times_join_the_series(shape):
    """Mean uptake does not jump where the short-time law takes over, and the core then still holds none."""
    below, above = mean_salt_share(shape, 0.99e-4), mean_salt_share(shape, 1.01e-4)
    assert 0 < above - below < 5e-4
    assert core_salt_share(shape, 1e-3) == pytest.approx(0.0, abs=1e-9)


def test_slab_halfway():
    """A sheet is half full at D t / l² = 0.197 (Crank's half-time 0.049 of the whole thickness; from memory)."""
    assert mean_salt_share(Shape.SLAB, 0.197) == pytest.approx(0.5, abs=1e-3)
    assert core_salt_share(Shape.SLAB, 5.0) == pytest.approx(1.0, abs=1e-4)


@pytest.mark.parametrize("thickness_mm", [102.0, 105.0, 108.0, 114.0])
def test_rule_of_salting_days(thickness_mm):
    """A piece for a 102 to 114 mm casing: from 14 to 19 days (common practice, no source)."""
    least, most = salting_days_by_rule(thickness_mm)
    assert 14.0 <= least <= 19.0
    assert least < most <= 21.0


def test_rule_for_a_belly():
    """45 mm: 8 to 10 days (common practice, no source)."""
    assert salting_days_by_rule(45.0) == pytest.approx((8.4, 9.5), abs=0.05)


def test_the_core_is_still_low_when_the_rule_is_up():
    """18 days, radius 52.5 mm, 2e-10 m²/s (from memory): Fo 0.11, about 63 % of the uptake, a core far below the dose."""
    fourier = fourier_number(105.0, 18.0)
    assert fourier == pytest.approx(0.113, abs=0.001)
    assert mean_salt_share(Shape.ROUND, fourier) == pytest.approx(0.63, abs=0.01)
    assert 0.3 < core_salt_pct(Shape.ROUND, 105.0, 18.0, 2.75) < 0.7


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: salting_days_by_rule(2000.0), "2000 mm is outside 8 to 250 mm"),
        (lambda: fourier_number(float("nan"), 3.0), "nan mm is outside"),
        (lambda: fourier_number(100.0, 400.0), "400 days are outside 0 to 365 days"),
        (lambda: fourier_number(100.0, 10.0, 1e-3), "0.001 m²/s is outside"),
        (lambda: core_salt_pct(Shape.SLAB, 40.0, 5.0, 30.0), "salt 30 % is outside 0 to 10 %"),
        (lambda: core_salt_share(Shape.SLAB, -1.0), "below 0"),
    ],
)
def test_impossible_salting_is_refused(call, said):
    """With the value, the range and the unit."""
    with pytest.raises(OutOfRange, match=said):
        call()
