"""Means over whole cycles that run towards a limit."""

import math
import random
from dataclasses import replace

import pytest
from rule_parts import HOUR, HUMIDITY, at, fold, minutes_after, same_after_restarts, saw, wave

from chamberwatch.model import MS_PER_H, MS_PER_MIN
from chamberwatch.rules import drift

LEAST = 1.5
BLOCK = drift.BLOCK_MS / MS_PER_MIN
DAY = int(24 * HOUR)


def judge(period_ms=None, band=HUMIDITY, least=LEAST):
    """Return the rule's step over (minute, value)."""
    return lambda state, item: drift.step(state, at(item[0]), item[1], period_ms, band, least)


def told(values, first=1, **how):
    """Return (minute, Found) of every edge over values one minute apart."""
    values = [round(v, 3) for v in values]
    return [(m, found) for (m, _), found in fold(judge(**how), drift.State(), enumerate(values, first))[1]]


def noise(n, sd=0.3, seed=1):
    """Return n small deviations."""
    rng = random.Random(seed)
    return [rng.gauss(0, sd) for _ in range(n)]


def ramp(hours, per_hour, start=75.0, sd=0.3):
    """Return a noisy line."""
    return [start + per_hour * m / HOUR + e for m, e in enumerate(noise(round(hours * HOUR), sd))]


@pytest.mark.parametrize(("per_hour", "side"), [(-1.0, -1), (1.0, 1), (-2.0, -1), (0.9, 1)])
def test_told_before_the_limit_is_met_with_when(per_hour, side):
    """A day of quiet, then a steady line: told once, its meeting time near the true one, ahead of it."""
    ((minute, found),) = told([75 + e for e in noise(DAY)] + ramp(5.0 / abs(per_hour), per_hour))
    meets = DAY + 5.0 / abs(per_hour) * HOUR

    assert (found.side, found.active) == (side, True)
    assert minute <= meets - 30
    assert minutes_after(found.meets_ms) == pytest.approx(meets, abs=drift.HORIZON_MS / MS_PER_MIN / 3)
    assert DAY - 3 * BLOCK <= minutes_after(found.since_ms) <= minute - 3 * BLOCK


def test_a_limit_further_than_the_horizon_is_not_told_yet():
    """5 %RH away at 0.4 %RH an hour is more than twelve hours off: nothing until within six."""
    found = told([75 + e for e in noise(DAY)] + ramp(12.5, -0.4))

    assert len(found) == 1
    assert found[0][0] >= DAY + 12.5 * HOUR - drift.HORIZON_MS / MS_PER_MIN - 2 * BLOCK
    assert told([75 + e for e in noise(DAY)] + ramp(4.0, -0.4)) == []


@pytest.mark.parametrize("seed", range(5))
def test_noise_is_no_drift(seed):
    """Two quiet days, near a limit even."""
    assert told([70.6 + e for e in noise(2 * DAY, 0.8, seed)]) == []


def test_a_change_smaller_than_counts_is_no_drift():
    """Significant but small: 1 %RH in all."""
    assert told([71.2] * DAY + [71.2 - m / 240 for m in range(240)] + [70.2] * DAY) == []


def test_a_chamber_that_breathes_with_the_day_does_not_drift():
    """From the second day on the mean is where it was yesterday."""
    found = told([wave(m, DAY, 75, 4.5) + e for m, e in enumerate(noise(4 * DAY))])

    assert [minute for minute, _ in found if minute > 1.25 * DAY] == []


def test_returned_when_the_mean_is_back_where_it_was():
    """Refilled in time: one edge up, one down."""
    found = told([75.0 + e for e in noise(DAY)] + ramp(4, -1.0) + [75 + e for e in noise(300)])

    assert [(f.side, f.active) for _, f in found] == [(-1, True), (-1, False)]
    assert found[1][0] <= DAY + 4 * HOUR + 4 * BLOCK
    assert found[1][1].meets_ms == 0


def test_means_over_a_long_cycle_are_believed_only_over_more_than_two():
    """They overlap: what neighbouring ones share is no trend. The longest window is believed of any."""
    values, band = [75.0] * DAY + ramp(5, -2.4, sd=0.0), replace(HUMIDITY, low=64.0)
    short, long, longest = (told(values, period_ms=p * MS_PER_MIN, band=band)[0][0] - DAY for p in (20, 90, 400))

    assert short < long < longest < 4 * HOUR


def test_a_step_that_has_levelled_off_is_no_drift():
    """A set point moved by 4 %RH within the hour: the limit is near, but nothing goes there."""
    assert told([75.0] * DAY + [77.0] * 30 + [79.0] * DAY) == []


