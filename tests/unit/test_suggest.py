"""What format a probe speaks, guessed from its lines: right for what newcomers bring, silent where it would be wrong."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chamberwatch.model import Reading
from chamberwatch.wire.speech import Format, Speech
from chamberwatch.wire.suggest import Heard, contents, oddities, suggest

NOW_MS = 1_793_404_860_000
NEAR, FAR = "2026-10-31T00:00:58Z", "2020-01-01T00:00:00Z"


def guess(*lines):
    """Return the suggestion for these lines, which arrive now."""
    return suggest([Heard(text.encode(), NOW_MS) for text in lines], "rear")


@pytest.mark.parametrize(("text", "speech"), [
    ('{"t":12.4,"rh":75.1}', Speech(Format.JSON, "/t", "/rh")),
    ('{"air":{"temperature":{"value":12.4},"humidity":{"value":"75 %"}},"dew_temp":8.1}',
     Speech(Format.JSON, "/air/temperature/value", "/air/humidity/value")),
    ('[{"cpuTemp":48.2,"tempC":12.4}]', Speech(Format.JSON, "/0/tempC")),
    ('{"temp_f":54.3,"hum":0.75}', Speech(Format.JSON, "/temp_f", "/hum", None, "F", "fraction")),
    ('{"temperature":54.3,"a/b":{"RH":75}}', Speech(Format.JSON, "/temperature", "/a~1b/RH", None, "F")),
    ('{"when":"' + NEAR + '","T":12.4}', Speech(Format.JSON, "/T", None, "/when")),
    ('{"ms":1793404859000,"T":12.4,"H":75}', Speech(Format.JSON, "/T", "/H", "/ms")),
    ("t=12.4 rh=75.1 bat=3.1", Speech(Format.KEY_VALUE, "t", "rh")),
    ("Temp=54.3F; Hum=75%", Speech(Format.KEY_VALUE, "Temp", "Hum", None, "F")),
    ("rear humidity=75.1", Speech(Format.KEY_VALUE, None, "humidity")),
    ("12.4,75.1", Speech(Format.CSV, 1, 2)),
    ("3,75.1,12.4", Speech(Format.CSV, 3, 2)),
    (f"{NEAR};12,4;75,1", Speech(Format.CSV, 2, 3, 1, separator=";")),
    ("12.4\t75.1\t3.1", Speech(Format.CSV, 1, 2, separator="\t")),
    ("22.5|60.1", Speech(Format.CSV, 1, 2, separator="|")),
    ("54.3,75.1", Speech(Format.CSV, 1, 2, temperature_unit="F")),
    ("T: 12.4 C H: 75.1 %", Speech(Format.CSV, 2, 5, separator=" ")),
    ('[{"n":"temperature","u":"Cel","v":12.4}]', Speech()),
])  # fmt: skip
def test_a_line_suggests_how_it_is_read(text, speech):
    """One line is enough, and the suggestion reads it."""
    found = guess(text)
    assert (found.speech, found.read) == (speech, 1)
    (reading,) = found.speech.decode(text.encode(), "rear", NOW_MS)
    assert 12 <= (reading.temp_c or 12.4) <= 23
    assert 60 <= (reading.rh_pct or 75.1) <= 76


@pytest.mark.parametrize("text", [
    "hello", "", "12.4", "[]", "{}", '{"a":12.4,"b":75.1}', "a=12.4 b=75.1", '{"cpu_temp":48.2}', '{"temp":null}', '{"temp":true}', '{"temp":1e9}',
    '[{"n":"temperature","u":"F","v":54.3}]', '[{"bn":"front/","n":"temperature","u":"Cel","v":12.4}]', "1,2,3", "\x00\x01", "T:12.4",
])  # fmt: skip
def test_what_cannot_be_told_is_not_guessed(text):
    """No suggestion for noise, for nameless values, for SenML with a fault of its own."""
    assert guess(text) is None


def test_the_way_that_reads_most_lines_wins():
    """A heading, half a line and a stray word do not hide what the rest is; how many it reads is counted."""
    found = guess("time,temp,rh", "17,12.4,75.1", "12.4,7", "18,12.5,75.2", "boot", "19,12.4,75.1", "20,12.5,75.3")
    assert (found.speech, found.read) == (Speech(Format.CSV, 2, 3), 4)


def test_what_is_a_guess_is_said():
    """Columns, units and a clock that is far off; a name or a sign leaves no doubt."""
    assert guess('{"temp":12.4,"rh":75.1}').doubts == ()
    assert guess("Temp=54.3F rh=75.1").doubts == ()
    assert guess("12.4,75.1").doubts == ("which column is which is a guess from the size of the numbers: compare",)
    assert guess('{"temp":54.3,"rh":0.7}').doubts == (
        "°F is a guess from the size of the numbers", "a fraction is a guess from the size of the numbers",
    )  # fmt: skip
    found = guess(f'{{"temp":12.4,"at":"{FAR}"}}')
    assert found.speech.time is None
    assert found.doubts == (f'its own time ("{FAR}") is over 5 min off this machine\'s clock: left out',)


def test_contents_are_shown_for_a_person_to_choose():
    """What names say nothing, the person may know; columns and noise have no names."""
    assert contents(b'{"a":{"x~":12.4},"b":[75.1,"on"]}') == (
        Format.JSON, [("/a/x~0", "12.4"), ("/b/0", "75.1"), ("/b/1", '"on"')],
    )  # fmt: skip
    assert contents(b"a=12.4 b=75.1") == (Format.KEY_VALUE, [("a", '"12.4"'), ("b", '"75.1"')])
    assert contents(b"12.4,75.1") is None
    assert contents(b"12.4") is None
    assert contents(b"\xff") is None


def read(temp_c, rh_pct):
    """Return a reading of now."""
    return Reading("rear", NOW_MS, temp_c, rh_pct, NOW_MS)


def test_a_unit_that_must_be_wrong_is_pointed_out():
    """54 °C and 0.7 %RH are read, and are no air near meat; what SenML says is believed."""
    plain = Speech(Format.KEY_VALUE, "t", "rh")
    assert len(list(oddities(plain, [read(54.3, 0.75), read(53.9, 0.7)]))) == 2
    assert list(oddities(plain, [read(12.4, 75.1), read(54.3, 0.75)])) == []
    assert list(oddities(plain, [])) == []
    assert list(oddities(Speech(), [read(54.3, 0.75)])) == []
    assert list(oddities(Speech(Format.KEY_VALUE, "t", "rh", None, "F", "fraction"), [read(54.3, 0.75)])) == []


PIECES = st.lists(st.sampled_from(["t", "rh", "=", ",", ";", "\t", " ", "12.4", "75.1", "{", "}", '"', ":", "[", "]", "\xff", "0.5", NEAR])).map("".join)


@given(st.lists(PIECES | st.text(max_size=20), max_size=5))
def test_whatever_was_heard_a_suggestion_reads_what_it_says(lines):
    """Never an exception; and never a promise that is not kept."""
    heard = [Heard(text.encode("utf-8", "replace"), NOW_MS) for text in lines]
    found = suggest(heard, "rear")
    if found is not None:
        answers = [found.speech.decode(one.payload, "rear", NOW_MS) for one in heard]
        assert found.read == sum(any(isinstance(i, Reading) for i in items) and len(items) == 1 for items in answers) > 0
    for one in heard:
        contents(one.payload)
