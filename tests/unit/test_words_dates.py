"""Days in words."""

from datetime import date
from zoneinfo import ZoneInfo

import pytest

from chamberwatch.words.dates import day_of, say_day, say_days, say_roughly

TOLD = date(2026, 11, 25)


@pytest.mark.parametrize(
    ("first", "last", "said"),
    [
        ((2026, 12, 12), (2026, 12, 27), "mid to late December"),
        ((2026, 12, 12), (2026, 12, 18), "mid December"),
        ((2026, 11, 28), (2026, 12, 3), "late November to early December"),
        ((2026, 12, 28), (2027, 1, 12), "late December to mid January 2027"),
        ((2027, 12, 28), (2028, 1, 12), "late December 2027 to mid January 2028"),
        ((2027, 1, 3), (2027, 1, 30), "early to late January 2027"),
    ],
)
def test_roughly(first, last, said):
    """Thirds of a month, the year where it is not this one."""
    assert say_roughly(date(*first), date(*last), TOLD) == said


@pytest.mark.parametrize(
    ("first", "last", "said"),
    [
        ((2026, 12, 14), (2026, 12, 14), "14 December"),
        ((2026, 12, 14), (2026, 12, 29), "14 to 29 December"),
        ((2026, 11, 28), (2026, 12, 3), "28 November to 3 December"),
        ((2026, 12, 28), (2027, 1, 3), "28 December to 3 January 2027"),
    ],
)
def test_days(first, last, said):
    """Two days, said as shortly as they can be."""
    assert say_days(date(*first), date(*last), TOLD) == said


def test_a_day_s_year_is_said_only_where_it_differs():
    """This year goes without saying."""
    assert (say_day(date(2026, 12, 1), TOLD), say_day(date(2027, 1, 1), TOLD)) == ("1 December", "1 January 2027")


def test_the_day_is_the_owner_s():
    """Half past eleven at night in Greenwich is tomorrow further east."""
    assert day_of(1_793_489_400_000, ZoneInfo("UTC")) == date(2026, 10, 31)
    assert day_of(1_793_489_400_000, ZoneInfo("Asia/Tokyo")) == date(2026, 11, 1)
