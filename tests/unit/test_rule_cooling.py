"""A compressor whose next run is overdue."""

import pytest
from rule_parts import NORM, at, edges, minutes, minutes_after, same_after_restarts, saw

from chamberwatch.model import MS_PER_MIN
from chamberwatch.rules import cooling
from chamberwatch.rules.cycle import Learnt


def judge(norm=NORM):
    """Return the rule's step for one norm."""
    return lambda state, minute: cooling.step(state, minute, norm)


def norm_of(period, saw_c=0.8, warming=0.7):
    """Return the norm of a plant with that period [min]."""
    warming_ms = round(period * warming * MS_PER_MIN)
    rise = saw_c / (period * warming / 60)
    return Learnt(period * MS_PER_MIN, warming_ms, 12.0 + saw_c, 12.0, saw_c, 4.0, rise)


def dies(period, dead_at, until, norm):
    """Return a saw-tooth whose compressor stops for good at `dead_at` [min]; then it warms as usual."""
    temps, last = [], 0.0
    for m in range(1, until + 1):
        last = saw(m, period) if m <= dead_at else last + norm.rise_c_per_h / 60
        temps.append(round(last, 3))
    return minutes(temps)


@pytest.mark.parametrize("period", [12, 20, 60, 90])
@pytest.mark.parametrize("part", [0.0, 0.2, 0.45, 0.69, 0.75, 0.99])
def test_told_within_two_cycles_and_a_quarter_of_an_hour(period, part):
    """Wherever in its cycle the compressor dies: once, and in time."""
    norm = norm_of(period)
    dead_at = round(period * (6 + part))
    found = edges(judge(norm), cooling.State(), dies(period, dead_at, dead_at + 4 * period + 60, norm))

    assert [edge for _, edge in found] == [True]
    assert minutes_after(found[0][0].at_ms) - dead_at <= 2 * period + 15


def test_since_is_when_the_compressor_should_have_run():
    """The onset lies one usual pause after the last bottom."""
    state = cooling.State()
    for minute in dies(20, 120, 200, NORM):
        state, rises = cooling.step(state, minute, NORM)
        if rises:
            break

    assert minutes_after(state.since_ms) == pytest.approx(120 + 14, abs=1)


def test_a_pause_from_before_the_norm_does_not_count():
    """Hours whose bottoms were never looked for are no pause: the first one begins when the norm is there."""
    state = cooling.State()
    for minute in minutes(saw(m, low=12.0 + m / 500) for m in range(300)):
        state, rises = cooling.step(state, minute, None)
        assert rises is None
    found = edges(judge(), state, minutes([13.0 + m / 30 for m in range(38)], first=301))

    assert found == []


def test_where_cycles_are_long_a_defrost_s_time_past_the_longest_pause_is_enough():
    """Two cycles of two hours each need not be waited for."""
    norm = NORM._replace(period_ms=120 * MS_PER_MIN, warming_ms=100 * MS_PER_MIN)
    temps = [13.0 - m / 20 for m in range(20)] + [12.0 + m / 100 for m in range(1, 200)]
    found = edges(lambda s, m: cooling.step(s, m, norm), cooling.State(), minutes(temps))

    assert [edge for _, edge in found] == [True]
    assert 174 <= minutes_after(found[0][0].at_ms) - 21 <= 177


def test_a_probe_that_stands_still_says_nothing_of_the_compressor():
    """Frozen at its warmest, or warmer: not one minute differs from the other."""
    temps = [saw(m) for m in range(121)] + [13.4] * 240

    assert edges(judge(), cooling.State(), minutes(temps)) == []


def test_a_box_made_too_cold_takes_longer_to_be_warm_again():
    """The pause counts from where it usually begins."""
    temps = [saw(m) for m in range(121)] + [9.0 + m * 4.3 / 60 for m in range(60)]

    assert edges(judge(), cooling.State(), minutes(temps)) == []


def test_regular_cycles_say_nothing():
    """A day of what was learnt."""
    assert edges(judge(), cooling.State(), minutes(saw(m) for m in range(1440))) == []


def test_a_pause_of_one_and_a_half_more_cycles_says_nothing():
    """A defrost: the compressor rests a cycle and a half longer than ever, however warm it gets."""
    temps = [saw(m) for m in range(121)]
    temps += [12.0 + 3.0 * m / 44 for m in range(1, 44)] + [15.0 - m for m in range(4)] + [12.0] * 60

    assert edges(judge(), cooling.State(), minutes(temps)) == []


def test_overdue_but_cool_says_nothing():
    """In a cold room the compressor may rest for hours: the air does not climb past its usual top."""
    temps = [saw(m) for m in range(121)] + [12.0 + min(1.1, m / 60) for m in range(600)]

    assert edges(judge(), cooling.State(), minutes(temps)) == []


def test_warm_but_coming_down_says_nothing():
    """A warm load cools slowly: it is far from its warmest, so something cools it."""
    temps = [saw(m) for m in range(121)] + [12.0 + m / 3 for m in range(9)]
    temps += [14.6 - 0.004 * m for m in range(45, 100)]

    assert edges(judge(), cooling.State(), minutes(temps)) == []


def test_without_a_norm_it_is_never_raised():
    """The band alarm stands in."""
    assert edges(judge(None), cooling.State(), minutes(12 + m / 60 for m in range(600))) == []


def test_returned_when_the_air_came_back_by_a_saw_tooth():
    """Not before: a wobble at the top is no recovery. And it can be raised again afterwards."""
    up = dies(20, 120, 220, NORM)
    top_c = up[-1].temp_c
    wobble = minutes([top_c - 0.4, top_c] * 30, first=221)
    down = minutes([top_c - 0.1 * i for i in range(1, 41)], first=281)
    again = minutes([top_c - 4.0 + i / 15 for i in range(120)], first=321)
    found = edges(judge(), cooling.State(), up + wobble + down + again)

    assert [edge for _, edge in found] == [True, False, True]
    assert found[1][0].temp_c == pytest.approx(top_c - max(cooling.BACK_C, NORM.saw_c), abs=0.1)


def test_a_minute_without_a_temperature_is_no_step():
    """Missing input changes nothing, whether the alarm stands or not."""
    for state in (cooling.State(at(1), 12.0, 12.5), cooling.State(at(1), 12.0, 14.5, active=True, since_ms=at(9))):
        assert cooling.step(state, minutes([None])[0], NORM) == (state, None)


def test_hours_unseen_are_no_pause():
    """After a gap a warm minute (a defrost's end) says nothing; hours later, still climbing, it does."""
    before = minutes(saw(m) for m in range(1, 121))
    after = minutes([13.3 + m / 200 for m in range(120)], first=400)
    found = edges(judge(), cooling.State(), before + after)

    assert [edge for _, edge in found] == [True]
    assert minutes_after(found[0][0].at_ms) >= 400 + 20 + 14


def test_restart_in_the_middle_changes_nothing():
    """Through JSON and back, the same edges."""
    up = dies(20, 120, 220, NORM)
    down = minutes([up[-1].temp_c - 0.1 * i for i in range(1, 41)], first=221)

    assert same_after_restarts(judge(), cooling.State(), up + down) == 1
