"""Turning points of a slow signal."""

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st
from rule_parts import at, fold, same_after_restarts, saw

from chamberwatch.rules import turning

BACK = 0.2


def step(state, item):
    """One (minute, value)."""
    return turning.step(BACK, state, at(item[0]), item[1])


def turns(values):
    """Return the turning points of values one minute apart."""
    return [turn for _, turn in fold(step, turning.State(), enumerate(values))[1]]


def test_tops_and_bottoms_are_where_they_were():
    """A turn is told late, but dated and valued at its extreme."""
    found = turns([saw(m) for m in range(60)])

    assert found == [
        turning.Turn(at(14), 12.8, top=True), turning.Turn(at(20), 12.0, top=False),
        turning.Turn(at(34), 12.8, top=True), turning.Turn(at(40), 12.0, top=False),
        turning.Turn(at(54), 12.8, top=True),
    ]  # fmt: skip


def test_wobble_below_the_threshold_is_no_turn():
    """What does not come back by `back` has not turned."""
    assert turns([12.0, 12.19, 12.01, 12.18] * 50) == []
    assert turns([12.0 + i + (0.15 if i % 2 else 0) for i in range(50)]) == []


def test_a_first_way_down_is_found_too():
    """The direction is whichever way the signal first leaves its first value."""
    assert turns([12.0, 11.0, 11.5]) == [turning.Turn(at(1), 11.0, top=False)]


def test_of_equal_extremes_the_last_one_counts():
    """A flat top is dated at its end: from there on it falls."""
    assert turns([12.0, 13.0, 13.0, 13.0, 12.0]) == [turning.Turn(at(3), 13.0, top=True)]


def test_restart_in_the_middle_changes_nothing():
    """Through JSON and back, the same turns."""
    assert same_after_restarts(step, turning.State(), list(enumerate(saw(m) for m in range(200)))) == 19


@given(st.lists(st.floats(-40, 85), max_size=200))
def test_turns_alternate_and_stand_apart(values):
    """Top follows bottom follows top, in order of time, each at least `back` from the last."""
    for a, b in pairwise(turns(values)):
        assert a.top is not b.top
        assert a.at_ms < b.at_ms
        assert (a.value - b.value) * (1 if a.top else -1) >= BACK
