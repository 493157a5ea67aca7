"""A weekend as a file of SenML lines, for the monitor's `replay`."""

from __future__ import annotations

from typing import TYPE_CHECKING, BinaryIO

from simulator.probes import Line

if TYPE_CHECKING:
    from collections.abc import Iterable

    from simulator.chamber import Word


def write(words: Iterable[Word], out: BinaryIO) -> int:
    """Write every line, noise included, each ended; return how many. An unplugged probe leaves a gap."""
    lines = 0
    for word in words:
        if isinstance(word, Line):
            out.write(word.data if word.data.endswith(b"\n") else word.data + b"\n")
            lines += 1
    return lines
