"""The robust trend against published and computed worked examples."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chamberwatch.rules import trend

# A hand-worked Mann-Kendall example found on a college teaching page (Holy Cross, Montserrat): 14 values, 91 pairs,
# 72 up, 18 down, 1 tie; it prints S = 54, V = 332.667, Z = 2.9058, one-sided p about .0018. Recomputed with the
# libraries pymannkendall 1.4.3 (two-sided p 0.00366272) and scipy 1.17.1 (Theil-Sen for unit spacing).
BY_HAND = [12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7]
S, VARIANCE, Z, TWO_SIDED_P = 54, 332.667, 2.9058, 0.00366272
SLOPE, INTERCEPT = 0.5666667, 11.966667

# A line of 0.4 an hour with one outlier of 5: scipy 1.17.1's Theil-Sen gives 0.4142857; least squares 0.6115152.
WITH_OUTLIER = [75 + 0.4 * t + e for t, e in enumerate([0, 0.1, -0.1, 0, 0.2, -0.2, 0, 0.1, 5, 0])]

# Exact two-sided probability of n values in strict order, 2 / n! (arithmetic): what the normal one stands for.
STRICT_ORDER_P = {n: 2 / math.factorial(n) for n in (4, 6, 8)}

Y = st.lists(st.integers(-1000, 1000).map(lambda n: n / 8), min_size=2, max_size=25)


def test_mann_kendall_by_hand():
    """S, variance with its tie, Z: as printed, to the printed digits."""
    s, variance, z = trend.mann_kendall(BY_HAND)

    assert s == S
    assert variance == pytest.approx(VARIANCE, abs=5e-4)
    assert z == pytest.approx(Z, abs=5e-5)


def test_two_sided_p():
    """As pymannkendall has it, and twice the printed one-sided .0018."""
    p = trend.trend(range(len(BY_HAND)), BY_HAND).p

    assert p == pytest.approx(TWO_SIDED_P, rel=1e-5)
    assert p / 2 == pytest.approx(0.0018, abs=5e-5)


def test_theil_sen_of_the_same_values():
    """As scipy has it, to its printed digits."""
    slope, intercept = trend.theil_sen(range(len(BY_HAND)), BY_HAND)

    assert slope == pytest.approx(SLOPE, abs=5e-8)
    assert intercept == pytest.approx(INTERCEPT, abs=5e-7)


def test_an_outlier_hardly_moves_the_slope():
    """0.4143 where least squares has 0.6115."""
    assert trend.theil_sen(range(10), WITH_OUTLIER)[0] == pytest.approx(0.4142857, abs=5e-8)


@pytest.mark.parametrize("n", STRICT_ORDER_P)
def test_the_normal_p_of_few_points_errs_to_the_safe_side(n):
    """For n up to 10 the exact table would be smaller: we call fewer things a trend, never more."""
    assert STRICT_ORDER_P[n] <= trend.trend(range(n), range(n)).p <= 0.09


def test_no_trend_is_no_trend():
    """A constant and a perfect zig-zag: p is 1, or near."""
    assert trend.trend(range(9), [3.0] * 9) == (0.0, 3.0, 1.0)
    assert trend.trend(range(8), [1.0, 2.0] * 4).p > 0.3


@pytest.mark.parametrize(("x", "y"), [([], []), ([1.0], [2.0]), ([1.0, 1.0], [2.0, 3.0]), ([1.0, 2.0], [1.0])])
def test_what_has_no_slope_is_refused(x, y):
    """Fewer than two different x, or lengths that differ."""
    with pytest.raises(ValueError, match=r"two different x|and \d y"):
        trend.theil_sen(x, y)


@given(Y)
def test_backwards_it_goes_the_other_way(y):
    """S, Z and slope change sign, the variance and p stay."""
    s, variance, z = trend.mann_kendall(y)

    assert trend.mann_kendall(y[::-1]) == (-s, pytest.approx(variance), pytest.approx(-z))
    assert trend.theil_sen(range(len(y)), y[::-1])[0] == -trend.theil_sen(range(len(y)), y)[0]


@given(Y, st.sampled_from([0.5, 2.0, 8.0]), st.integers(-50, 50))
def test_slope_follows_scale_and_not_shift(y, factor, shift):
    """Equivariance: a·y + b has a times the slope; S does not care."""
    moved = [factor * v + shift for v in y]

    assert trend.theil_sen(range(len(y)), moved)[0] == factor * trend.theil_sen(range(len(y)), y)[0]
    assert trend.mann_kendall(moved)[0] == trend.mann_kendall(y)[0]


@given(Y)
def test_bounds(y):
    """|S| is at most the number of pairs, p lies in 0..1, the slope between the smallest and largest pair's."""
    n, (slope, _, p) = len(y), trend.trend(range(len(y)), y)
    slopes = [(y[j] - y[i]) / (j - i) for i in range(n) for j in range(i + 1, n)]

    assert abs(trend.mann_kendall(y)[0]) <= n * (n - 1) // 2
    assert 0.0 <= p <= 1.0
    assert min(slopes) <= slope <= max(slopes)
