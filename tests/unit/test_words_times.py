"""Moments as people type and read them."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from chamberwatch.wire.timestamp import parse_rfc3339
from chamberwatch.words.times import format_clock, format_local, parse_when

PARIS = ZoneInfo("Europe/Paris")
NOW = "2026-11-22T07:40:00+01:00"  # a Sunday


def when(text: str, now: str = NOW) -> int:
    """Parse at `now`, on a Paris wall clock."""
    return parse_when(text, parse_rfc3339(now), PARIS)


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("now", NOW),
        ("2h ago", "2026-11-22T05:40:00+01:00"),
        ("30 min ago", "2026-11-22T07:10:00+01:00"),
        ("1h 30min ago", "2026-11-22T06:10:00+01:00"),
        ("3d ago", "2026-11-19T07:40:00+01:00"),
        ("07:30", "2026-11-22T07:30:00+01:00"),
        ("7:30", "2026-11-22T07:30:00+01:00"),
        ("today 07:30", "2026-11-22T07:30:00+01:00"),
        ("yesterday 18:00", "2026-11-21T18:00:00+01:00"),
        ("Yesterday 18:00", "2026-11-21T18:00:00+01:00"),
        ("Sat 23:52", "2026-11-21T23:52:00+01:00"),
        ("saturday 23:52", "2026-11-21T23:52:00+01:00"),
        ("sun 07:00", "2026-11-22T07:00:00+01:00"),
        ("sun 08:00", "2026-11-15T08:00:00+01:00"),
        ("2026-11-20 18:00", "2026-11-20T18:00:00+01:00"),
        ("2026-07-20T18:00:30", "2026-07-20T18:00:30+02:00"),
        ("2026-11-20T17:00:00Z", "2026-11-20T18:00:00+01:00"),
        (" 2026-11-20T18:00:00+01:00 ", "2026-11-20T18:00:00+01:00"),
        ("2026-11-20 18:00:00+01:00", "2026-11-20T18:00:00+01:00"),
    ],
)
def test_times_are_taken_as_people_say_them(text, meant):
    """Clock times are local and past; full timestamps are what they say."""
    assert when(text) == parse_rfc3339(meant)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("18:00", "still to come (it is 07:40); did you mean 'yesterday 18:00'?"),
        ("today 08:00", "still to come"),
        ("25:00", "no date and time of a calendar"),
        ("2026-02-30 10:00", "no date and time of a calendar"),
        ("2026-11-20", "the time of day is missing"),
        ("soon", "not a time I understand"),
        ("", "not a time I understand"),
        ("2 ago", "2 has no unit"),
        ("-2h ago", "it is negative"),
        ("2026-13-20T10:00:00Z", "2026-13-20"),
        ("2026-03-29 02:30", "did not exist here: the clocks went forward"),
        ("9999-99-99 99:99", "no date and time of a calendar"),
    ],
)
def test_other_times_are_refused_with_the_forms_that_are_taken(text, fault):
    """The message names the fault; a skipped hour and a time to come are faults too."""
    with pytest.raises(ValueError, match=r".") as caught:
        when(text)
    assert fault in str(caught.value)


def test_an_hour_that_occurs_twice_means_the_first():
    """When the clocks go back, 02:30 is the earlier one; an offset tells the later."""
    assert when("2026-10-25 02:30") == parse_rfc3339("2026-10-25T02:30:00+02:00")
    assert when("2026-10-25T02:30:00+01:00") == parse_rfc3339("2026-10-25T01:30:00Z")


@pytest.mark.parametrize(
    ("at", "shown"),
    [
        ("2026-11-22T01:10:00+01:00", "01:10"),
        ("2026-11-21T23:52:00+01:00", "Sat 23:52"),
        ("2026-11-16T08:00:00+01:00", "Mon 08:00"),
        ("2026-11-15T08:00:00+01:00", "15 Nov 08:00"),
        ("2025-11-20T18:00:00+01:00", "20 Nov 2025 18:00"),
        ("2026-11-22T23:10:00Z", "23 Nov 00:10"),
    ],
)
def test_a_moment_is_told_as_short_as_can_be(at, shown):
    """The day is named only when it isn't today's; the year only when it isn't this one."""
    assert format_local(parse_rfc3339(at), parse_rfc3339(NOW), PARIS) == shown


def test_the_clock_is_the_local_one():
    """A time of day is the one on the wall there."""
    assert format_clock(parse_rfc3339("2026-07-01T22:05:59Z"), PARIS) == "00:05"
