"""Line protocol against its published syntax and against a client library."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from influxdb_client.client.write.point import Point
from influxdb_client.domain.write_precision import WritePrecision

from chamberwatch.series.lines import clean_tag, escape, line

# Source: InfluxDB v2.1 documentation, reference, syntax, line protocol (read in a stored copy): in a tag key, a
# tag value and a field key, comma, equals sign and space are escaped with a backslash, and nothing else is.
ESCAPED = [
    ("a,b", r"a\,b"),
    ("a=b", r"a\=b"),
    ("a b", r"a\ b"),
    ('a"b', 'a"b'),
    (r"a\b", r"a\b"),
    ("½ °C", r"½\ °C"),
    ("#a", "#a"),
]


@pytest.mark.parametrize(("plain", "escaped"), ESCAPED)
def test_the_published_escapes_and_no_others(plain, escaped):
    """Comma, equals sign and space get a backslash; quotes, backslashes and other letters do not."""
    assert escape(plain) == escaped


# Computed with influxdb-client 1.50.0: the tag value "a=b,c d" becomes a\=b\,c\ d.
def test_a_tag_value_as_the_library_writes_it():
    """All three escapes in one value."""
    assert line("air", {"probe": "a=b,c d"}, {"temp_c": 12.5}, 0) == r"air,probe=a\=b\,c\ d temp_c=12.5 0"


@pytest.mark.parametrize(
    ("tags", "fields"),
    [
        ({"probe": ""}, {"temp_c": 12.5}),
        ({"probe": "rear"}, {"temp_c": 12.5, "rh_pct": float("nan")}),
        ({}, {"temp_c": 12.5}),
    ],
)
def test_what_is_empty_or_not_finite_is_left_out_as_the_library_does(tags, fields):
    """An empty tag value is not allowed (published); a field that is not finite is dropped (the library)."""
    assert line("air", tags, fields, 17) == library_line("air", tags, fields, 17)


def test_a_point_without_a_field_is_no_line_where_the_library_makes_an_empty_one():
    """A field set is required (published); the library answers with an empty text, which would be sent."""
    assert line("air", {"probe": "rear"}, {"temp_c": float("nan")}, 17) is None
    assert library_line("air", {"probe": "rear"}, {"temp_c": float("nan")}, 17) == ""


def test_a_backslash_at_the_end_goes_where_the_library_adds_a_space():
    """Published: a backslash before the comma or space that ends a value would escape it. Both change the value."""
    assert line("air", {"probe": "rear\\"}, {"temp_c": 12.5}, 17) == "air,probe=rear temp_c=12.5 17"
    assert library_line("air", {"probe": "rear\\"}, {"temp_c": 12.5}, 17) == "air,probe=rear\\  temp_c=12.5 17"


@given(
    tags=st.dictionaries(st.sampled_from(["chamber", "id", "piece", "probe"]), st.text().map(clean_tag)),
    fields=st.dictionaries(
        st.sampled_from(["temp_c", "rh_pct", "value"]), st.floats(allow_nan=False, allow_infinity=False), min_size=1
    ),
    at_ms=st.integers(0, 4_000_000_000_000),
)
def test_every_line_is_the_librarys_line(tags, fields, at_ms):
    """For any clean names and finite numbers, text for text what influxdb-client writes."""
    assert line("event", tags, fields, at_ms) == library_line("event", tags, fields, at_ms)


def library_line(measurement, tags, fields, at_ms):
    """Return the line the library makes of the same point."""
    point = Point(measurement).time(at_ms, WritePrecision.MS)
    for key, value in tags.items():
        point.tag(key, value)
    for key, value in fields.items():
        point.field(key, float(value))
    return point.to_line_protocol()
