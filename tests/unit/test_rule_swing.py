"""A swinging humidity: controls that fight, and swings that the meat feels."""

import math

import pytest
from rule_parts import HOUR, at, fold, minutes, minutes_after, same_after_restarts, wave

from chamberwatch.model import MS_PER_H, MS_PER_MIN
from chamberwatch.rules import swing

DAY = 24 * HOUR


def judge(saw_pct=None):
    """Return the rule's step, with a learnt saw-tooth [%RH]."""
    return lambda state, minute: swing.step(state, minute, saw_pct)


def told(rhs, saw_pct=None, first=1):
    """Return (minute, Found) of every edge."""
    rhs = [round(h, 2) for h in rhs]
    items = minutes([12.5] * len(rhs), rhs, first)
    return [(minutes_after(m.at_ms), f) for m, found in fold(judge(saw_pct), swing.State(), items)[1] for f in found]


def waves(hours, period, amplitude, mean=75.0):
    """Return hours of a sine [min, %RH]."""
    return [wave(m, period, mean, amplitude) for m in range(round(hours * HOUR))]


def test_controls_fighting_are_told_within_the_window():
    """A humidifier against a dryer: 16 %RH every half hour, told at the sixth cycle, well within 6 h."""
    ((minute, found),) = told(waves(6, 30, 8.0))

    assert (found.meat_feels_it, found.active) == (False, True)
    assert found.range_pct == pytest.approx(16, abs=0.5)
    assert (swing.FAST_CYCLES - 1) * 30 <= minute <= (swing.FAST_CYCLES + 1.5) * 30


def test_fewer_cycles_or_smaller_ones_are_not_told():
    """A few door visits, or an ordinary saw-tooth, are not a fight."""
    assert told(waves(0.5 * (swing.FAST_CYCLES - 1.5), 30, 8.0) + [75.0] * 600) == []
    assert told(waves(24, 30, swing.FAST_RANGE_PCT / 2 - 0.2)) == []


def test_cycles_too_far_apart_are_not_a_fight():
    """Six in a day is none within six hours."""
    assert [f for _, f in told(waves(48, 4 * HOUR, 8.0)) if not f.meat_feels_it] == []


def test_a_large_learnt_saw_tooth_is_this_plant_s_way():
    """A plant whose humidity always swings by 10 must swing by 20 to be told."""
    assert told(waves(6, 30, 9.0), saw_pct=10.0) == []
    assert [f.active for _, f in told(waves(6, 30, 10.5), saw_pct=10.0)] == [True]


def test_a_daily_swing_that_the_meat_feels_is_told():
    """80 ± 9 %RH with the day reaches the outer millimetre by more than 6 %RH: told within three days."""
    ((minute, found),) = told(waves(80, DAY, 9.0))

    assert (found.meat_feels_it, found.active) == (True, True)
    assert minute <= 72 * HOUR
    assert found.range_pct >= swing.SLOW_RANGE_PCT


def test_what_the_meat_feels_is_a_first_order_lag():
    """The felt range of a sine is the air's, over the square root of 1 + (2π · lag / period)²."""
    state, felt = swing.State(), []
    for minute in minutes([12.5] * int(6 * DAY), waves(6 * 24, DAY, 9.0)):
        state, _ = swing.step(state, minute, None)
        felt.append(state.felt_pct)
    gain = 1 / math.sqrt(1 + (2 * math.pi * swing.FELT_LAG_MS / (24 * MS_PER_H)) ** 2)

    late = felt[int(3 * DAY) :]
    assert max(late) - min(late) == pytest.approx(2 * 9.0 * gain, rel=0.01)


def test_a_fast_swing_is_not_felt():
    """A saw-tooth of minutes, however large, does not reach into the meat."""
    assert [f for _, f in told(waves(80, 30, 20.0)) if f.meat_feels_it] == []


def test_a_single_step_is_not_a_swing():
    """Damper from now on: another planned air, not a swing."""
    assert told([72.0] * 600 + [79.0] * 6000) == []


def test_each_test_returns_when_its_cycles_have_gone():
    """The fight over, its window empties within 6 h; the felt one within 72 h."""
    fast = told(waves(6, 30, 8.0) + [75.0] * int(7 * HOUR))
    felt = told(waves(80, DAY, 9.0) + [75.0] * int(90 * HOUR))

    assert [f.active for _, f in fast] == [True, False]
    assert fast[1][0] <= 12 * HOUR
    assert [(f.meat_feels_it, f.active) for _, f in felt] == [(True, True), (True, False)]
    assert felt[1][0] <= (80 + 72 + 1) * HOUR


def test_since_is_the_first_turn_in_the_window():
    """The onset is when the swings that were counted began."""
    ((minute, found),) = told([75.0] * 300 + waves(6, 30, 8.0))

    assert 300 <= minutes_after(found.since_ms) <= 330 < minute


def test_after_a_gap_the_felt_humidity_goes_on_by_the_time_that_passed():
    """At most an hour's worth: one value after a night says little of the night."""
    state, _ = swing.step(swing.State(felt_pct=75.0, last_ms=at(0)), minutes([12.5], 95.0, 600)[0], None)
    part = 1 - math.exp(-swing.LONGEST_STEP_MS / swing.FELT_LAG_MS)

    assert state.felt_pct == pytest.approx(75 + 20 * part, abs=1e-3)


def test_a_minute_without_a_humidity_is_no_step():
    """Missing input changes nothing."""
    state = swing.State(felt_pct=75.0, last_ms=at(0))

    assert swing.step(state, minutes([12.5], [None])[0], None) == (state, ())


def test_restart_in_the_middle_changes_nothing():
    """Through JSON and back, both tests tell the same."""
    rhs = [round(a + b, 2) for a, b in zip(waves(72, DAY, 9.0), waves(72, 47, 7.5, 0.0), strict=True)]

    assert same_after_restarts(judge(), swing.State(), minutes([12.5] * len(rhs), rhs)) >= 2


def test_what_is_kept_is_bounded_by_the_windows():
    """A swinging month keeps no more turns than its windows hold."""
    state = swing.State()
    for minute in minutes([12.5] * 10_000, [round(wave(m, 13, 75, 9), 2) for m in range(10_000)]):
        state, _ = swing.step(state, minute, None)

    assert len(state.fast.turns) <= 2 * swing.FAST_WINDOW_MS / (13 * MS_PER_MIN) + 2
    assert len(state.slow.turns) <= 2