def test_one_odd_block_is_no_trend():
    """Two hours fall by a little, then someone stands at the open door: the line decides, not the last mean."""
    quiet = [75.0 - m / 400 for m in range(240)]
    assert told([75.0] * DAY + quiet + [70.3] * 30 + [74.3] * 300) == []


def test_a_gap_forgets_the_trend_but_not_the_range():
    """Values on both sides of hours unseen make no line."""
    before, after = ramp(1.4, -2.0, sd=0.0), ramp(1.4, -2.0, start=68.2, sd=0.0)
    items = [*enumerate(before, 1), *enumerate(after, round(1.4 * HOUR + 4 * BLOCK))]
    state, found = fold(judge(), drift.State(), items)

    assert found == []
    assert state.blocks[0][1] > 74


def test_a_chamber_that_settles_in_does_not_drift():
    """Nothing is told of its first twelve blocks; the same line after a quiet six hours is, without a whole day."""
    line, quiet = ramp(4, -1.2), [75 + e for e in noise(round(drift.KNOWN * BLOCK))]

    assert told(line) == []
    assert [f.side for _, f in told(quiet + line)] == [-1]


@pytest.mark.parametrize(("change", "sides"), [(3.6, []), (3.9, [-1])])
def test_the_shortest_window_needs_a_steep_line(change, sides):
    """Four blocks in order are no proof by themselves: two and a half times the least change must come with them."""
    quiet = [72.0] * DAY + [73.0] * 30 + [72.0] * 30  # then no longer window is a line in strict order
    fall = [73.2 - change / 3 * (i // 30) for i in range(120)] + [73.2 - change] * 2

    assert [f.side for _, f in told(quiet + fall, band=replace(HUMIDITY, low=67.0))] == sides


def test_past_the_limit_there_is_nothing_to_foretell():
    """Out of the band already when the line is first seen: the band alarm's business."""
    assert told([69.5] * DAY + ramp(5, -1.0, start=69.5, sd=0.0)) == []


def test_on_the_limit_already_it_meets_now():
    """Beyond the limit there is nothing to foretell: the time is the newest block's."""
    values = [75.0] * DAY + ramp(2, -1.0) + ramp(4, -6.0, start=73.0)
    (_, found), *_ = told(values)

    assert found.side == -1
    assert found.meets_ms <= at(DAY + 6 * HOUR)


def test_the_day_s_mean_needs_half_a_day():
    """A room is judged by it: None before 12 h, then the mean of up to 24 h."""
    half = fold(judge(), drift.State(), [(m, 75.0) for m in range(1, int(11.5 * HOUR))])[0]
    whole = fold(judge(), drift.State(), [(m, 75 + 4 * math.floor(m / DAY)) for m in range(1, 2 * DAY + 60)])[0]

    assert drift.day_mean(half) is None
    assert drift.day_mean(whole) == pytest.approx(79.0, abs=0.3)


def test_what_is_kept_is_a_day():
    """Old blocks go."""
    state = fold(judge(), drift.State(), [(m, 75.0) for m in range(1, 3 * DAY)])[0]

    assert len(state.blocks) <= drift.KEPT
    assert state.blocks[-1][0] - state.blocks[0][0] <= drift.RANGE_MS


def test_restart_in_the_middle_changes_nothing():
    """Through JSON and back, the same edges."""
    values = [75.0 + e for e in noise(DAY // 2)] + ramp(4, -1.0) + [75 + e for e in noise(200)]

    assert same_after_restarts(judge(), drift.State(), [(m, round(v, 3)) for m, v in enumerate(values, 1)]) == 2


def test_the_horizon_is_six_hours_and_the_past_a_day():
    """As told to the owner."""
    assert (drift.HORIZON_MS, drift.RANGE_MS) == (6 * MS_PER_H, 24 * MS_PER_H)


@pytest.mark.parametrize("every_min", [1, 10])
def test_a_block_mostly_unseen_does_not_exist(every_min):
    """A minute here and there of a saw-tooth is no mean; of a probe that speaks each ten minutes, three are."""
    rng = random.Random(4)
    teeth = [(m, saw(m, 20, 71.5, 78.5)) for m in range(1, 3 * DAY) if m % every_min == 0]

    def step(state, item):
        return drift.step(state, at(item[0]), item[1], None, HUMIDITY, LEAST, every_min * MS_PER_MIN)

    state, found = fold(step, drift.State(), [item for item in teeth if rng.random() < 0.2])
    assert found == []
    assert len(state.blocks) < 30
    assert len(fold(step, drift.State(), teeth)[0].blocks) >= 47
