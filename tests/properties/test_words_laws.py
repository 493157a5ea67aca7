"""Laws of the words: what is shown can be read back, nothing typed breaks, every message stays in shape."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chamberwatch.model import (
    Band,
    ChamberKind,
    ChamberPlan,
    Event,
    EventState,
    Hanging,
    Kind,
    Note,
    Priority,
)
from chamberwatch.words import Scene, say, times, units
from chamberwatch.words.kinds import HOUSE_KINDS

ZONES = st.sampled_from(
    [ZoneInfo(name) for name in ("UTC", "Europe/Paris", "America/New_York", "Asia/Kolkata", "Australia/Lord_Howe")]
)
MOMENTS = st.integers(min_value=1_577_836_800_000, max_value=2_208_988_800_000)  # 2020 .. 2040
MINUTE_MS, DAY_MS = 60_000, 86_400_000


@given(st.floats(min_value=2.0, max_value=99_000.0), st.sampled_from(["metric", "us"]))
def test_a_mass_that_was_shown_reads_back(mass_g, system):
    """parse(show(x)) is x to half a step of what is shown: 0.5 g, or 0.05 oz."""
    back_g = units.parse_mass_g(units.show_mass(mass_g, system))
    assert back_g == pytest.approx(mass_g, abs=0.5 if system == "metric" else 0.0501 * units.G_PER_OZ)


@given(st.floats(min_value=1.0, max_value=2_900.0), st.sampled_from(["metric", "us"]))
def test_a_length_that_was_shown_reads_back(length_mm, system):
    """parse(show(x)) is x to half a step of what is shown: 0.5 mm, or 0.005 in."""
    back_mm = units.parse_length_mm(units.show_length(length_mm, system))
    assert back_mm == pytest.approx(length_mm, abs=0.5 if system == "metric" else 0.00501 * units.MM_PER_IN)


@given(st.integers(min_value=1_000, max_value=units.DURATION_MAX_MS))
def test_a_span_that_was_said_reads_back(span_ms):
    """parse(show(x)) is x to half of the smallest part said: at most half an hour, from two days on."""
    said = units.show_span(span_ms)
    step_ms = {"s": 1_000, "min": MINUTE_MS, "h": 3_600_000, "d": 3_600_000}[said.rsplit(" ", 1)[1]]
    twice_rounded_ms = {1_000: 0, MINUTE_MS: 500}.get(step_ms, MINUTE_MS)
    assert units.parse_duration_ms(said) == pytest.approx(span_ms, abs=step_ms / 2 + twice_rounded_ms)


@given(st.text(max_size=60))
def test_anything_typed_is_a_quantity_or_a_clear_refusal(text):
    """No text makes a parser do anything but return a number or raise ValueError with how to write it."""
    for parse in (units.parse_mass_g, units.parse_length_mm, units.parse_percent, units.parse_duration_ms):
        try:
            assert parse(text) > 0
        except ValueError as refusal:
            assert "write a" in str(refusal)  # noqa: PT017  both outcomes are the promise


@given(st.text(max_size=60) | st.from_regex(r"[0-9: agotdyesrT+Z-]{0,30}", fullmatch=True), MOMENTS, ZONES)
def test_anything_typed_is_a_time_or_a_clear_refusal(text, now_ms, zone):
    """No text makes `parse_when` do anything but return a time or raise ValueError with a message."""
    try:
        assert isinstance(times.parse_when(text, now_ms, zone), int)
    except ValueError as refusal:
        assert len(str(refusal)) > 20  # noqa: PT017


@given(MOMENTS, st.integers(min_value=0, max_value=6 * DAY_MS), ZONES)
def test_a_recent_time_that_was_told_reads_back(now_ms, ago_ms, zone):
    """`01:10` and `Sat 23:52` mean the same minute again when typed, within the hour the clocks repeat."""
    at_ms = (now_ms - ago_ms) // MINUTE_MS * MINUTE_MS
    told = times.format_local(at_ms, now_ms, zone)
    back_ms = times.parse_when(told, now_ms, zone)
    assert times.format_local(back_ms, now_ms, zone) == told
    assert abs(back_ms - at_ms) <= 60 * MINUTE_MS


@given(MOMENTS, st.integers(min_value=0, max_value=2_000), ZONES)
def test_a_local_date_and_time_reads_as_that_wall_clock(at_ms, back_days, zone):
    """`2026-11-20 18:00` means the moment at which the wall clock there shows just that."""
    at_ms = (at_ms - back_days * DAY_MS) // MINUTE_MS * MINUTE_MS
    wall = times.datetime.fromtimestamp(at_ms / 1000, zone)
    assert abs(times.parse_when(f"{wall:%Y-%m-%d %H:%M}", at_ms, zone) - at_ms) <= 60 * MINUTE_MS


# -- every event the model can hold -----------------------------------------------------------------------

VALUES = st.none() | st.floats(min_value=-40.0, max_value=1e6)
NAMES = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9_.:-]{0,63}", fullmatch=True)
PIECES = st.lists(st.builds(Hanging, st.text(min_size=1, max_size=40), st.integers(1, 400)), max_size=6).map(tuple)
DETAILS = st.sampled_from(["", "felt", "fast", "temperature", "humidity", "mail: refused", "Ina"])
LEVELS = st.none() | st.floats(min_value=0.0, max_value=85.0)


@st.composite
def events(draw) -> Event:
    """Any event, sensible or not."""
    at_ms = draw(MOMENTS)
    state = draw(st.sampled_from(EventState))
    return Event(
        "id", at_ms, at_ms - draw(st.integers(0, 40 * DAY_MS)), draw(st.sampled_from(Kind)), state,
        draw(st.sampled_from(Priority)), "cellar", draw(st.lists(NAMES, max_size=4).map(tuple)),
        draw(VALUES), draw(VALUES), draw(st.none() | st.just("first-id")),
        draw(st.sampled_from(Note)), draw(VALUES), draw(st.integers(0, 3 * DAY_MS)),
        draw(DETAILS), draw(st.none() | MOMENTS),
    )  # fmt: skip


@st.composite
def scenes(draw) -> Scene:
    """Any scene."""
    band = Band(10.0, 15.0, 60.0)
    plan = ChamberPlan(draw(NAMES), draw(st.sampled_from(ChamberKind)), band, Band(70.0, 80.0, 100.0))
    return Scene(
        plan, draw(PIECES), draw(ZONES), draw(st.sampled_from(["metric", "us"])), draw(st.none() | NAMES),
        draw(LEVELS), draw(LEVELS), draw(LEVELS), draw(LEVELS), draw(st.none() | MOMENTS),
        draw(st.lists(st.text(max_size=120), max_size=3).map(tuple)), draw(st.booleans()), draw(st.text(max_size=40)),
    )  # fmt: skip


@given(events(), scenes())
def test_every_event_gets_a_message_in_shape(event, scene):
    """One headline, a body, and every piece with its day in it, unless no chamber is meant."""
    message = say(event, scene)
    assert message.headline
    assert message.body
    for piece in scene.pieces:
        assert (f"{piece.name} (day {piece.day})" in message.body) is (event.kind not in HOUSE_KINDS)
    assert message.text == f"{message.headline}\n{message.body}"


@given(events(), scenes())
def test_no_message_shows_the_inside_of_the_program(event, scene):
    """No None, nan, enum or template remnant ever reaches a reader."""
    quiet = replace(scene, refusals=(), detail="", pieces=(), other_probe=None)
    plain = replace(event, probes=("rear",))
    text = say(plain, replace(quiet, chamber=replace(quiet.chamber, name="cellar"))).text
    for inside in ("None", "nan", "Kind.", "EventState", "{", "}", "  "):
        assert inside not in text


@given(events(), scenes())
def test_practice_is_marked_as_practice(event, scene):
    """Nobody takes a rehearsal for an alarm: the first word says so."""
    assert say(event, replace(scene, rehearsal=True)).headline.startswith("REHEARSAL: ")
    assert "REHEARSAL" not in say(event, replace(scene, rehearsal=False, detail="", refusals=())).headline.replace(
        scene.chamber.name.upper(), ""
    )
