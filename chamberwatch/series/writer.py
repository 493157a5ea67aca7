"""The series thread: reads behind a cursor, writes synchronously, saves the cursor after the answer.

Why not the client library's batching mode: its queue lives in memory, is unbounded, and is lost when the
process ends or an outage outlasts its retries. Here the journal is the queue.

An answer is not durability: a server killed within seconds of it can lose the rows. So the cursor goes back
REWIND_MS at a start, after a failure that may have been the server's end, and every AGAIN_S in any case (a
server may restart between two requests without our noticing): every row is written again, at least a minute
after its first time. What is saved is the furthest cursor, so going back often never goes back further.
"""

from __future__ import annotations

import logging
import random
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple, Protocol

from chamberwatch.model import MS_PER_MIN
from chamberwatch.series.faults import Act, Fault, rest_s
from chamberwatch.series.lines import EventLike, RowLike, air_lines, event_lines
from chamberwatch.series.server import Server

_log = logging.getLogger(__name__)

CURSOR_NAME = "series"
REWIND_MS = 11 * MS_PER_MIN
AGAIN_S = 600.0
BATCH = 1000
TIMEOUT_MS = 10_000
_PARKED_KEPT = 1000


@dataclass(frozen=True, slots=True)
class SeriesPlan:
    """Where the rows go: the server's address, org, bucket, token (secret), and how often [s]."""

    url: str
    org: str
    bucket: str
    token: str = field(repr=False)
    every_s: float = 10.0


class TailLike(Protocol):
    """What this thread needs of the journal's tail. A cursor has `at_ms` and `rewound(ms)`."""

    def cursor(self, name: str) -> Any:
        """Return the saved cursor of that name, or one before everything."""
        ...

    def save(self, name: str, cursor: Any) -> None:
        """Keep the cursor under that name."""
        ...

    def readings(self, cursor: Any, limit: int) -> tuple[Sequence[RowLike], Any]:
        """Return at most `limit` readings behind the cursor and the cursor after them."""
        ...

    def events(self, cursor: Any, limit: int) -> tuple[Sequence[EventLike], Any]:
        """Return at most `limit` events behind the cursor and the cursor after them."""
        ...

    def close(self) -> None:
        """Let go of the journal."""
        ...


class SeriesStatus(NamedTuple):
    """How the copy does. `lag_s`: age of the moment up to which everything is written; None: not yet once."""

    lag_s: float | None = None
    problem: str | None = None
    written: int = 0
    """Lines taken by the server, those written again included."""
    parked: int = 0
    """Lines the server will not take, left out."""


class Pace(NamedTuple):
    """How it goes about failures and rewriting [s]."""

    first_rest_s: float = 5.0
    longest_rest_s: float = 900.0
    again_s: float = AGAIN_S
    timeout_ms: int = TIMEOUT_MS


STEADY = Pace()


class _Halted(Exception):  # noqa: N818  not an error: the batch stays to be written
    def __init__(self, fault: Fault) -> None:
        super().__init__(fault.words)
        self.fault = fault


