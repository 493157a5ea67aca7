"""Cuts a byte stream into lines, in bounded memory, the same however the stream is chopped.

Rules for this file: no fragment ever leaves as a line (only a newline ends one); what is dropped is
counted and reported; every outcome depends on the bytes alone, never on how they were cut into chunks.

Resync: a line longer than the limit is dropped up to the next newline, where reading starts afresh.
It is reported once, at that newline. Noise that never ends is reported each 32 limits of it, so that a
wrong baud rate shows up instead of being swallowed in silence.
"""

from __future__ import annotations

from typing import NamedTuple

_ENDLESS_LIMITS = 32


class Line(NamedTuple):
    """One whole line, without its newline and without one carriage return before that."""

    payload: bytes


class Overlong(NamedTuple):
    """Bytes dropped because no newline came within the limit."""

    dropped_bytes: int


class LineFramer:
    """Splits what it is fed at newlines; keeps at most `max_bytes` between two calls.

    Args:
        max_bytes: longest line taken, its newline not counted [bytes], at least 1.

    Raises:
        ValueError: `max_bytes` below 1.
    """

    def __init__(self, max_bytes: int = 2048) -> None:
        if max_bytes < 1:
            raise ValueError(f"max_bytes {max_bytes} must be at least 1")
        self._max_bytes = max_bytes
        self._held = bytearray()
        self._dropping = False
        self._partial = False
        self._dropped = 0

    def reset(self) -> None:
        """Forget what is held: the next byte begins a line."""
        self._held.clear()
        self._dropping = self._partial = False
        self._dropped = 0

    def skip_partial(self) -> None:
        """Drop everything up to the next newline: a port just opened begins in the middle of a line.

        That remainder is nobody's fault and not reported, unless it is longer than a line may be.
        """
        self.reset()
        self._dropping = self._partial = True

    def feed(self, data: bytes) -> list[Line | Overlong]:
        """Take the stream's next bytes; return what they complete, in order. Blank lines are skipped."""
        found: list[Line | Overlong] = []
        *ends, rest = data.split(b"\n")
        for part in ends:
            self._take(part, found)
            self._end_line(found)
        self._take(rest, found)
        return found

    def _take(self, part: bytes, found: list[Line | Overlong]) -> None:
        if not self._dropping and len(self._held) + len(part) > self._max_bytes:
            self._dropping, self._dropped = True, len(self._held)
            self._held.clear()
        if not self._dropping:
            self._held += part
            return
        self._dropped += len(part)
        endless = self._max_bytes * _ENDLESS_LIMITS
        while self._dropped >= endless:
            found.append(Overlong(endless))
            self._dropped -= endless
            self._partial = False

    def _end_line(self, found: list[Line | Overlong]) -> None:
        if self._dropping:
            excused = self._partial and self._dropped <= self._max_bytes
            if self._dropped and not excused:
                found.append(Overlong(self._dropped))
        else:
            payload = bytes(self._held).removesuffix(b"\r")
            if payload.strip():
                found.append(Line(payload))
        self.reset()
