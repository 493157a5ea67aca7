"""Timestamps: the examples of RFC 3339 §5.8, and Python's own reader as a second opinion.

Source: Klyne and Newman, RFC 3339 (2002). The example strings were found in several public test suites that
quote the section; the section number, and the rules for leap seconds and -00:00, are from memory.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chamberwatch.wire.timestamp import format_rfc3339, parse_rfc3339

FIRST_MS, LAST_MS = parse_rfc3339("0001-01-01T00:00:00Z"), parse_rfc3339("9999-12-31T23:59:59.999Z")


@pytest.mark.parametrize(("text", "utc"), [
    ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.520Z"),
    ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57Z"),
    ("1990-12-31T23:59:60Z", "1991-01-01T00:00:00Z"),
    ("1990-12-31T15:59:60-08:00", "1991-01-01T00:00:00Z"),
    ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.870Z"),
])  # fmt: skip
def test_the_examples_of_the_standard(text: str, utc: str) -> None:
    """§5.8: each example names the time the text beside it says; a leap second is the midnight after it."""
    assert format_rfc3339(parse_rfc3339(text)) == utc


@pytest.mark.parametrize("text", [
    "2026-11-01t18:30:00z", "2026-11-01 18:30:00Z", "2026-11-01T18:30:00-00:00", "2026-11-01T19:30:00+01:00",
    "2026-11-01T18:30:00.000999Z",
])  # fmt: skip
def test_ways_to_write_one_time(text: str) -> None:
    """Small letters, a blank for the T, an unknown local offset (§4.3) and digits past the millisecond are read."""
    assert parse_rfc3339(text) == 1_793_557_800_000


def test_a_leap_second_swallows_its_fraction() -> None:
    """No time within a leap second comes after the midnight that follows it."""
    assert parse_rfc3339("1990-12-31T23:59:60.9Z") == parse_rfc3339("1991-01-01T00:00:00Z")


@pytest.mark.parametrize(("text", "why"), [
    ("2026-11-01T18:30:00", "offset from UTC is missing"),
    ("2026-11-01", "time of day is missing"),
    ("18:30:00Z", "not a date and time"),
    ("", "not a date and time"),
    ("20261101T183000Z", "not a date and time"),
    ("2026-11-01T18:30Z", "not a date and time"),
    ("2026-11-01T18:30:00.Z", "not a date and time"),
    ("2026-11-01T18:30:00+0100", "not a date and time"),
    ("2026-11-01T18:30:00Z\n", "not a date and time"),
    ("٢٠٢٦-11-01T18:30:00Z", "not a date and time"),
    ("2026-13-01T18:30:00Z", "month"),
    ("2026-02-29T18:30:00Z", "day"),
    ("2026-11-01T24:00:00Z", "hour"),
    ("2026-11-01T18:60:00Z", "minute"),
    ("2026-11-01T18:30:61Z", "second 61"),
    ("2026-11-01T18:30:60Z", "second 60 exists only"),
    ("2026-11-01T23:59:60Z", "second 60 exists only"),
    ("9999-12-31T23:59:60Z", "outside the years"),
    ("0000-01-01T00:00:00Z", "year"),
    ("2026-11-01T18:30:00+24:00", "offset +24:00"),
    ("2026-11-01T18:30:00-01:60", "offset -01:60"),
])  # fmt: skip
def test_what_is_wrong_is_told(text: str, why: str) -> None:
    """A text that is no RFC 3339 time is refused, and the message names the part at fault."""
    with pytest.raises(ValueError, match=r".") as caught:
        parse_rfc3339(text)
    assert why in str(caught.value)


def test_a_time_no_calendar_reaches_is_not_written() -> None:
    """Beyond the year 9999 there is no timestamp; the message says so."""
    assert format_rfc3339(LAST_MS) == "9999-12-31T23:59:59.999Z"
    with pytest.raises(ValueError, match="outside the years 0001 to 9999"):
        format_rfc3339(10**18)
    with pytest.raises(ValueError, match="outside the years 0001 to 9999"):
        format_rfc3339(LAST_MS + 1)


@given(st.integers(FIRST_MS, LAST_MS))
def test_writing_and_reading_are_inverse(at_ms: int) -> None:
    """Every millisecond of the years 0001 to 9999 comes back as it was written."""
    assert parse_rfc3339(format_rfc3339(at_ms)) == at_ms


@given(
    st.datetimes(datetime(1, 1, 3), datetime(9999, 12, 29)),  # noqa: DTZ001  the zone comes from the next line
    st.integers(-23 * 60 - 59, 23 * 60 + 59),
)
def test_python_reads_the_same_time(local: datetime, offset_min: int) -> None:
    """Python's `datetime.fromisoformat` (3.11, an independent reader) agrees, milliseconds cut off."""
    text = local.replace(tzinfo=timezone(timedelta(minutes=offset_min))).isoformat()
    epoch = datetime(1970, 1, 1, tzinfo=UTC)
    assert parse_rfc3339(text) == (datetime.fromisoformat(text) - epoch) // timedelta(milliseconds=1)