class SeriesWriter:
    """The writer. `tail_factory` is called in its thread; influxdb_client is imported there (30-40 MB)."""

    def __init__(
        self,
        plan: SeriesPlan,
        tail_factory: Callable[[], TailLike],
        now_ms: Callable[[], int],
        *,
        pace: Pace = STEADY,
        chance: Callable[[], float] = random.random,
    ) -> None:
        self._plan, self._open, self._now_ms = plan, tail_factory, now_ms
        self._pace, self._chance = pace, chance
        self._thread = threading.Thread(target=self._run, name="series", daemon=True)
        self._ending = threading.Event()
        self._end_by_s = float("inf")
        self._status = SeriesStatus()
        self._caught_up_ms: int | None = None
        self._tail: TailLike | None = None
        self._cursor: Any = None
        self._furthest: Any = None
        self._gone_back_from: Any = None
        self._again_at_s = 0.0
        self._failures = 0
        self._batch = BATCH
        self._parked: dict[str, str] = {}

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def stop(self, timeout_s: float) -> bool:
        """Write what there is, for at most `timeout_s`; return whether the thread ended."""
        self._end_by_s = time.monotonic() + timeout_s
        self._ending.set()
        if self._thread.ident is not None:
            self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def status(self) -> SeriesStatus:
        """Return how the copy does now."""
        since_ms = self._caught_up_ms
        return self._status._replace(lag_s=None if since_ms is None else (self._now_ms() - since_ms) / 1000)

    # -- the thread ---------------------------------------------------------------------------------------

    def _run(self) -> None:
        plan = self._plan
        try:
            server = Server(plan.url, plan.org, plan.bucket, plan.token, self._pace.timeout_ms)
        except Exception as fault:  # noqa: BLE001  only a change of the settings or the installation mends it
            self._failed(Fault(Act.WAIT, f"the series server cannot be used: {fault}"))
            return
        while True:
            last = self._ending.is_set()
            if last and self._failures:
                break
            wait_s = self._guarded_drain(server)
            if last:
                break
            self._ending.wait(wait_s)
        self._let_go()
        server.close()

    def _guarded_drain(self, server: Server) -> float:
        """Write what there is; return the seconds until the next time."""
        try:
            if self._tail is None:
                self._tail = self._open()
                self._cursor = self._furthest = self._tail.cursor(CURSOR_NAME)
                self._rewind()
            elif time.monotonic() >= self._again_at_s and self._cursor.at_ms >= self._furthest.at_ms:
                self._rewind()
            self._drain(server, self._tail)
        except _Halted as halt:
            return self._failed(halt.fault)
        except Exception as fault:  # noqa: BLE001  the journal's trouble; whatever it is, try again
            self._let_go()
            return self._failed(Fault(Act.WAIT, f"the journal cannot be read: {fault}"))
        if self._failures:
            _log.info("series: works again")
        self._failures = 0
        self._status = self._status._replace(problem=None)
        return self._plan.every_s

    def _drain(self, server: Server, tail: TailLike) -> None:
        while time.monotonic() < self._end_by_s:
            started_ms = self._now_ms()
            rows, cursor = tail.readings(self._cursor, self._batch)
            events, cursor = tail.events(cursor, self._batch)
            if not rows and not events:
                self._caught_up_ms = started_ms
                return
            self._deliver(server, air_lines(rows) + event_lines(events))
            self._advance(tail, cursor)

    def _advance(self, tail: TailLike, cursor: Any) -> None:
        self._cursor = cursor
        if cursor.at_ms >= self._furthest.at_ms:
            self._furthest = cursor
            tail.save(CURSOR_NAME, cursor)

    def _rewind(self) -> None:
        self._cursor = self._furthest.rewound(REWIND_MS)
        self._gone_back_from = self._furthest
        self._again_at_s = time.monotonic() + self._pace.again_s

    def _let_go(self) -> None:
        tail, self._tail = self._tail, None
        if tail is not None:
            try:
                tail.close()
            except Exception:  # noqa: BLE001  it is being given up anyway
                _log.debug("series: closing the tail", exc_info=True)

    def _failed(self, fault: Fault) -> float:
        if fault.shaken and self._furthest != self._gone_back_from:  # else a shaky server would hold us back
            self._rewind()
        if self._status.problem != fault.words:
            _log.warning("series: %s", fault.words)
        self._status = self._status._replace(problem=fault.words)
        self._failures += 1
        if fault.wait_s is not None:
            return fault.wait_s
        return rest_s(self._failures, self._chance(), self._pace.first_rest_s, self._pace.longest_rest_s)

    # -- a batch ------------------------------------------------------------------------------------------

    def _deliver(self, server: Server, lines: list[str]) -> None:
        """Write all lines, in parts the server takes. Return when each is taken or parked; else _Halted.

        A line is only called bad, and parked, when the server took another one of this batch: a server that
        refuses everything has a fault of its own, and nothing may be left out because of it.
        """
        parts = [[text for text in lines if text not in self._parked]]
        bad: list[tuple[str, Fault]] = []
        taken = 0
        while parts:
            part = parts.pop()
            if not part:
                continue
            fault = server.write(part) if len(part) <= self._batch else Fault(Act.SPLIT, "")
            if fault is None:
                taken += len(part)
                self._status = self._status._replace(written=self._status.written + len(part))
            elif fault.act is Act.WAIT:
                raise _Halted(fault)
            elif len(part) == 1:
                bad.append((part[0], fault))
            else:
                half = len(part) // 2
                if fault.act is Act.SHRINK:
                    self._batch = half
                parts += [part[half:], part[:half]]
        if bad and not taken:
            raise _Halted(Fault(Act.WAIT, f"{bad[0][1].words} - and every other row with it"))
        self._park(bad)

    def _park(self, bad: list[tuple[str, Fault]]) -> None:
        for text, fault in bad:
            _log.warning("series: left out %s (%s)", text, fault.words)
            if len(self._parked) >= _PARKED_KEPT:
                del self._parked[next(iter(self._parked))]
            self._parked[text] = fault.words
        self._status = self._status._replace(parked=self._status.parked + len(bad))
