"""Cardinal growth models and degree-hours against computed tables and inspection rules.

The two equations were read in public codes; the tables below were computed from them apart from this project.
"""

from __future__ import annotations

import pytest

from chamberwatch.errors import OutOfRange
from chamberwatch.meat.growth import (
    L_MONOCYTOGENES,
    P_EXPANSUM,
    S_AUREUS,
    degree_hour_limit,
    degree_hours,
    growth_bound_log10,
    growth_rate,
    temperature_factor,
    water_factor,
)

BY_TEMPERATURE = [
    *((P_EXPANSUM, t, g) for t, g in [(5, 0.1895), (10, 0.4146), (12.5, 0.5456), (15, 0.6802), (20, 0.9173), (23.9, 1.0), (30, 0.5951)]),
    *((S_AUREUS, t, g) for t, g in [(8, 0.00012), (10, 0.00707), (12.5, 0.03061), (15, 0.07028), (20, 0.1958), (25, 0.3770), (37, 0.9197)]),
    *((L_MONOCYTOGENES, t, g) for t, g in [(4, 0.0335), (12.5, 0.2001), (15, 0.2729)]),
]  # fmt: skip
BY_WATER = [
    *((P_EXPANSUM, a, g) for a, g in [(0.86, 0.0014), (0.88, 0.0495), (0.90, 0.1644), (0.92, 0.3412), (0.95, 0.6968), (0.981, 1.0), (0.99, 0.9023)]),
    *((S_AUREUS, a, g) for a, g in [(0.85, 0.0544), (0.90, 0.2604), (0.92, 0.3856), (0.95, 0.6179), (0.97, 0.7999)]),
    *((L_MONOCYTOGENES, a, g) for a, g in [(0.92, 0.0075), (0.95, 0.2080), (0.97, 0.4921)]),
]  # fmt: skip
RATES = [
    *((P_EXPANSUM, t, a, r) for t, a, r in [(10, 0.90, 0.286), (12.5, 0.88, 0.113), (12.5, 0.90, 0.376), (12.5, 0.95, 1.593), (15, 0.95, 1.986), (20, 0.95, 2.678)]),
    *((S_AUREUS, t, a, r) for t, a, r in [(12.5, 0.95, 0.0373), (15, 0.95, 0.0856), (20, 0.95, 0.2383), (12.5, 0.90, 0.0157)]),
]  # fmt: skip


@pytest.mark.parametrize(("who", "temp_c", "factor"), BY_TEMPERATURE)
def test_temperature_factor(who, temp_c, factor):
    """To the table's last digit (of a parameter set that was read; Listeria's from memory)."""
    assert temperature_factor(who, temp_c) == pytest.approx(factor, abs=6e-5)


@pytest.mark.parametrize(("who", "activity", "factor"), BY_WATER)
def test_water_factor(who, activity, factor):
    """To the table's last digit."""
    assert water_factor(who, activity) == pytest.approx(factor, abs=6e-5)


@pytest.mark.parametrize(("who", "temp_c", "activity", "rate"), RATES)
def test_growth_rate(who, temp_c, activity, rate):
    """Millimetres a day of the mold, 1/h of the bacterium, to the table's last digit."""
    assert growth_rate(who, temp_c, activity) == pytest.approx(rate, abs=6e-4)


@pytest.mark.parametrize("who", [P_EXPANSUM, S_AUREUS, L_MONOCYTOGENES])
def test_nothing_grows_beyond_the_cardinal_ends(who):
    """At and outside its ends every organism stands still; at both optima it grows as fast as it can."""
    ends = [who.temp_min_c, who.temp_min_c - 5, who.temp_max_c, who.temp_max_c + 5]
    assert list(temperature_factor(who, ends)) == [0.0] * 4
    assert list(water_factor(who, [0.0, who.aw_min, 1.0])) == [0.0] * 3
    assert growth_rate(who, who.temp_opt_c, who.aw_opt) == pytest.approx(who.rate_opt)


