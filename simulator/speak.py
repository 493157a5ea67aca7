"""Speaking a weekend: to pseudo-terminals in lock-step, or to a broker, at any pace."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol, Self

from simulator.chamber import Plug, Unplug, Word
from simulator.probes import Line
from simulator.terminal import Terminal

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from pathlib import Path

    from simulator.pace import Pace

READER_S = 30.0
"""How long the monitor may take to find a port again; its own patience grows to about 10 s."""


class Mouth(Protocol):
    """Where words go."""

    def say(self, words: Sequence[Word]) -> None:
        """Say some words, once the listener has the ones before."""

    def finish(self) -> None:
        """Return when the listener has everything."""


class Ports:
    """A pseudo-terminal for each probe. Words go out in slices; each waits until every reader has the last.

    So no probe runs ahead of another by more than two slices (one that a reader holds in its hand, one that
    lies in its terminal), however fast the whole goes. While the readers read, the next slice is made.
    """

    def __init__(
        self, links: dict[str, Path], *, patient: bool = True, alive: Callable[[], bool] = lambda: True
    ) -> None:
        self._terminals = {probe: Terminal(link) for probe, link in links.items()}
        self._patient = patient
        self._alive = alive
        self._spoken: list[Terminal] = []
        self.lost = 0
        """Lines said to nobody."""

    def __enter__(self) -> Self:
        for terminal in self._terminals.values():
            terminal.plug()
        return self

    def __exit__(self, *exc: object) -> None:
        for terminal in self._terminals.values():
            if terminal.plugged:
                terminal.unplug()

    def wait_for_reader(self) -> None:
        """Return when all ports are being read; NobodyListens if that takes too long."""
        for terminal in self._terminals.values():
            terminal.wait_for_reader(READER_S, self._alive)

    def say(self, words: Sequence[Word]) -> None:
        """Write the lines, pull and push plugs in their turn; wait for the readers before each."""
        pending: dict[str, bytes] = {}
        for word in words:
            if isinstance(word, Line):
                pending[word.probe] = pending.get(word.probe, b"") + word.data
                continue
            self._write(pending)
            self.finish()
            self._handle(word)
        self._write(pending)

    def finish(self) -> None:
        """Return when the readers have taken all; NobodyListens when one stops taking."""
        for terminal in self._spoken:
            terminal.wait_drained(self._alive)
        self._spoken.clear()

    def _handle(self, word: Plug | Unplug) -> None:
        terminal = self._terminals[word.probe]
        if isinstance(word, Unplug):
            terminal.unplug()
            return
        terminal.plug()
        if self._patient:
            terminal.wait_for_reader(READER_S, self._alive)

    def _write(self, pending: dict[str, bytes]) -> None:
        self.finish()
        for probe, data in pending.items():
            terminal = self._terminals[probe]
            if not terminal.plugged or (not self._patient and not terminal.heard()):
                self.lost += data.count(b"\n")
                continue
            terminal.write(data)
            if self._patient:
                self._spoken.append(terminal)
        pending.clear()


def speak(
    words: Iterable[Word], mouth: Mouth, pace: Pace, before: Callable[[int], None] = lambda _at_ms: None
) -> int:
    """Say all words at that pace; return how many lines went out.

    `before` is called with the story's time before each slice goes out.
    """
    batch: list[Word] = []
    lines = 0
    for word in words:
        if not batch and not lines:
            pace.begin(word.at_ms)
        if batch and word.at_ms - batch[0].at_ms >= pace.slice_ms:
            lines += _say(batch, mouth, pace, before)
            batch = []
        batch.append(word)
    if batch:
        lines += _say(batch, mouth, pace, before)
    mouth.finish()
    return lines


def _say(batch: Sequence[Word], mouth: Mouth, pace: Pace, before: Callable[[int], None]) -> int:
    before(batch[0].at_ms)
    pace.wait(batch[0].at_ms)
    mouth.say(batch)
    return sum(isinstance(word, Line) for word in batch)
