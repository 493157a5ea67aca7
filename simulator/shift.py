"""Moving a weekend in time: to now, or into its middle."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from simulator.chamber import Plug, Unplug
from simulator.probes import Line

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from simulator.chamber import Word
    from simulator.faults import Fault
    from simulator.weekend import Weekend


def moved(weekend: Weekend, by_ms: int) -> Weekend:
    """Return the weekend with all that happens that much later; what must be told is left out."""
    return replace(
        weekend,
        start_ms=weekend.start_ms + by_ms,
        end_ms=weekend.end_ms + by_ms,
        pieces=tuple(replace(piece, hung_ms=piece.hung_ms + by_ms) for piece in weekend.pieces),
        visits=tuple(_later(visit, by_ms) for visit in weekend.visits),
        acts=tuple(replace(act, fault=_later(act.fault, by_ms), must=(), may=()) for act in weekend.acts),
        never=(),
    )


def _later(fault: Fault, by_ms: int) -> Fault:
    return replace(fault, from_ms=fault.from_ms + by_ms, to_ms=fault.to_ms + by_ms)


def from_time(words: Iterable[Word], begin_ms: int) -> Iterator[Word]:
    """Yield the words from `begin_ms` on, first of all that a probe is unplugged if it is by then."""
    unplugged: dict[str, Unplug] = {}
    begun = False
    for word in words:
        if not begun and word.at_ms >= begin_ms:
            begun = True
            yield from unplugged.values()
        if begun:
            yield word
        elif isinstance(word, Unplug):
            unplugged[word.probe] = word._replace(at_ms=begin_ms)
        elif isinstance(word, Plug | Line):
            unplugged.pop(word.probe, None)
