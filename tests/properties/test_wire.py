"""What holds for every byte: framing does not depend on chunks, decoding never fails, writing and reading agree."""

from __future__ import annotations

import itertools
import json
from typing import Any

from hypothesis import example, given
from hypothesis import strategies as st
from wire_items import check_item

from chamberwatch.model import Reading, Refusal
from chamberwatch.wire.framing import Line, LineFramer, Overlong
from chamberwatch.wire.senml import EARLIEST_MS, LATEST_MS, decode, encode

NOW_MS = 1_793_404_860_000
PACK = b'[{"bn":"rear/","bt":1793404800,"n":"temperature","u":"Cel","v":12.4},{"n":"humidity","u":"%RH","v":75.1}]'

STREAMS = st.lists(st.sampled_from([b"\n", b"\r\n", b"\r", b" ", b"x", b"abc", b"\xff\x00", b"y" * 9, b"z" * 300])).map(b"".join)


def cut(stream: bytes, places: list[int]) -> list[bytes]:
    """The stream in pieces, cut at these places."""
    ends = [0, *sorted(place % (len(stream) + 1) for place in places), len(stream)]
    return [stream[a:b] for a, b in itertools.pairwise(ends)]


@given(STREAMS, st.lists(st.integers(0, 10_000)), st.booleans())
def test_chunks_do_not_matter(stream: bytes, places: list[int], partial: bool) -> None:
    """However a stream is cut up, the same lines and the same losses come out of it."""
    framers = [LineFramer(max_bytes=8) for _ in range(3)]
    for framer in framers:
        if partial:
            framer.skip_partial()
    whole = framers[0].feed(stream)
    assert [item for chunk in cut(stream, places) for item in framers[1].feed(chunk)] == whole
    assert [item for byte in stream for item in framers[2].feed(bytes([byte]))] == whole


@given(STREAMS)
def test_lines_are_those_of_a_plain_split(stream: bytes) -> None:
    """Against the obvious way: split the whole stream at newlines, keep what is short and not blank."""
    parts = stream.split(b"\n")[:-1]
    wanted = [part.removesuffix(b"\r") for part in parts if len(part) <= 8 and part.strip()]
    found = LineFramer(max_bytes=8).feed(stream)
    assert [item.payload for item in found if isinstance(item, Line)] == wanted
    dropped = sum(item.dropped_bytes for item in found if isinstance(item, Overlong))
    unfinished = len(stream.rpartition(b"\n")[2])
    ended = sum(len(part) for part in parts if len(part) > 8)
    assert ended <= dropped <= ended + unfinished


def check_total(payload: bytes, probe: str | None) -> None:
    """Decode; every item is a reading or a refusal that can be stored and shown."""
    items = decode(payload, probe, NOW_MS)
    assert bool(items) == bool(payload.removeprefix(b"\xef\xbb\xbf").strip(b" \t\r\n"))
    for item in items:
        check_item(item, NOW_MS)
        assert probe is None or item.probe == probe or isinstance(item, Refusal)


@given(st.binary(max_size=200), st.sampled_from([None, "rear"]))
@example(b"[" * 60_000, None)
@example(b'[{"n":"a/temperature","u":"Cel","v":' + b"[" * 900 + b"]" * 900 + b"}]", None)
@example(b'[{"n":"a/temperature","u":"Cel","v":1e400,"t":-1e400}]', None)
def test_any_bytes_are_answered(payload: bytes, probe: str | None) -> None:
    """Never an exception; something for anything that is not blank."""
    check_total(payload, probe)


JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(st.characters(), max_size=8) | st.just(10**400),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
    max_leaves=4,
)
FIELDS: dict[str, st.SearchStrategy[Any]] = {
    "bn": st.sampled_from(["rear/", "front/", "rear", "r" * 70, "\ud800", " "]) | JSON_VALUES,
    "bt": st.sampled_from([0, -5, 1793404800, 1793404800.5, 2**28, 1e12]) | JSON_VALUES,
    "bu": st.sampled_from(["Cel", "%RH"]) | JSON_VALUES,
    "bv": st.floats(-50, 50) | JSON_VALUES,
    "bver": st.sampled_from([5, 10, 11]) | JSON_VALUES,
    "n": st.sampled_from(["temperature", "humidity", "battery", "rear/humidity"]) | JSON_VALUES,
    "u": st.sampled_from(["Cel", "K", "%RH", "%", "F"]) | JSON_VALUES,
    "v": st.floats(-300, 300) | JSON_VALUES,
    "t": st.sampled_from([0, -5, 1e9]) | JSON_VALUES,
    "vs": JSON_VALUES,
    "x_": JSON_VALUES,
}
RECORDS = st.fixed_dictionaries({}, optional=FIELDS) | JSON_VALUES


@given(st.lists(RECORDS, max_size=5), st.sampled_from([None, "rear"]))
def test_any_pack_is_answered(pack: list[Any], probe: str | None) -> None:
    """Whatever fields of whatever type: readings a probe can have made, refusals a person can read."""
    check_total(json.dumps(pack).encode(), probe)


@given(st.lists(st.tuples(st.integers(0, len(PACK) - 1), st.integers(0, 255)), min_size=1, max_size=4), st.integers(0, len(PACK)))
def test_line_noise_never_invents_a_probe_or_an_impossible_value(flips: list[tuple[int, int]], end: int) -> None:
    """A good line with some bytes changed and its end cut off is answered like any other bytes."""
    noisy = bytearray(PACK)
    for place, byte in flips:
        noisy[place] = byte
    check_total(bytes(noisy[:end]), "rear")


@given(st.integers(1, len(PACK) - 1))
def test_half_a_line_gives_no_reading(end: int) -> None:
    """Never a value from a fragment: any true beginning of a line is refused."""
    (item,) = decode(PACK[:end], "rear", NOW_MS)
    assert isinstance(item, Refusal)


HUNDREDTHS = st.integers(-4000, 8500).map(lambda n: n / 100)
PERCENTS = st.integers(0, 10_000).map(lambda n: n / 100)
PROBES = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9\-:./_]{0,40}", fullmatch=True)


@st.composite
def readings(draw: st.DrawFn) -> list[Reading]:
    """Readings as the decoder gives them: on the 0.01 grid, one for each probe and time."""
    keys = st.tuples(PROBES, st.integers(EARLIEST_MS, LATEST_MS - 1) | st.none())
    made = []
    for probe, at_ms in draw(st.lists(keys, min_size=1, max_size=6, unique=True)):
        temp_c, rh_pct = draw(st.tuples(HUNDREDTHS, PERCENTS | st.none()) | st.tuples(st.none(), PERCENTS))
        made.append(Reading(probe, NOW_MS if at_ms is None else at_ms, temp_c, rh_pct, NOW_MS, at_ms is not None))
    return made


@given(readings())
def test_writing_and_reading_are_inverse(written: list[Reading]) -> None:
    """What is written comes back: probe, millisecond, both values, timed or not."""
    assert decode(encode(written), None, NOW_MS) == written
