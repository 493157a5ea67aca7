"""Two probes that part from their learnt difference."""

import pytest
from rule_parts import T0, fold, same_after_restarts

from chamberwatch.model import MS_PER_H
from chamberwatch.rules import disagree

WITHIN = disagree.LIMIT_PCT


def judge(*, frozen=False):
    """Return the rule's step over (hour, mean of a, mean of b)."""
    return lambda state, item: disagree.step(
        state, T0 + item[0] * MS_PER_H, item[1], item[2], WITHIN, frozen=frozen
    )


def told(pairs, state=None, first=1):
    """Return (hour, Found) of every edge."""
    items = [(hour, a, b) for hour, (a, b) in enumerate(pairs, first)]
    return [(h, found) for (h, _, _), found in fold(judge(), state or disagree.State(), items)[1]]


def test_a_departure_of_two_hours_is_told_and_names_who_left_its_past():
    """The probe whose own mean moved is the one that is named."""
    b_left = told([(75.0, 76.0)] * 24 + [(75.1, 78.5)] * 3)
    a_left = told([(75.0, 76.0)] * 24 + [(72.7, 76.1)] * 3)

    assert [(h, f.probe, f.active) for h, f in b_left] == [(26, 2, True)]
    assert [(h, f.probe, f.active) for h, f in a_left] == [(26, 1, True)]
    assert b_left[0][1].value == pytest.approx(-2.4)
    assert a_left[0][1].since_ms == T0 + 25 * MS_PER_H


def test_a_plain_departure_needs_no_second_hour():
    """Beyond one and a half limits it is told with its first hour; just within, with the second."""
    for away, hour in ((1.01 * disagree.PLAIN * WITHIN, 25), (0.99 * disagree.PLAIN * WITHIN, 26)):
        found = told([(75.0, 76.0)] * 24 + [(75.0, 76.0 + away)] * 3)
        assert [(h, f.probe) for h, f in found] == [(hour, 2)]


def test_a_learnt_difference_is_no_departure():
    """A probe that always reads 5 %RH more is known to; so is one that follows the other up and down."""
    assert told([(75.0 + h % 7, 80.0 + h % 7) for h in range(200)]) == []


def test_nothing_is_said_before_enough_was_learnt():
    """Five hours are not enough to know the difference."""
    usable = disagree.USABLE_HOURS

    assert told([(75.0, 75.0)] * (usable - 1) + [(75.0, 95.0)]) == []
    assert [h for h, _ in told([(75.0, 75.0)] * usable + [(75.0, 95.0)] * 9)] == [usable + 1]
    assert [h for h, _ in told([(75.0, 75.0)] * usable + [(75.0, 77.5)] * 9)] == [usable + disagree.HOLD_HOURS]


def test_one_hour_apart_is_not_enough():
    """A door visit near one of them passes."""
    assert told([(75.0, 75.0)] * 10 + [(75.0, 72.5), (75.0, 75.0)] * 10) == []


def test_returned_within_half_the_limit():
    """Coming back to just inside the limit is no return: the edge has hysteresis."""
    found = told([(75.0, 75.0)] * 24 + [(75.0, 77.5)] * 3 + [(75.0, 75.0 + 0.9 * WITHIN)] * 5 + [(75.0, 75.4)])

    assert [(h, f.active) for h, f in found] == [(26, True), (33, False)]


def test_a_departure_is_never_learnt():
    """However long it lasts, it does not become the norm."""
    state = fold(judge(), disagree.State(), [(h, 75.0, 75.0) for h in range(1, 10)])[0]
    state, found = fold(judge(), state, [(h, 75.0, 85.0) for h in range(10, 200)])

    assert [f.active for _, f in found] == [True]
    assert set(state.hours) == {(75.0, 75.0)}


def test_a_slow_creep_is_told_in_the_end():
    """A tenth of a %RH an hour, from when the norm is final: told before it is off by 3 %RH."""
    found = told([(75.0, 75.0)] * disagree.FINAL_HOURS + [(75.0, 75.0 + h / 10) for h in range(1, 60)])

    assert [(f.probe, f.active) for _, f in found] == [(2, True)]
    assert abs(found[0][1].value) <= 3.0


def test_while_frozen_nothing_is_learnt():
    """An alarm stands: what the probes say now is not their norm."""
    state = fold(judge(frozen=True), disagree.State(), [(h, 75.0, 75.0) for h in range(1, 50)])[0]

    assert state.hours == ()


def test_final_after_a_day_of_hours():
    """No more than `FINAL_HOURS` are kept, and those stay."""
    state = fold(judge(), disagree.State(), [(h, 75.0 + h / 100, 75.0) for h in range(1, 100)])[0]

    assert state.hours == tuple((75.0 + h / 100, 75.0) for h in range(1, disagree.FINAL_HOURS + 1))


def test_restart_in_the_middle_changes_nothing():
    """Through JSON and back, the same edges."""
    pairs = [(75.0, 75.0)] * 24 + [(75.0, 80.0)] * 12 + [(75.0, 75.1)] * 12 + [(70.0, 75.1)] * 12

    assert same_after_restarts(judge(), disagree.State(), [(h, a, b) for h, (a, b) in enumerate(pairs)]) == 3
