"""`replay`: recorded lines through the same pipeline, their own time as the clock, as fast as it goes."""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from chamberwatch.daemon.clock import ReadingsClock
from chamberwatch.daemon.collector import look_seldom
from chamberwatch.daemon.pipeline import Pipeline
from chamberwatch.daemon.teller import Teller, newest_air
from chamberwatch.errors import InputMissing, JournalError, NotPermitted
from chamberwatch.ingest.packet import Packet
from chamberwatch.inputs import Hangs
from chamberwatch.journal.lock import hold
from chamberwatch.journal.store import Journal
from chamberwatch.model import Event, EventState, Kind, Reason
from chamberwatch.settings import Settings
from chamberwatch.wire.framing import LineFramer, Overlong

CHUNK_BYTES = 1 << 16
COMMIT_INPUTS = 5_000
LINE_BYTES = 1 << 16


@dataclass
class Summary:
    """What a replay did."""

    stored: int = 0
    repeated: int = 0
    merged: int = 0
    late: int = 0
    refused: Counter[Reason] = field(default_factory=Counter)
    events: Counter[tuple[Kind, EventState]] = field(default_factory=Counter)
    event_ids: list[str] = field(default_factory=list)

    def to_json(self) -> dict[str, Any]:
        """Return it as one JSON document."""
        return {
            "readings": self.stored,
            "repeated": self.repeated,
            "merged": self.merged,
            "late": self.late,
            "refused": {str(reason): n for reason, n in self.refused.most_common()},
            "events": [{"kind": k, "state": s, "count": n} for (k, s), n in sorted(self.events.items())],
        }

    def text(self) -> str:
        """Return it in words."""
        refused = self.refused.total()
        lines = [
            f"readings {self.stored:,} (late {self.late:,}), repeated {self.repeated:,}, refused {refused:,}"
        ]
        lines += [f"  refused: {reason} {n:,}" for reason, n in self.refused.most_common()]
        lines += [f"  {kind} {state} {n:,}" for (kind, state), n in sorted(self.events.items())]
        return "\n".join(lines if self.events else [*lines, "  no events"])


def replay(settings: Settings, files: list[Path], journal_path: Path) -> Summary:
    """Read the files in order into the journal.

    Raises:
        InputMissing, NotPermitted: a file is not there or not to be read.
        JournalHeld: a watch holds the journal.
        JournalError: the journal cannot be opened or written.
    """
    for path in files:
        _readable(path)
    with hold(journal_path):
        journal = Journal.open(journal_path)
        try:
            journal.remember_plan(settings.plan, settings.file.units)
            return _run(settings, journal, files)
        finally:
            journal.close()


def _readable(path: Path) -> None:
    if not path.is_file():
        raise InputMissing(f"{path}: there is no such file of readings")
    try:
        path.open("rb").close()
    except PermissionError:
        raise NotPermitted(f"{path}: you may not read this file") from None


def _run(settings: Settings, journal: Journal, files: list[Path]) -> Summary:
    clock = ReadingsClock(max(journal.newest_ms().values(), default=0))
    teller = Teller(settings.plan, journal.hanging, (), settings.zone, settings.file.units)
    pipeline = Pipeline(journal, settings.plan, teller, clock, alive=False)
    pipeline.need_time = True
    pipeline.restore()
    teller.remember(newest_air(journal.path))
    for chamber in settings.plan.chambers:
        pipeline.feed(Hangs(clock.now_ms(), chamber.name, journal.hanging_times(chamber.name)))
    look_seldom()
    summary = Summary()

    def told(events: list[Event]) -> None:
        for event in events:
            summary.events[event.kind, event.state] += 1
            summary.event_ids.append(event.id)

    pipeline.told = told
    for path in files:
        for packet in packets(path, clock):
            pipeline.packet(packet)
            if pipeline.waiting >= COMMIT_INPUTS:
                _commit(pipeline, summary)
    pipeline.finish()
    _commit(pipeline, summary, snapshot=True)
    return summary


def _commit(pipeline: Pipeline, summary: Summary, *, snapshot: bool = False) -> None:
    summary.refused.update(pipeline.refused_reasons())
    if not pipeline.commit(snapshot=snapshot):
        raise JournalError("the journal could not be written; what was committed before stays")
    written = pipeline.written
    summary.stored += written.stored
    summary.repeated += written.repeated
    summary.merged += written.merged
    summary.late += written.late


def packets(path: Path, clock: ReadingsClock) -> Iterator[Packet]:
    """Yield a file's lines as if they came in; the last one may lack its line end."""
    source = f"file:{path.name}"
    framer = LineFramer(LINE_BYTES)
    with path.open("rb", buffering=0) as raw:
        stream = io.BufferedReader(raw, CHUNK_BYTES)
        while chunk := stream.read(CHUNK_BYTES):
            yield from _lines(framer, chunk, source, clock)
    yield from _lines(framer, b"\n", source, clock)


def _lines(framer: LineFramer, chunk: bytes, source: str, clock: ReadingsClock) -> Iterator[Packet]:
    for line in framer.feed(chunk):
        if isinstance(line, Overlong):
            account = f"{line.dropped_bytes} bytes without a line end".encode()
            yield Packet(source, None, account, clock.now_ms(), None, Reason.TOO_LONG)
        else:
            yield Packet(source, None, line.payload, clock.now_ms())
