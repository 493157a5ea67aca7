"""What each format makes of good, half good and bad lines, and what is told of them."""

from __future__ import annotations

import pytest

from chamberwatch.model import Reading, Reason
from chamberwatch.wire import csv_columns, key_value
from chamberwatch.wire.measured import ABSENT
from chamberwatch.wire.speech import Format, Speech, place_fault

NOW_MS = 1_793_404_860_000
AT_MS = 1_793_404_800_000
JSON = Speech(Format.JSON, "/air/t", "/air/rh", "/at")
PAIRS = Speech(Format.KEY_VALUE, "t", "rh")
CELLS = Speech(Format.CSV, 2, 3)


def read(speech, text):
    """Return what a line gives, each as (°C, %RH, time or None) or (reason, detail)."""
    payload = text if isinstance(text, bytes) else text.encode()
    items = speech.decode(payload, "rear", NOW_MS)
    return [
        (item.temp_c, item.rh_pct, item.at_ms if item.timed else None) if isinstance(item, Reading) else (item.reason, item.detail)
        for item in items
    ]


@pytest.mark.parametrize(("speech", "text", "wanted"), [
    (JSON, '{"air":{"t":12.4,"rh":75.1},"at":1793404800}', (12.4, 75.1, AT_MS)),
    (JSON, '{"air":{"t":"12.4","rh":"75.1 %"},"at":"2026-10-31T00:00:00Z"}', (12.4, 75.1, AT_MS)),
    (JSON, '\ufeff{"at":1793404800500, "air":{"rh":75.123}}', (None, 75.12, AT_MS + 500)),
    (Speech(Format.JSON, "/1", "/0"), "[75.1, 12]", (12.0, 75.1, None)),
    (Speech(Format.JSON, ""), "12.4", (12.4, None, None)),
    (PAIRS, "t=12.4 rh=75.1", (12.4, 75.1, None)),
    (PAIRS, "rear: battery=3.1; t = 12.4 °C, rh = 75.1%", (12.4, 75.1, None)),
    (PAIRS, "t=12.4&rh=75.1&t=12.5", (12.5, 75.1, None)),
    (PAIRS, 'rh="75.1"', (None, 75.1, None)),
    (Speech(Format.KEY_VALUE, "t", time="at"), "at=2026-10-31 01:00:00+01:00 t=-.5", (-0.5, None, AT_MS)),
    (CELLS, "x,12.4,75.1", (12.4, 75.1, None)),
    (CELLS, '"a,b", "12.4" ,75.1,,', (12.4, 75.1, None)),
    (Speech(Format.CSV, 1, 2, separator=";"), "12,4;75,1", (12.4, 75.1, None)),
    (Speech(Format.CSV, 1, 2, separator=" "), "  12.4   75.1\t", (12.4, 75.1, None)),
    (Speech(Format.CSV, 2, 3, separator="\t"), "\t12.4\t75.1", (12.4, 75.1, None)),
    (Speech(Format.CSV, 1, 2, temperature_unit="F", humidity_unit="fraction"), "54.32,0.751", (12.4, 75.1, None)),
])  # fmt: skip
def test_a_good_line(speech, text, wanted):
    """One reading, of what the places name; whole numbers, text and unit signs are read as what they are."""
    assert read(speech, text) == [wanted]


@pytest.mark.parametrize("speech", [JSON, PAIRS, CELLS, Speech(Format.CSV, 1, separator="\t")])
@pytest.mark.parametrize("blank", [b"", b" \r\n", b"\xef\xbb\xbf"])
def test_a_blank_line_is_nothing(speech, blank):
    """Neither a reading nor a fault."""
    assert speech.decode(blank, "rear", NOW_MS) == []


