"""Lines out of a byte stream: whole, cut up, too long, begun in the middle."""

from __future__ import annotations

import pytest

from chamberwatch.wire.framing import Line, LineFramer, Overlong


def bytewise(framer: LineFramer, data: bytes) -> list[Line | Overlong]:
    """Feed one byte at a time."""
    return [item for i in range(len(data)) for item in framer.feed(data[i : i + 1])]


@pytest.mark.parametrize(("data", "wanted"), [
    (b"one\ntwo\n", [Line(b"one"), Line(b"two")]),
    (b"one\r\ntwo\r\n", [Line(b"one"), Line(b"two")]),
    (b"\n\r\n  \n\t\r\none\n", [Line(b"one")]),
    (b" one \n", [Line(b" one ")]),
    (b"one\rtwo\n", [Line(b"one\rtwo")]),
    (b"one\r\r\n", [Line(b"one\r")]),
    (b"\x00\xff\xfe\n", [Line(b"\x00\xff\xfe")]),
    (b"one\ntwo", [Line(b"one")]),
    (b"", []),
])  # fmt: skip
def test_lines_come_out_whole_and_in_order(data: bytes, wanted: list[Line]) -> None:
    """One line a newline, its carriage return taken off, blank ones skipped; the same byte by byte."""
    assert LineFramer().feed(data) == wanted
    assert bytewise(LineFramer(), data) == wanted


def test_no_fragment_leaves_as_a_line() -> None:
    """Half a number is not a number: nothing comes before the newline does."""
    framer = LineFramer()
    assert framer.feed(b'[{"v":12') == []
    assert framer.feed(b".4}]") == []
    assert framer.feed(b"\nne") == [Line(b'[{"v":12.4}]')]
    assert framer.feed(b"xt\n") == [Line(b"next")]


def test_the_limit_is_the_last_length_taken() -> None:
    """A line of exactly the limit passes; one byte more is dropped, counted, and reported at its newline."""
    framer = LineFramer(max_bytes=8)
    assert framer.feed(b"x" * 8 + b"\n") == [Line(b"x" * 8)]
    assert framer.feed(b"x" * 9) == []
    assert framer.feed(b"\n") == [Overlong(9)]


def test_reading_goes_on_after_the_newline_of_an_overlong_line() -> None:
    """The rest of an overlong line is no line; the next one is."""
    framer = LineFramer(max_bytes=8)
    assert framer.feed(b"x" * 20) == []
    assert framer.feed(b"tail\nnext\n") == [Overlong(24), Line(b"next")]


def test_noise_without_a_newline_is_reported_in_bounded_memory() -> None:
    """A wrong baud rate may never send a newline: each 32 limits of noise are reported, and none of it is kept."""
    framer = LineFramer(max_bytes=8)
    assert framer.feed(b"\xf8" * 255) == []
    assert framer.feed(b"\xf8") == [Overlong(256)]
    assert framer.feed(b"\xf8" * 600) == [Overlong(256), Overlong(256)]
    assert len(framer._held) == 0
    assert framer.feed(b"\nnext\n") == [Overlong(88), Line(b"next")]


def test_noise_reported_to_the_byte_leaves_nothing_to_report() -> None:
    """When the newline comes right after a report, there is no second one of zero bytes."""
    framer = LineFramer(max_bytes=8)
    assert framer.feed(b"x" * 256 + b"\nnext\n") == [Overlong(256), Line(b"next")]


@pytest.mark.parametrize("partial", [b"\n", b'25,"v":75.1}]\n', b'25,"v":75.1}]\r\n'])
def test_a_partial_first_line_is_dropped_in_silence(partial: bytes) -> None:
    """After a port is opened the first newline only tells where lines begin."""
    framer = LineFramer()
    framer.skip_partial()
    assert bytewise(framer, partial + b"next\n") == [Line(b"next")]


def test_skipping_drops_what_was_held() -> None:
    """What the port said before it was opened anew does not join what it says now."""
    framer = LineFramer()
    assert framer.feed(b"before") == []
    framer.skip_partial()
    assert framer.feed(b"rest\nnext\n") == [Line(b"next")]


def test_a_first_remainder_longer_than_a_line_is_noise() -> None:
    """The excuse of having begun in the middle ends at the length of a line."""
    framer = LineFramer(max_bytes=8)
    framer.skip_partial()
    assert framer.feed(b"x" * 8 + b"\n") == []
    framer.skip_partial()
    assert framer.feed(b"x" * 9 + b"\n") == [Overlong(9)]
    framer.skip_partial()
    assert framer.feed(b"x" * 260 + b"\n") == [Overlong(256), Overlong(4)]


def test_reset_begins_a_line() -> None:
    """After a reset neither a held fragment nor a skip remains."""
    framer = LineFramer(max_bytes=8)
    framer.feed(b"fragm")
    framer.reset()
    assert framer.feed(b"one\n") == [Line(b"one")]
    framer.skip_partial()
    framer.reset()
    assert framer.feed(b"two\n") == [Line(b"two")]
    framer.feed(b"x" * 20)
    framer.reset()
    assert framer.feed(b"three\n") == [Line(b"three")]


def test_a_limit_of_nothing_is_refused() -> None:
    """A framer that could take no line at all is a mistake of its maker."""
    with pytest.raises(ValueError, match="max_bytes 0 must be at least 1"):
        LineFramer(max_bytes=0)
