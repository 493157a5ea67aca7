"""One-minute means: exact, bounded, in order."""

import json

from hypothesis import given
from hypothesis import strategies as st
from rule_parts import T0, at

from chamberwatch.model import MS_PER_MIN
from chamberwatch.rules.minute import Accumulator, Minute


def closed(samples):
    """Feed (minute, °C, %RH); return the minutes that closed."""
    acc = Accumulator()
    return [m for minute, t, h in samples if (m := acc.add(at(minute), t, h)) is not None]


def test_a_minute_is_the_mean_of_its_readings():
    """Told when the next minute begins, with the time at which it ended, to 0.001."""
    (minute,) = closed([(0, 12.0, 70.0), (0.25, 12.0, 71.0), (0.99, 12.1, 75.0), (1, 30.0, 99.0)])

    assert minute == Minute(at(1), 12.033, 72.0)


def test_a_missing_half_stays_missing():
    """A half is the mean of what was measured of it, None when nothing was."""
    got = closed([(0, None, 70.0), (0.5, None, 72.0), (1, 12.0, None), (1.5, 13.0, 60.0), (2, 1.0, 1.0)])

    assert got == [Minute(at(1), None, 71.0), Minute(at(2), 12.5, 60.0)]


def test_a_minute_without_a_reading_does_not_exist():
    """Nothing is filled in over a gap."""
    got = closed([(0, 12.0, 70.0), (90, 13.0, 71.0), (91, 14.0, 72.0)])

    assert got == [Minute(at(1), 12.0, 70.0), Minute(at(91), 13.0, 71.0)]


def test_nothing_in_is_nothing_out():
    """Before the first reading there is no minute."""
    assert Accumulator().mean() is None


def test_a_sample_that_was_held_back_counts_in_the_minute_under_way():
    """Its own minute is closed, since the other half went on: order of time is kept, the sample not lost."""
    got = closed([(0.5, None, 75.0), (1.1, None, 75.0), (0.5, 30.0, None), (1.1, 30.0, None), (2, 30.0, 75.0)])

    assert got == [Minute(at(1), None, 75.0), Minute(at(2), 30.0, 75.0)]


SAMPLES = st.lists(
    st.tuples(st.floats(0.01, 3), st.none() | st.floats(-40, 85), st.none() | st.floats(0, 100)), max_size=60
)


@given(SAMPLES, st.integers(0, 59))
def test_restart_in_the_middle_changes_nothing(steps, cut):
    """A minute half summed goes on where it was."""
    straight, broken, now = Accumulator(), Accumulator(), 0.0
    for i, (step, t, h) in enumerate(steps):
        now += step
        if i == cut:
            body = json.loads(json.dumps(broken.to_json()))
            broken = Accumulator()
            broken.from_json(body)
        assert straight.add(at(now), t, h) == broken.add(at(now), t, h)
    assert straight.mean() == broken.mean()


@given(SAMPLES)
def test_minutes_come_in_order_and_inside_their_readings(steps):
    """Each ends later than the one before, on a whole minute, between its smallest and largest reading."""
    now, last_ms, acc = 0.0, T0, Accumulator()
    for step, t, h in steps:
        now += step
        minute = acc.add(at(now), t, h)
        if minute is None:
            continue
        assert minute.at_ms > last_ms
        assert minute.at_ms % MS_PER_MIN == 0
        assert minute.temp_c is None or -40.001 <= minute.temp_c <= 85.001
        assert minute.rh_pct is None or -0.001 <= minute.rh_pct <= 100.001
        last_ms = minute.at_ms
