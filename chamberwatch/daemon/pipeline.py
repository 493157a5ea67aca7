"""The spine: bytes are decoded and judged, and one commit holds readings, events, alarms and notices.

Only after that commit is a message acknowledged to its source. If a commit fails, the batch stays whole and
is tried again; nothing of it is acknowledged meanwhile. No threads here: `watch` and `replay` both drive it.
"""

from __future__ import annotations

import hashlib
import logging
from collections import Counter
from collections.abc import Callable, Mapping
from types import MappingProxyType

from chamberwatch.daemon.clock import Clock
from chamberwatch.daemon.teller import Look, Teller
from chamberwatch.engine import VERSION, Engine
from chamberwatch.errors import JournalError
from chamberwatch.ingest.packet import Packet
from chamberwatch.inputs import Input
from chamberwatch.journal.store import Batch, Journal, Snapshot, Written
from chamberwatch.model import MS_PER_H, MS_PER_MIN, Alarm, Event, Plan, Reading, Reason, Refusal
from chamberwatch.wire.senml import decode
from chamberwatch.wire.speech import Speech
from chamberwatch.wire.timestamp import format_rfc3339

SNAPSHOT_EVERY_MS = 10 * MS_PER_MIN
ALIVE_EVERY_MS = MS_PER_MIN
"""While nothing comes in, a sign of life so often: else a restart would tell a gap that never was."""
FUTURE_MS = 5 * MS_PER_MIN
DOUBTFUL_MOST = 1_000
"""More refusals in a row than this change nothing any more, and a file of noise must not fill the memory."""

LEARN_MS = 26 * MS_PER_H
"""A day, and what the first cycle needs."""

_log = logging.getLogger(__name__)


def settings_hash(plan: Plan) -> str:
    """Return a short mark of the plan an engine's snapshot was made under."""
    return hashlib.sha256(repr(plan).encode()).hexdigest()[:16]


