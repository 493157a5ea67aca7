"""Days and stretches of days as people say them."""

from __future__ import annotations

from datetime import UTC, date, datetime, tzinfo

MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December",
)  # fmt: skip
_THIRDS = ((10, "early"), (20, "mid"), (31, "late"))


def day_of(at_ms: int, zone: tzinfo) -> date:
    """Return the local day of a moment [ms UTC]."""
    return datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone).date()


def say_day(day: date, told: date) -> str:
    """Return "14 December", with its year if that is not the one in which it is told."""
    year = "" if day.year == told.year else f" {day.year}"
    return f"{day.day} {MONTHS[day.month - 1]}{year}"


def say_days(first: date, last: date, told: date) -> str:
    """Return "14 to 29 December", "28 November to 3 December", or the one day."""
    if first == last:
        return say_day(first, told)
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day} to {say_day(last, told)}"
    return f"{say_day(first, told)} to {say_day(last, told)}"


def say_roughly(first: date, last: date, told: date) -> str:
    """Return "mid to late December", "late November to mid December", or "mid December"."""
    one, other = _third(first), _third(last)
    month, year = MONTHS[last.month - 1], "" if last.year == told.year else f" {last.year}"
    if (first.year, first.month) == (last.year, last.month):
        return f"{one} {month}{year}" if one == other else f"{one} to {other} {month}{year}"
    apart = "" if first.year in {last.year, told.year} else f" {first.year}"
    return f"{one} {MONTHS[first.month - 1]}{apart} to {other} {month}{year}"


def _third(day: date) -> str:
    return next(word for last, word in _THIRDS if day.day <= last)
