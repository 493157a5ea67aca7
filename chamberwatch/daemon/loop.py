"""The watch loop: one thread that takes from the inbox, judges, commits and acknowledges.

It commits at the first of: an event or request; 16 messages waiting for their acknowledgement and the inbox
idle for 10 ms (or 1 s gone); 2,000 inputs; 20 s. The watchdog is fed only after a turn that took what waited
and either committed or had nothing due: a loop that hangs, or a journal that cannot be written, is not fed.
`alive` is called after each such turn.
"""

from __future__ import annotations

import logging
import queue
import time
from collections.abc import Callable

from chamberwatch.daemon.clock import Clock
from chamberwatch.daemon.pipeline import Pipeline
from chamberwatch.daemon.requests import Requests
from chamberwatch.daemon.service_manager import ServiceManager
from chamberwatch.ingest.packet import Command, Inbox, Item, Packet
from chamberwatch.inputs import LinkBack, LinkLost, Resumed, Stepped, Tick

IDLE_S = 0.010
BATCH_S = 20.0
ACK_WAIT_S = 1.0
ACKS = 16
BATCH_INPUTS = 2_000
KEPT_INPUTS = 100_000
"""While the journal cannot be written, no more than this is taken from the inbox (≈ 30 MB)."""
BEAT_S = 1.0
MINUTE_S = 60.0

_log = logging.getLogger(__name__)


class Loop:
    """Drives a pipeline from an inbox until `stop`."""

    def __init__(
        self,
        inbox: Inbox,
        pipeline: Pipeline,
        requests: Requests,
        clock: Clock,
        manager: ServiceManager,
        status: Callable[[], str],
        each_minute: Callable[[], None] = lambda: None,
        alive: Callable[[], None] = lambda: None,
    ) -> None:
        self._inbox = inbox
        self._pipeline = pipeline
        self._requests = requests
        self._clock = clock
        self._manager = manager
        self._status = status
        self._each_minute = each_minute
        self._alive = alive
        self._stopping = False
        self._failing = False
        self._linked = False
        self._batch_began_s = self._beat_s = self._fed_s = self._minute_s = time.monotonic()

    def stop(self) -> None:
        """End after this turn; safe in a signal handler."""
        self._stopping = True

    def run(self) -> None:
        """Take turns until stopped."""
        while not self._stopping:
            self.turn()

    def drain(self) -> bool:
        """Take what the sources left when they stopped, commit it with a snapshot; False if that failed."""
        self._failing = False
        while not self._take(KEPT_INPUTS, 0.0):
            if not self._pipeline.commit():
                return False
        return self._pipeline.commit(snapshot=True)

    def turn(self) -> None:
        """Take what waits, let time pass, commit if it is due, feed the watchdog."""
        idle = self._take(BATCH_INPUTS, self._patience_s())
        now_s = time.monotonic()
        if now_s - self._beat_s >= BEAT_S:
            self._beat_s = now_s
            self._beat()
        if self._commit_due(now_s, idle=idle):
            self._failing = not self._pipeline.commit()
            self._batch_began_s = now_s
            if self._failing:
                time.sleep(BEAT_S)
        if not self._failing:
            self._alive()
        if (
            not self._failing
            and self._manager.ping_every_s
            and now_s - self._fed_s >= self._manager.ping_every_s
        ):
            self._fed_s = now_s
            self._manager.alive(self._status())

    # -- taking ----------------------------------------------------------------------------------------------

    def _patience_s(self) -> float:
        if self._hurried or (self._failing and self._pipeline.waiting >= KEPT_INPUTS):
            return 0.0
        if self._pipeline.unacknowledged >= ACKS:
            return IDLE_S
        return max(0.0, BEAT_S - (time.monotonic() - self._beat_s))

    @property
    def _hurried(self) -> bool:
        """Whether what waits must be committed before more is taken.

        Not while the journal fails: a probe that is not listened to would be told as silent.
        """
        return self._pipeline.urgent and not self._failing

    def _take(self, most: int, wait_s: float) -> bool:
        """Take up to `most` items, waiting `wait_s` for the first; return whether the inbox ran empty."""
        for count in range(most):
            if self._hurried or self._pipeline.waiting >= KEPT_INPUTS:
                return False
            try:
                item = (
                    self._inbox.get(timeout=wait_s) if count == 0 and wait_s > 0 else self._inbox.get_nowait()
                )
            except queue.Empty:
                return True
            self._hand_on(item)
        return False

    def _hand_on(self, item: Item) -> None:
        match item:
            case Packet():
                self._pipeline.packet(item)
            case Command():
                self._requests.command(item)
            case LinkLost() | LinkBack():
                self._linked = isinstance(item, LinkBack)
                self._pipeline.feed(item)

    # -- time ------------------------------------------------------------------------------------------------

    def _beat(self) -> None:
        stepped_ms = self._clock.check()
        now_ms = self._clock.now_ms()
        if stepped_ms:
            self._stepped(stepped_ms, now_ms)
        if now_ms:
            self._requests.poll()
            self._pipeline.feed(Tick(now_ms))
        if self._beat_s - self._minute_s >= MINUTE_S:
            self._minute_s = self._beat_s
            self._each_minute()

    def _stepped(self, stepped_ms: int, now_ms: int) -> None:
        _log.warning("the clock was stepped by %.1f s", stepped_ms / 1000)
        self._pipeline.feed(Stepped(now_ms, stepped_ms))
        # Silence counts anew from here: what was heard before bears stamps of another clock.
        self._pipeline.feed(Resumed(now_ms, None))
        if self._linked:
            # Beginning anew takes the broker for lost until it is heard of; this connection never broke.
            self._pipeline.feed(LinkBack(now_ms, kept=True))

    def _commit_due(self, now_s: float, *, idle: bool) -> bool:
        pipeline = self._pipeline
        waited_s = now_s - self._batch_began_s
        if pipeline.urgent or pipeline.waiting >= BATCH_INPUTS or waited_s >= BATCH_S:
            return True
        return pipeline.unacknowledged >= ACKS and (idle or waited_s >= ACK_WAIT_S)
