"""Readings and events as line protocol: what a line says, what is left out, what is cleaned."""

from __future__ import annotations

import math
import re
from typing import NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chamberwatch.journal.tail import Row
from chamberwatch.psychrometrics import dew_point_c
from chamberwatch.series.lines import air_lines, clean_tag, event_lines, line

AT_MS = 1_793_404_800_000


class EventRow(NamedTuple):
    """Of an event only what becomes part of a line."""

    id: str
    at_ms: int
    since_ms: int
    kind: str
    state: str
    priority: str
    chamber: str
    value: float | None = None
    limit: float | None = None
    pieces: tuple[str, ...] = ()


EVENT = EventRow("4f1c", AT_MS, AT_MS - 5_400_000, "humidity-low", "active", "medium", "cellar", 58.0, 70.0)


def test_a_reading_is_one_line_of_three_numbers():
    """Temperature, humidity and the dew point they make, under chamber and probe, at a time in ms."""
    (text,) = air_lines([Row(AT_MS, "rear", "cellar", 12.0, 75.25)])
    dew_c = round(dew_point_c(12.0, 75.25), 2)
    assert text == f"air,chamber=cellar,probe=rear dew_point_c={dew_c},rh_pct=75.25,temp_c=12 {AT_MS}"


@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "fields"),
    [
        (12.5, None, "temp_c=12.5"),
        (None, 75.0, "rh_pct=75"),
        (12.5, 0.0, "rh_pct=0,temp_c=12.5"),
        (12.5, math.nan, "temp_c=12.5"),
        (math.inf, 75.0, "rh_pct=75"),
    ],
)
def test_half_a_reading_is_half_a_line(temp_c, rh_pct, fields):
    """What is missing, not a number, or has no dew point is left out; the rest stays."""
    assert air_lines([Row(AT_MS, "rear", "cellar", temp_c, rh_pct)]) == [
        f"air,chamber=cellar,probe=rear {fields} {AT_MS}"
    ]


@pytest.mark.parametrize("nothing", [None, math.nan, math.inf, -math.inf])
def test_a_reading_without_a_number_is_no_line(nothing):
    """Never an empty line, which a server could take for the end or refuse."""
    assert air_lines([Row(AT_MS, "rear", "cellar", nothing, nothing)]) == []


def test_an_event_is_one_line_for_each_piece():
    """Each piece's line says the same and can be found by the piece."""
    lines = event_lines([EVENT._replace(pieces=("Loin 1", "Neck"))])
    tail = f"priority=medium,state=active limit=70,open=1,since_s=5400,value=58 {AT_MS}"
    assert lines == [
        rf"event,chamber=cellar,id=4f1c,kind=humidity-low,piece=Loin\ 1,{tail}",
        f"event,chamber=cellar,id=4f1c,kind=humidity-low,piece=Neck,{tail}",
    ]


def test_an_event_over_an_empty_chamber_is_one_line_without_a_piece():
    """No empty tag: the protocol has none."""
    (text,) = event_lines([EVENT])
    assert "piece" not in text


@pytest.mark.parametrize(("state", "says"), [("active", "open=1,"), ("returned", "open=0,"), ("noted", None)])
def test_open_is_1_from_active_to_returned(state, says):
    """A plot of `open` shows when something was wrong; a note between does not disturb it."""
    (text,) = event_lines([EVENT._replace(state=state)])
    assert (says in text) if says else ("open" not in text)


def test_an_event_without_value_and_limit_is_still_a_line():
    """A lost broker has neither; how long it lasted is always there."""
    (text,) = event_lines([EVENT._replace(value=None, limit=None, state="noted")])
    assert text.endswith(f" since_s=5400 {AT_MS}")


@pytest.mark.parametrize(
    ("name", "cleaned"),
    [
        ("line\nbreak", "line break"),
        ("tab\tand\r\nmore", "tab and more"),
        ("ends in \\", "ends in"),
        ("ends in \\ \\\\ ", "ends in"),
        ("a\\b", "a\\b"),
        ("  spaces  ", "spaces"),
        ("\u2028", ""),
        ("\\", ""),
    ],
)
def test_what_the_protocol_cannot_carry_is_cleaned(name, cleaned):
    """A line break becomes a space, a backslash at the end goes; the rest of a name is left alone."""
    assert clean_tag(name) == cleaned


@given(st.text())
def test_cleaning_twice_changes_nothing_more(name):
    """What is clean stays as it is."""
    assert clean_tag(clean_tag(name)) == clean_tag(name)


@given(
    tags=st.dictionaries(st.sampled_from(["chamber", "piece", "probe"]), st.text()),
    fields=st.dictionaries(st.sampled_from(["a", "b"]), st.none() | st.floats()),
    at_ms=st.integers(0, 4_000_000_000_000),
)
def test_any_input_makes_one_whole_line_or_none(tags, fields, at_ms):
    """Whatever is in a name, a line has no break in it, three parts, no empty tag and only finite numbers."""
    text = line("air", tags, fields, at_ms)
    finite = [v for v in fields.values() if v is not None and math.isfinite(v)]
    if text is None:
        assert not finite
        return
    assert len(text.splitlines()) == 1
    head, numbers, stamp = re.split(r"(?<!\\) ", text)
    assert stamp == str(at_ms)
    assert [float(pair.partition("=")[2]) for pair in numbers.split(",")] == [
        fields[key] for key in sorted(fields) if fields[key] is not None and math.isfinite(fields[key])
    ]
    assert all(re.fullmatch(r"\w+=.+", tag, re.DOTALL) for tag in re.split(r"(?<!\\),", head)[1:])
