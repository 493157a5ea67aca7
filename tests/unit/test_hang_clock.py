"""Hours of hanging against the calendar."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chamberwatch.daemon.hang_clock import HangClock
from chamberwatch.journal.stays import Stay
from chamberwatch.model import MS_PER_DAY, MS_PER_H

T0 = 1_793_404_800_000
DAY = MS_PER_DAY


def stay(from_d, to_d=None, chamber="cellar"):
    """One stay between two days after T0."""
    return Stay("Neck 4", chamber, T0 + round(from_d * DAY), None if to_d is None else T0 + round(to_d * DAY))


BAGGED = (stay(0, 10), stay(13, 20, "larder"), stay(20))
"""Ten days, three in a bag, and on in two chambers."""


def test_a_bagged_piece_stands_still():
    """Three days between stays are no hours of hanging."""
    clock = HangClock(BAGGED, T0 + 25 * DAY)

    assert clock.hours == 22 * 24
    assert clock.at_h(T0 + 10 * DAY) == clock.at_h(T0 + 12 * DAY) == clock.at_h(T0 + 13 * DAY) == 240.0
    assert [span.chamber for span in clock.spans] == ["cellar", "larder", "cellar"]


def test_what_is_to_come_begins_now():
    """An hour not yet hung is that many hours from now."""
    clock = HangClock(BAGGED, T0 + 25 * DAY)

    assert clock.at_ms(22 * 24 + 48) == T0 + 27 * DAY
    assert clock.at_ms(11 * 24) == T0 + 14 * DAY


def test_stays_that_begin_later_do_not_count():
    """As of day 5 nobody knew of the larder."""
    clock = HangClock(BAGGED, T0 + 5 * DAY)

    assert clock.hours == 120
    assert len(clock.spans) == 1


def test_a_fresh_hang_has_no_whole_hour():
    """Half an hour after the hang."""
    assert HangClock((stay(0),), T0 + MS_PER_H // 2).hours == 0


@given(st.integers(min_value=0, max_value=25 * 24))
def test_there_and_back(hour):
    """A time found for an hour is at that hour, but for the days in a bag."""
    clock = HangClock(BAGGED, T0 + 25 * DAY)

    assert clock.at_h(clock.at_ms(hour)) == pytest.approx(min(hour, clock.hours))


@given(st.lists(st.integers(min_value=0, max_value=30 * 24), min_size=2, max_size=2))
def test_later_is_never_fewer_hours(hours):
    """Monotone."""
    early, late = sorted(hours)
    clock = HangClock(BAGGED, T0 + 25 * DAY)

    assert clock.at_h(T0 + early * MS_PER_H) <= clock.at_h(T0 + late * MS_PER_H)
