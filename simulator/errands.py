"""What the owner does by hand during a weekend, as commands of the monitor."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.wire.timestamp import format_rfc3339
from simulator.table import day_and_time

if TYPE_CHECKING:
    from collections.abc import Iterator

    from simulator.weekend import Piece, Weekend, WeighIn


class Errand(NamedTuple):
    """One command, when it is entered, and in words what it is."""

    told_ms: int
    command: tuple[str, ...]
    words: str


class Errands:
    """The owner's entries in the order of telling; each is handed out once."""

    def __init__(self, weekend: Weekend) -> None:
        hangs = [_hang(piece, weekend.chamber) for piece in weekend.pieces]
        self._waiting = sorted([*hangs, *map(_weigh, weekend.weigh_ins)], key=lambda errand: errand.told_ms)

    def due(self, at_ms: int) -> Iterator[Errand]:
        """Yield what is told at or before `at_ms`."""
        while self._waiting and self._waiting[0].told_ms <= at_ms:
            yield self._waiting.pop(0)


def _hang(piece: Piece, chamber: str) -> Errand:
    facts = [word for key, value in piece.facts.items() for word in (f"--{key}", value)]
    at = format_rfc3339(piece.hung_ms)
    command = ("hang", piece.name, "--chamber", chamber, *facts, "--at", at)
    return Errand(piece.told_ms, command, f"{piece.name} hangs since {at[:10]} {day_and_time(piece.hung_ms)}")


def _weigh(weighed: WeighIn) -> Errand:
    command = ("weigh", weighed.piece, weighed.weight, "--at", format_rfc3339(weighed.at_ms))
    words = f"{weighed.piece} weighed {weighed.weight} on {day_and_time(weighed.at_ms)}"
    return Errand(weighed.told_ms, command, words)