class Pipeline:
    """One house's inputs on their way into the journal."""

    def __init__(
        self,
        journal: Journal,
        plan: Plan,
        teller: Teller,
        clock: Clock,
        *,
        alive: bool,
        speeches: Mapping[str, Speech] = MappingProxyType({}),
    ) -> None:
        self._journal = journal
        self._plan = plan
        self._probes = frozenset(p.name for p in plan.probes)
        self._teller = teller
        self._clock = clock
        self._alive = alive
        self._speeches: dict[str | None, Speech] = dict(speeches.items())
        """Of the probes that do not speak SenML; a replayed line is SenML whoever's it is."""
        self._engine = Engine(plan)
        self._newest = journal.newest_ms()
        self._batch = Batch()
        self._acks: list[Callable[[], None]] = []
        self._events: list[tuple[Event, Look]] = []
        self._snapshot_ms = self._alive_ms = 0
        self.refuse_future = False
        """Whether times over 5 min ahead are refused: only where the clock is known to be right."""
        self.need_time = False
        """A replay: nothing arrives, so readings without a time are refused, and a refusal waits to be judged
        for the next reading, which shows whether this part of the recording is new or was read before."""
        self._doubtful: list[Refusal] = []
        self._fresh = False
        self.written = Written(0, 0, 0, 0)
        """What the last commit did with its readings."""
        self.told: Callable[[list[Event]], None] = lambda _events: None
        """Called after a commit with the events it holds."""

    # -- start -----------------------------------------------------------------------------------------------

    def restore(self) -> None:
        """Take up the last snapshot and roll forward over what was committed after it.

        Without one this version can read (it was upgraded), the chambers' norms are learnt anew from the last
        day's readings; what stood is judged afresh, and told again if it still does.
        """
        snapshot = self._journal.load_snapshot()
        if snapshot is None or snapshot.version != VERSION:
            newest_ms = max(self._newest.values(), default=0)
            self._engine.learn_from(self._journal.readings_from(newest_ms - LEARN_MS))
            return
        self._engine.restore(snapshot.body)
        for reading in self._journal.readings_since(snapshot):
            self._teller.see(reading)
            self._step(reading)
        self._snapshot_ms = snapshot.at_ms

    # -- inputs ----------------------------------------------------------------------------------------------

    def packet(self, packet: Packet) -> None:
        """Decode and judge one payload; its acknowledgement waits for the commit."""
        self.feed_ack(packet.ack)
        if packet.problem is not None:
            detail = packet.payload.decode("utf-8", "replace")
            self._refuse(Refusal(packet.probe, packet.problem, detail, packet.arrived_ms))
            return
        speech = self._speeches.get(packet.probe)
        read = decode if speech is None else speech.decode
        for item in read(packet.payload, packet.probe, packet.arrived_ms):
            if isinstance(item, Refusal):
                self._refuse(item)
            elif item.timed or not packet.retained:
                # A retained value without a time is of unknown age: it tells nothing about now.
                self._reading(item)

    def _reading(self, reading: Reading) -> None:
        newest_ms = self._newest.get(reading.probe, -1)
        if not reading.timed or self.refuse_future or reading.probe not in self._probes:
            placed = self._placed(reading, newest_ms)
            if isinstance(placed, Refusal):
                self._refuse(placed)
                return
            reading = placed
        arrived_ms = self._clock.see(reading.at_ms)
        if arrived_ms != reading.arrived_ms:
            probe, at_ms, temp_c, rh_pct, _, timed = reading
            reading = Reading(probe, at_ms, temp_c, rh_pct, arrived_ms, timed)
        if self._doubtful and reading.at_ms != newest_ms:
            self._settle(fresh=reading.at_ms > newest_ms)
        if reading.at_ms > newest_ms:
            self._newest[reading.probe] = reading.at_ms
            self._fresh = True
        elif reading.at_ms < newest_ms:
            self._fresh = False
        self._teller.see(reading)
        self._batch.readings.append(reading)
        self._step(reading)

    def _placed(self, reading: Reading, newest_ms: int) -> Reading | Refusal:
        """Return the reading with the time it stands at, or why it can have none."""
        probe, arrived_ms = reading.probe, reading.arrived_ms
        if probe not in self._probes:
            return Refusal(None, Reason.UNKNOWN_PROBE, f"{probe} is not in the settings", arrived_ms)
        if not reading.timed:
            if self.need_time:
                return Refusal(probe, Reason.BAD_TIME, "a recorded line needs its time", arrived_ms)
            return reading if reading.at_ms > newest_ms else reading._replace(at_ms=newest_ms + 1)
        if self.refuse_future and reading.at_ms - arrived_ms > FUTURE_MS:
            detail = f"{format_rfc3339(reading.at_ms)} is more than 5 min ahead of this machine's clock"
            return Refusal(probe, Reason.FUTURE, detail, arrived_ms)
        return reading

    def _step(self, item: Input) -> None:
        events = self._engine.step(item)
        if events:
            look = self._teller.look
            self._events += [(event, look(event)) for event in events]

    def _refuse(self, refusal: Refusal) -> None:
        self._teller.see_refusal(refusal)
        self._batch.refusals.append(refusal)
        if not self.need_time:
            self._judge(refusal._replace(arrived_ms=self._clock.now_ms()))
        elif len(self._doubtful) < DOUBTFUL_MOST:
            self._doubtful.append(refusal)

    def _judge(self, refusal: Refusal) -> None:
        if refusal.arrived_ms:  # 0: time comes from the readings, and there was none yet
            self._step(refusal)

    def _settle(self, *, fresh: bool) -> None:
        doubtful, self._doubtful = self._doubtful, []
        for refusal in doubtful if fresh else ():
            self._judge(refusal)

    def finish(self) -> None:
        """End a replay: no reading follows that would show whether the last refusals are new."""
        self._settle(fresh=self._fresh)

    def feed(self, item: Input, ack: Callable[[], None] | None = None) -> None:
        """Judge anything but a payload: a tick, a request, news of the link."""
        self.feed_ack(ack)
        self._step(item)

    def feed_ack(self, ack: Callable[[], None] | None) -> None:
        """Acknowledge at the next commit something that told us nothing."""
        if ack is not None:
            self._acks.append(ack)

    def request_done(self, request_id: int) -> None:
        """Mark a request of the command line as done, in the commit that holds what it did."""
        self._batch.requests_done.append(request_id)

    # -- the commit ------------------------------------------------------------------------------------------

    @property
    def urgent(self) -> bool:
        """Whether an event or a request waits: then the commit must not."""
        return bool(self._events or self._batch.requests_done)

    @property
    def unacknowledged(self) -> int:
        """How many messages wait for a commit to be acknowledged."""
        return len(self._acks)

    @property
    def waiting(self) -> int:
        """How many readings and refusals wait for a commit."""
        return len(self._batch.readings) + len(self._batch.refusals)

    def alarms(self) -> list[Alarm]:
        """Return the alarms that are not normal."""
        return self._engine.alarms()

    def refused_reasons(self) -> Counter[Reason]:
        """Return how often input that waits for a commit was refused, by reason."""
        return Counter(r.reason for r in self._batch.refusals)

    def commit(self, *, snapshot: bool = False) -> bool:
        """Write all that waits in one transaction, then acknowledge; False (and all kept) if it failed."""
        now_ms = self._clock.now_ms()
        events, batch = self._events, self._batch
        if snapshot or events or batch.requests_done or now_ms - self._snapshot_ms >= SNAPSHOT_EVERY_MS:
            body = self._engine.snapshot()
            batch.snapshot = Snapshot(now_ms, VERSION, settings_hash(self._plan), body)
        batch.alarms = self._engine.alarms() if events or batch.snapshot else None
        batch.resting = self._engine.resting() if events or batch.snapshot else None
        silent = not self._alive or now_ms - self._alive_ms < ALIVE_EVERY_MS
        if not batch and not self._acks and silent:
            return True
        batch.alive_ms = now_ms if self._alive else None
        try:
            self._word(events, now_ms)
            self.written = self._journal.commit(batch)
        except JournalError as error:
            _log.error("the journal cannot be written, all is kept and tried again: %s", error)
            return False
        self._done(now_ms)
        return True

    def _word(self, events: list[tuple[Event, Look]], now_ms: int) -> None:
        batch = self._batch
        batch.events, batch.notices = [], []
        for event, look in events:
            message = self._teller.word(event, look)
            batch.events.append((event, message.text))
            batch.notices += self._teller.notices(event, message, now_ms)

    def _done(self, now_ms: int) -> None:
        if self._batch.snapshot is not None:
            self._snapshot_ms = now_ms
        self._alive_ms = now_ms
        acks, events = self._acks, [event for event, _ in self._events]
        self._batch, self._acks, self._events = Batch(), [], []
        for ack in acks:
            ack()
        if events:
            self.told(events)
