"""What a network does to lines between probe and monitor: held up, out of order, delivered twice.

A line's bytes keep the time they were measured at; `at_ms` becomes the time they arrive.
"""

from __future__ import annotations

import heapq
import random
from collections.abc import Iterable, Iterator

from simulator.chamber import Word
from simulator.faults import Fault, Trouble, probe_faults
from simulator.probes import Line


def delivered(words: Iterable[Word], faults: Iterable[Fault], seed: int) -> Iterator[Word]:
    """Yield the words in the order in which they arrive.

    Held up: all lines of that time come at its end, oldest first. Out of order: each line is late by up to
    `amount` seconds. Twice: a share of the lines comes again a little later.
    """
    rng = random.Random(f"delivery {seed}")
    own: dict[str, list[Fault]] = {}
    for fault in faults:
        if fault.probe is not None and fault.what in (Trouble.HELD_UP, Trouble.OUT_OF_ORDER, Trouble.TWICE):
            own.setdefault(fault.probe, []).append(fault)
    waiting: list[tuple[int, int, Word]] = []
    for number, word in enumerate(words):
        while waiting and waiting[0][0] <= word.at_ms:
            yield heapq.heappop(waiting)[2]
        if not isinstance(word, Line) or word.probe not in own:
            yield word
            continue
        for again, at_ms in enumerate(_arrivals(word, own[word.probe], rng)):
            heapq.heappush(waiting, (at_ms, 2 * number + again, word._replace(at_ms=at_ms)))
    while waiting:
        yield heapq.heappop(waiting)[2]


def _arrivals(line: Line, faults: list[Fault], rng: random.Random) -> Iterator[int]:
    at_ms = line.at_ms
    now = probe_faults(faults, line.probe, at_ms)
    if Trouble.HELD_UP in now:
        at_ms = max(at_ms, now[Trouble.HELD_UP].to_ms)
    if Trouble.OUT_OF_ORDER in now:
        at_ms += round(1000 * now[Trouble.OUT_OF_ORDER].amount * rng.random())
    yield at_ms
    if Trouble.TWICE in now and rng.random() < now[Trouble.TWICE].how_far:
        yield at_ms + 1500