@pytest.mark.parametrize(("speech", "text", "reason", "detail"), [
    (JSON, "T=12.4", Reason.NOT_JSON, "wrong at character 1 of 6: T=12.4"),
    (JSON, '{"air":{"t":12.4', Reason.NOT_JSON, "it ends too early"),
    (JSON, '{"air":{"temp":12.4},"at":1793404800}', Reason.NO_QUANTITY, 'no "/air/t" and no "/air/rh"; it has "/air/temp", "/at"'),
    (JSON, "{}", Reason.NO_QUANTITY, "it has nothing to read"),
    (JSON, '{"air":{"t":{}},"at":1793404800}', Reason.NOT_A_NUMBER, "temperature is an object"),
    (JSON, '{"air":{"t":true},"at":1793404800}', Reason.NOT_A_NUMBER, "temperature is true"),
    (JSON, '{"air":{"t":NaN},"at":1793404800}', Reason.NOT_A_NUMBER, "temperature is NaN"),
    (JSON, '{"air":{"t":12.4}}', Reason.BAD_TIME, "the settings say where it stands"),
    (JSON, '{"air":{"t":12.4},"at":0}', Reason.BAD_TIME, "between 1978-07-04 and 2200"),
    (JSON, '{"air":{"t":12.4},"at":true}', Reason.BAD_TIME, "true is no time"),
    (JSON, '{"air":{"t":12.4},"at":"2026-10-31T00:00:00"}', Reason.BAD_TIME, "offset from UTC is missing"),
    (JSON, '{"air":{"t":12.4},"at":"1970-01-01T00:00:00Z"}', Reason.BAD_TIME, "within 1978-07-04 and 2200"),
    (PAIRS, "t=", Reason.NO_VALUE, "temperature is empty"),
    (PAIRS, "t=12,4", Reason.NOT_A_NUMBER, "decimals take a point, not a comma"),
    (PAIRS, "t=nan", Reason.NOT_A_NUMBER, 'temperature is "nan"'),
    (PAIRS, "t=12.4F", Reason.WRONG_UNIT, 'temperature is "12.4F", planned is C'),
    (PAIRS, "rh=12.4C", Reason.WRONG_UNIT, "planned is %RH"),
    (PAIRS, "t=999", Reason.OUT_OF_RANGE, "999 C; a probe measures -40 to 85 °C"),
    (PAIRS, "T=12.4", Reason.NO_QUANTITY, 'no "t" and no "rh"; it has "T"'),
    (PAIRS, "12.4 75.1", Reason.NO_QUANTITY, "it has nothing to read"),
    (CELLS, "x,12.4", Reason.NO_VALUE, "there is no column 3: the line has 2 columns"),
    (CELLS, "x,12.4,75.1\ny,12.5,75.2", Reason.NO_QUANTITY, "one message is one line; this has 2"),
    (CELLS, b"\xff", Reason.NOT_TEXT, "byte 0xff at position 1 of 1"),
    (CELLS, b"1" * 70_000, Reason.TOO_LONG, "at most 65536"),
    (Speech(Format.CSV, 1, humidity_unit="fraction", humidity=2), "999,75", Reason.OUT_OF_RANGE, "999 C"),
])  # fmt: skip
def test_a_bad_line(speech, text, reason, detail):
    """Refused with a reason and what of it was wrong; no reading of it."""
    (told, said), *_ = read(speech, text)
    assert told is reason
    assert detail in said


def test_a_faulty_quantity_is_refused_alone():
    """Its neighbour stands."""
    assert read(CELLS, "x,999,75.1") == [
        (None, 75.1, None), (Reason.OUT_OF_RANGE, "999 C; a probe measures -40 to 85 °C"),
    ]  # fmt: skip


def test_a_percentage_planned_as_a_fraction_is_refused():
    """A wrong unit in the settings shows up at the first line."""
    speech = Speech(Format.KEY_VALUE, humidity="rh", humidity_unit="fraction")
    assert read(speech, "rh=75.1") == [(Reason.OUT_OF_RANGE, "75.1 as a fraction; a probe measures 0 to 100 %RH")]


def test_only_senml_may_come_from_anyone():
    """In a replay file a line must name its probe; the other formats cannot."""
    (refusal,) = PAIRS.decode(b"t=12.4", None, NOW_MS)
    assert refusal.reason is Reason.NO_PROBE
    line = b'[{"bn":"rear/","n":"temperature","u":"Cel","v":12.4}]'
    assert Speech().decode(line, None, NOW_MS) == [Reading("rear", NOW_MS, 12.4, None, NOW_MS, timed=False)]


@pytest.mark.parametrize(("text", "pairs"), [
    ("a=1", {"a": "1"}), ("  a = 1 ,; b=2;", {"a": "1", "b": "2"}), ("=5", {}), ("a=,=5", {"a": ""}), ("a", {}), ("a=b=c", {"a": "", "b": "c"}),
])  # fmt: skip
def test_pairs_and_what_parts_them(text, pairs):
    """A value reaches up to the next key; what has no key is left out."""
    assert key_value.parse(text.encode()) == pairs


def test_an_unclosed_quote_swallows_the_rest_and_not_the_line():
    """The cells behind it are missing, so the line is refused for its number of columns."""
    assert csv_columns.parse(b'"12.4,75.1') == ["12.4,75.1"]
    assert csv_columns.parse(b"\r\n") is ABSENT


@pytest.mark.parametrize(("form", "place", "fault"), [
    (Format.JSON, "/t", ""), (Format.JSON, "t", "must begin with /"), (Format.JSON, 1, "takes a JSON pointer"),
    (Format.JSON, "/" + "x" * 200, "takes a JSON pointer"), (Format.KEY_VALUE, "t", ""), (Format.KEY_VALUE, "a b", "takes a key's name"),
    (Format.KEY_VALUE, "", "takes a key's name"), (Format.CSV, 1, ""), (Format.CSV, 0, "1 to 1000"), (Format.CSV, True, "1 to 1000"),
    (Format.CSV, "1", "1 to 1000"), (Format.SENML, "t", "names its own quantities"),
])  # fmt: skip
def test_a_place_must_be_one_of_its_format(form, place, fault):
    """And says what one is."""
    told = place_fault(form, place)
    assert fault in told
    assert bool(told) == bool(fault)


@pytest.mark.parametrize(("fields", "why"), [
    ({"format": Format.JSON}, "where do temperature and humidity stand"), ({"format": Format.JSON, "time": "/at"}, "where do"),
    ({"format": Format.CSV, "temperature": "t"}, "'t': format csv takes"), ({"temperature": "/t"}, "names its own quantities"),
    ({"temperature_unit": "K"}, "unit 'K'"), ({"humidity_unit": "%"}, "or '%' is not known"), ({"separator": "x"}, "separator 'x'"),
])  # fmt: skip
def test_a_speech_that_cannot_be_is_refused(fields, why):
    """At its making, not at the first line."""
    with pytest.raises(ValueError, match=why):
        Speech(**fields)
