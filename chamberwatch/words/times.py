"""Moments as people write and read them. No clock: `now_ms` is always given."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta, tzinfo

from chamberwatch.model import MS_PER_S
from chamberwatch.wire.timestamp import parse_rfc3339
from chamberwatch.words.units import parse_duration_ms

TAKEN = (
    'write a time like 18:00, "yesterday 18:00", "sat 18:00", "2h ago", "2026-11-20 18:00" (local) '
    "or 2026-11-20T18:00:00Z"
)
# strftime would speak the language of the board's locale; the messages are English.
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

_AGO = re.compile(r"(.+?)\s*\bago", re.IGNORECASE)
_DAYS = "today|yesterday|mon|tue|wed|thu|fri|sat|sun"
_DAY_CLOCK = re.compile(rf"(?:({_DAYS})[a-z]*\s+)?(\d{{1,2}}):(\d{{2}})", re.IGNORECASE | re.ASCII)
_LOCAL = re.compile(r"(\d{4})-(\d{2})-(\d{2})[ tT](\d{2}):(\d{2})(?::(\d{2}))?")
_DATED = re.compile(r"\d{4}-", re.ASCII)
_LONGEST = 40


def parse_when(text: str, now_ms: int, zone: tzinfo) -> int:
    """Return ms UTC for a moment as people write it, local times in `zone`.

    Takes RFC 3339, `now`, `2h ago`, `18:00` (today), `today 07:30`, `yesterday 18:00`, `sat 23:52` (the last
    such day), `2026-11-20 18:00`. An hour that occurs twice when the clocks go back means the first.
    Raises ValueError saying what is taken; also for `18:00` while that is still to come, and for an hour
    that the clocks skipped.
    """
    given = text.strip()
    shown = repr(given if len(given) <= _LONGEST else given[:_LONGEST] + "…")
    if given.lower() == "now":
        return now_ms
    if match := _AGO.fullmatch(given):
        return now_ms - parse_duration_ms(match[1])
    if match := _DAY_CLOCK.fullmatch(given):
        return _day_clock(match, shown, now_ms, zone)
    if match := _LOCAL.fullmatch(given):
        year, month, day, hour, minute, second = (int(part or 0) for part in match.groups())
        return _local_ms((year, month, day), (hour, minute, second), shown, zone)
    return _rfc3339_ms(given, shown)


def _rfc3339_ms(given: str, shown: str) -> int:
    if not _DATED.match(given):
        raise ValueError(f"{shown} is not a time I understand; {TAKEN}")
    try:
        return parse_rfc3339(given)
    except ValueError as error:
        raise ValueError(f"{error}; {TAKEN}") from error


def _day_clock(match: re.Match[str], shown: str, now_ms: int, zone: tzinfo) -> int:
    word = (match[1] or "today").capitalize()
    today = _local(now_ms, zone).date()
    if word in WEEKDAYS:
        back = (today.weekday() - WEEKDAYS.index(word)) % 7
    else:
        back = 1 if word == "Yesterday" else 0
    clock = (int(match[2]), int(match[3]), 0)
    at_ms = _local_ms(_ymd(today - timedelta(days=back)), clock, shown, zone)
    if at_ms <= now_ms:
        return at_ms
    if word in WEEKDAYS:  # named today's weekday, later than now: the one a week ago
        return _local_ms(_ymd(today - timedelta(days=7)), clock, shown, zone)
    clock_now, meant = format_clock(now_ms, zone), f"yesterday {match[2]}:{match[3]}"
    raise ValueError(f"{shown} is still to come (it is {clock_now}); did you mean {meant!r}?")


def _ymd(day: date) -> tuple[int, int, int]:
    return day.year, day.month, day.day


def _local_ms(ymd: tuple[int, int, int], clock: tuple[int, int, int], shown: str, zone: tzinfo) -> int:
    try:
        local = datetime(*ymd, *clock, tzinfo=zone)
        at_ms = round(local.timestamp() * MS_PER_S)
    except (ValueError, OverflowError) as error:
        raise ValueError(f"{shown} is no date and time of a calendar ({error}); {TAKEN}") from error
    # A skipped hour does not come back as itself.
    if _local(at_ms, zone).replace(tzinfo=None) != local.replace(tzinfo=None):
        raise ValueError(f"{shown} did not exist here: the clocks went forward over it; give it in UTC")
    return at_ms


def _local(at_ms: int, zone: tzinfo) -> datetime:
    return datetime.fromtimestamp(at_ms / MS_PER_S, zone)


def format_clock(at_ms: int, zone: tzinfo) -> str:
    """Return the local time of day, `01:10`."""
    return f"{_local(at_ms, zone):%H:%M}"


def format_local(at_ms: int, told_ms: int, zone: tzinfo) -> str:
    """Return `01:10`, `Sat 23:52`, `20 Nov 18:00` or `20 Nov 2025 18:00`, whatever `told_ms` needs."""
    at, told = _local(at_ms, zone), _local(told_ms, zone)
    away_days = (told.date() - at.date()).days
    if away_days == 0:
        return f"{at:%H:%M}"
    if 0 < away_days < 7:  # noqa: PLR2004  a week has seven days
        return f"{WEEKDAYS[at.weekday()]} {at:%H:%M}"
    year = "" if at.year == told.year else f" {at.year}"
    return f"{at.day} {MONTHS[at.month - 1]}{year} {at:%H:%M}"