def test_minima_of_the_growth_table():
    """S. aureus needs 7 °C and 0.83 by one US table, more than 0.86 by another (both read).

    The set used here stops at 7.7 °C and 0.808, so that it errs on the side of growth in dry meat.
    """
    assert S_AUREUS.aw_min < min(0.83, 0.86)
    assert S_AUREUS.temp_min_c == pytest.approx(7.0, abs=1.0)


def test_no_growth_where_a_challenge_found_none_and_growth_where_it_did():
    """Cured ham: none at 8 °C at any activity, growth at 15 °C above 0.94 and at 20 °C throughout (read).

    The bound gives hundredths of a tenfold multiplication in a week at 8 °C and several at 15 and 20 °C.
    """
    week_h = 7 * 24
    assert growth_bound_log10(S_AUREUS, 8.0, 0.96) * week_h < 0.02
    assert growth_bound_log10(S_AUREUS, 15.0, 0.945) * week_h > 3.0
    assert growth_bound_log10(S_AUREUS, 20.0, 0.89) * week_h > 3.0


def test_hours_to_one_and_two_tenfold_multiplications():
    """At 20 °C and 0.95 over 12.5 °C: about 12 and 23 h (computed from the same set)."""
    excess = growth_bound_log10(S_AUREUS, 20.0, 0.95) - growth_bound_log10(S_AUREUS, 12.5, 0.95)
    assert (1.0 / excess, 2.0 / excess) == pytest.approx((12.0, 23.0), abs=0.6)


@pytest.mark.parametrize(
    ("temp_c", "hours", "expected"), [(18.0, 12, 28.8), (20.0, 48, 211.2), (13.0, 1000, 0.0), (15.6, 50, 0.0)]
)
def test_degree_hours(temp_c, hours, expected):
    """Computed from the rule's 15.6 °C; a chamber at 13 °C collects none."""
    assert degree_hours([temp_c], [hours]) == pytest.approx(expected)


def test_degree_hours_of_the_canadian_manual():
    """Constant 25 °C reaches 665 °C·h after 70.7 h (read); 10 h at 24, 10 at 30, 15 at 35 °C make 519 of 555 (sum computed)."""
    assert degree_hour_limit(25.0) / degree_hours([25.0], [1.0]) == pytest.approx(70.7, abs=0.05)
    assert degree_hours([24, 30, 35], [10, 10, 15]) == pytest.approx(519.0)
    assert degree_hour_limit(35.0) == 555.0
    assert degree_hour_limit(20.0) / degree_hours([20.0], [1.0]) == pytest.approx(151.0, abs=0.2)


@pytest.mark.parametrize(
    ("fahrenheit", "hours"), [(75, 80), (80, 60), (85, 48), (90, 33), (95, 28), (100, 25), (105, 20), (110, 18)]
)
def test_degree_hours_of_the_us_table(fahrenheit, hours):
    """Hours by temperature (read) are 1200, 1000, 900 °F·h (from memory), counted from the same 60 °F."""
    counted = degree_hours([(fahrenheit - 32) / 1.8], [hours]) * 1.8
    allowed = 1200 if fahrenheit < 90 else 1000 if fahrenheit <= 100 else 900
    assert counted == pytest.approx(allowed, rel=0.025)


@pytest.mark.parametrize(("warmest_c", "limit"), [(32.9, 665.0), (33.0, 555.0), (37.0, 555.0), (37.1, 500.0)])
def test_degree_hour_limits(warmest_c, limit):
    """665, 555 and 500 °C·h below 33, to 37 and above 37 °C (read)."""
    assert degree_hour_limit(warmest_c) == limit


@pytest.mark.parametrize(
    "call",
    [
        lambda: temperature_factor(S_AUREUS, float("nan")),
        lambda: water_factor(S_AUREUS, 1.01),
        lambda: degree_hours([20.0], [-1.0]),
        lambda: degree_hours([200.0], [1.0]),
        lambda: degree_hour_limit(float("nan")),
    ],
)
def test_what_no_rule_covers_is_refused(call):
    """Outside its range a formula says so."""
    with pytest.raises(OutOfRange, match="outside"):
        call()
