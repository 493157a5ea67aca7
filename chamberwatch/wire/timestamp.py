"""RFC 3339 timestamps to and from integer milliseconds of UTC.

Source: Klyne and Newman, RFC 3339 (2002), §5.6 grammar, §5.7 restrictions, §5.8 examples.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

from chamberwatch.model import MS_PER_MIN, MS_PER_S

_SHAPE = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)"
    r"(?:[Tt ](\d\d):(\d\d):(\d\d)(?:\.(\d+))?(?:([Zz])|([+-])(\d\d):(\d\d))?)?",
    re.ASCII,
)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_ONE_MS = timedelta(milliseconds=1)
_SHOWN_CHARS = 40
_LEAP_SECOND = 60


def parse_rfc3339(text: str) -> int:
    """Return the time a timestamp names [ms of UTC since 1970], years 0001 to 9999.

    A blank may stand for the T, letters may be small, -00:00 is read as UTC. Digits beyond the
    millisecond are cut off. A leap second, 23:59:60 UTC at the end of a month, is read as the midnight
    that follows it, because POSIX time has no number of its own for it.

    Raises:
        ValueError: not such a timestamp, and what is wrong with it (no offset, no such day …).
    """
    found = _SHAPE.fullmatch(text)
    if found is None:
        raise _wrong(text, "not a date and time like 2026-11-01T18:30:00Z")
    year, month, day, hour, minute, second, fraction, zulu, sign, off_h, off_min = found.groups()
    if hour is None:
        raise _wrong(text, "the time of day is missing; write it like 2026-11-01T18:30:00Z")
    if not (zulu or sign):
        raise _wrong(text, "the offset from UTC is missing; end it with Z, or with one like +01:00")
    offset_min = _offset_min(text, sign, off_h, off_min)
    whole_s = min(int(second), _LEAP_SECOND - 1)
    fields = int(year), int(month), int(day), int(hour), int(minute), whole_s
    at_ms = _ms(text, fields) - offset_min * MS_PER_MIN
    if int(second) > whole_s:
        return _after_leap(text, int(second), at_ms)
    return at_ms + int((fraction or "0")[:3].ljust(3, "0"))


def format_rfc3339(at_ms: int) -> str:
    """Write a time [ms of UTC since 1970] with a Z; milliseconds are shown only when there are any.

    Raises:
        ValueError: the time is outside the years 0001 to 9999.
    """
    try:
        at = _EPOCH + at_ms * _ONE_MS
    except OverflowError as why:
        raise ValueError(f"time {at_ms} ms is outside the years 0001 to 9999") from why
    return at.replace(tzinfo=None).isoformat(timespec="milliseconds" if at.microsecond else "seconds") + "Z"


def _ms(text: str, fields: tuple[int, int, int, int, int, int]) -> int:
    try:
        at = datetime(*fields, tzinfo=UTC)
    except ValueError as why:
        raise _wrong(text, f"no such date or time: {why}") from why
    return (at - _EPOCH) // _ONE_MS


def _offset_min(text: str, sign: str | None, hours: str | None, minutes: str | None) -> int:
    if sign is None or hours is None or minutes is None:
        return 0
    if int(hours) > 23 or int(minutes) > 59:  # noqa: PLR2004  the RFC's own numbers
        raise _wrong(text, f"offset {sign}{hours}:{minutes} must be within -23:59 to +23:59")
    return (int(hours) * 60 + int(minutes)) * (-1 if sign == "-" else 1)


def _after_leap(text: str, second: int, before_ms: int) -> int:
    midnight_ms = before_ms + MS_PER_S
    if second > _LEAP_SECOND:
        raise _wrong(text, f"second {second} must be 0 to 59, or 60 in a leap second")
    try:
        at = _EPOCH + midnight_ms * _ONE_MS
    except OverflowError as why:
        raise _wrong(text, "outside the years 0001 to 9999") from why
    if (at.day, at.hour, at.minute, at.second) != (1, 0, 0, 0):
        raise _wrong(text, "second 60 exists only as 23:59:60 UTC on the last day of a month")
    return midnight_ms


def _wrong(text: str, why: str) -> ValueError:
    return ValueError(f"{text[:_SHOWN_CHARS]!r}: {why}")
