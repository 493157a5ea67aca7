"""What holds for every format: any bytes are answered, halves give no reading, a pointer comes back as written."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from wire_items import check_item

from chamberwatch.model import Reading, Refusal
from chamberwatch.wire import json_document, pointer
from chamberwatch.wire.measured import EARLIEST_MS, LATEST_MS
from chamberwatch.wire.speech import Format, Speech

NOW_MS = 1_793_404_860_000
SPEECHES = [
    Speech(),
    Speech(Format.JSON, "/t", "/air/rh"),
    Speech(Format.JSON, "/air/0", "", "/at", "F", "fraction"),
    Speech(Format.KEY_VALUE, "t", "rh"),
    Speech(Format.KEY_VALUE, "t", "rh", "at", "F", "fraction"),
    *(Speech(Format.CSV, 1, 2, separator=separator) for separator in ",;|\t "),
    Speech(Format.CSV, 2, 3, 1, "F", "fraction", ";"),
]


def check_total(speech: Speech, payload: bytes) -> None:
    """Decode; every item is a reading or a refusal that can be stored and shown."""
    for item in speech.decode(payload, "rear", NOW_MS):
        check_item(item, NOW_MS)
        assert item.probe == "rear"
        assert isinstance(item, Refusal) or EARLIEST_MS <= item.at_ms < LATEST_MS


PIECES = st.lists(
    st.sampled_from([
        b"t", b"rh", b"at", b"=", b",", b";", b"|", b"\t", b" ", b"\n", b'"', b"12.4", b"-0", b"75", b"1e999", b"nan", b"12,4",
        b"\xff", b"\x00", b"\x1b[2J", "°C".encode(), b"%", b"2026-10-31T00:00:00Z", b"1793404800", b"{", b"}", b"[", b"]", b":",
    ])
).map(b"".join)  # fmt: skip


@given(st.sampled_from(SPEECHES), st.binary(max_size=100) | PIECES)
@example(SPEECHES[1], b"[" * 60_000)
@example(SPEECHES[1], b'{"t":' + b"9" * 5000 + b"}")
@example(SPEECHES[1], b'{"t":1e400,"air":{"rh":"\\ud800"}}')
@example(SPEECHES[3], b"=" * 60_000)
@example(SPEECHES[3], b"t=" + b" " * 60_000 + b"x")
@example(SPEECHES[5], b"," * 60_000)
@example(SPEECHES[5], b'"' * 60_001)
@example(SPEECHES[5], b"1" * 70_000)
def test_any_bytes_are_answered(speech: Speech, payload: bytes) -> None:
    """Never an exception, in any format; something for anything that is not blank."""
    check_total(speech, payload)
    assert bool(speech.decode(payload, "rear", NOW_MS)) or not payload.removeprefix(b"\xef\xbb\xbf").decode().strip()


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.just(10**400),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["t", "rh", "", "a/b", "m~n"]), inner, max_size=3),
    max_leaves=6,
)


@given(st.sampled_from(SPEECHES[1:3]), st.fixed_dictionaries({"t": VALUES, "air": VALUES, "at": VALUES}) | VALUES)
def test_any_document_is_answered(speech: Speech, document: Any) -> None:
    """Values of whatever type at the planned places."""
    check_total(speech, json.dumps(document).encode())


@given(VALUES)
def test_every_leaf_is_found_where_it_is_said_to_be(document: Any) -> None:
    """The pointers that are suggested lead to the values they were suggested for."""
    for place, value in json_document.leaves(document):
        assert pointer.at(document, place) is value


@given(st.lists(st.text(max_size=5), max_size=4))
def test_a_pointer_is_read_as_it_was_written(parts: list[str]) -> None:
    """Whatever the names hold, slashes and tildes too."""
    assert pointer.parse(pointer.write(parts)) == tuple(parts)


TEMPS, RHS = st.integers(-4000, 8500).map(lambda n: n / 100), st.integers(0, 10_000).map(lambda n: n / 100)
LINES = {
    Format.JSON: (Speech(Format.JSON, "/t", "/rh", "/at"), '{{"t":{t},"rh":{rh},"at":{at}}}'),
    Format.KEY_VALUE: (Speech(Format.KEY_VALUE, "t", "rh", "at"), "at={at} t={t} rh={rh}"),
    Format.CSV: (Speech(Format.CSV, 2, 3, 1), "{at},{t},{rh}"),
}


@pytest.mark.parametrize("form", LINES)
@given(TEMPS, RHS, st.integers(EARLIEST_MS, LATEST_MS - 1))
def test_what_is_written_is_what_is_read(form: Format, temp_c: float, rh_pct: float, at_ms: int) -> None:
    """Hundredths and milliseconds come through unchanged, in every format."""
    speech, text = LINES[form]
    payload = text.format(t=temp_c, rh=rh_pct, at=at_ms).encode()
    assert speech.decode(payload, "rear", NOW_MS) == [Reading("rear", at_ms, temp_c, rh_pct, NOW_MS)]


@given(TEMPS, RHS)
def test_other_units_mean_the_same_air(temp_c: float, rh_pct: float) -> None:
    """°F and fractions, written with enough digits, give the same reading as °C and %RH."""
    speech = Speech(Format.KEY_VALUE, "t", "rh", temperature_unit="F", humidity_unit="fraction")
    payload = f"t={temp_c * 1.8 + 32:.6f} rh={rh_pct / 100:.6f}".encode()
    (reading,) = speech.decode(payload, "rear", NOW_MS)
    assert isinstance(reading, Reading)
    assert (reading.temp_c, reading.rh_pct) == (temp_c, rh_pct)
