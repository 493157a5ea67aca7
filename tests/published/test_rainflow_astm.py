"""Rainflow counting against ASTM E1049-85's worked example, and the invariants that any such count keeps.

The example is read in a secondary place: the tests of the public `rainflow` package, which quote the standard;
version 3.2.0 of that package gives the same. The standard itself was not at hand.
"""

from collections import Counter
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chamberwatch.rules import rainflow

# ASTM E1049-85, example of rainflow counting (figure 6 by memory): load history and its cycles as (range, count).
HISTORY = [-2, 1, -3, 5, -1, 3, -4, 4, -2]
CYCLES = [(3, 0.5), (4, 0.5), (4, 1.0), (8, 0.5), (9, 0.5), (8, 0.5), (6, 0.5)]
BY_RANGE = {3: 0.5, 4: 1.5, 6: 0.5, 8: 1.0, 9: 0.5}

SERIES = st.lists(st.integers(-50, 50).map(float), max_size=60)


def by_range(series):
    """Return range → count; a constant's range of 0 left out."""
    counts = Counter()
    for size, n in rainflow.ranges(series):
        if size:
            counts[size] += n
    return counts


def test_the_standard_s_example():
    """Every cycle in the standard's order, and the counts by range."""
    assert rainflow.ranges(HISTORY) == CYCLES
    assert by_range(HISTORY) == BY_RANGE


def test_repeated_samples_change_nothing():
    """As the public package's tests hold: x, x counts as x."""
    assert by_range([x for x in HISTORY for _ in range(3)]) == BY_RANGE


def test_points_between_reversals_change_nothing():
    """A ramp in many steps is one range."""
    fine = [a + (b - a) * i / 5 for a, b in pairwise(HISTORY) for i in range(5)] + HISTORY[-1:]

    assert {round(size, 9): n for size, n in by_range(fine).items()} == BY_RANGE


@pytest.mark.parametrize("series", [[], [1.0], [1.0, 1.0, 1.0]])
def test_without_a_change_there_is_no_cycle(series):
    """Nothing, a point, a constant."""
    assert by_range(series) == {}


def test_a_small_cycle_inside_a_large_one_is_whole():
    """0-10 with a dip of 2 on its way up: one closed cycle of 2 beside the halves of 10."""
    assert by_range([0, 6, 4, 10, 0]) == {2: 1.0, 10: 1.0}


@given(SERIES)
def test_each_range_between_reversals_is_counted_as_a_half(series):
    """The counts add up to half the number of ranges between reversals: none is lost, none counted twice."""
    points = list(rainflow.reversals(series))
    between = sum(a != b for a, b in pairwise(points))

    assert sum(by_range(series).values()) * 2 == between


@given(SERIES)
def test_the_largest_range_is_the_whole_span(series):
    """The largest cycle runs from the lowest to the highest point."""
    span = max(series, default=0.0) - min(series, default=0.0)

    assert max(by_range(series), default=0.0) == span


@given(SERIES, st.floats(-100, 100).map(round))
def test_shifted_or_mirrored_it_counts_the_same(series, shift):
    """Only differences count, whatever their sign."""
    assert by_range([x + shift for x in series]) == by_range(series)
    assert by_range([-x for x in series]) == by_range(series)


@given(SERIES, st.sampled_from([0.5, 2.0, 4.0]))
def test_scaled_it_counts_scaled_ranges(series, factor):
    """Twice the swing, twice the range, as often."""
    assert by_range([x * factor for x in series]) == {r * factor: n for r, n in by_range(series).items()}
