"""One thread a channel: takes the notices due, sends them, marks them.

Promises:
- At least once. A notice is marked sent only after the other side took it; a crash in between repeats it.
- Its next repeat is scheduled before it is marked, so that a crash cannot end the repeats of an open alarm.
- Oldest first. When the oldest fails, the least tried other one is tried too: if that goes through, only the
  first is put off (a message the service will never take holds up nobody); if not, the channel rests
  (5 s … 15 min), and nothing is tried before something new is owed.
- A channel's trouble is its own: own thread, own outbox connection, own pace. Nothing ends a thread but
  `stop`, or an address that cannot be used; what is owed there stays owed until the settings are mended.
"""

from __future__ import annotations

import logging
import random
import threading
import time
from collections.abc import Callable, Sequence
from typing import NamedTuple

from chamberwatch.notify.channels import ChannelPlan, Outgoing, Publish, Sender, build_sender
from chamberwatch.notify.outbox_like import OutboxLike, OwedLike
from chamberwatch.notify.repeat import Allowance, comes_again, due_after_sending_ms, retry_in_s, wording

_log = logging.getLogger(__name__)
_PAGE = 500


class Pace(NamedTuple):
    """How fast a channel goes [s]: its rest after failures, its messages, its look at the outbox unasked."""

    first_rest_s: float = 5.0
    longest_rest_s: float = 900.0
    burst: int = 5
    every_s: float = 2.0
    poll_s: float = 5.0


STEADY = Pace()


class ChannelStatus(NamedTuple):
    """How a channel does. `problem`: the last failure in plain words, None once a message went through."""

    problem: str | None = None
    since_ms: int | None = None
    """When the problem began."""
    sent: int = 0
    failed: int = 0
    dropped: int = 0
    last_sent_ms: int | None = None
    busy_since_ms: int | None = None
    """Set while a message is on its way: a long time means that the other side hangs."""


class Notifier:
    """The channels at work. `outbox_factory` is called in each thread; `publish` serves topic channels."""

    def __init__(
        self,
        channels: Sequence[ChannelPlan],
        outbox_factory: Callable[[], OutboxLike],
        now_ms: Callable[[], int],
        publish: Publish | None = None,
        *,
        pace: Pace = STEADY,
        chance: Callable[[], float] = random.random,
    ) -> None:
        names = [plan.name for plan in channels]
        if len(set(names)) != len(names):
            raise ValueError("two channels have one name")
        self._workers = {
            plan.name: _Worker(plan, outbox_factory, now_ms, publish, pace, chance) for plan in channels
        }

    def start(self) -> None:
        """Start one thread a channel."""
        for worker in self._workers.values():
            worker.thread.start()

    def wake(self) -> None:
        """Say that notices were committed. Returns at once; may be called from any thread."""
        for worker in self._workers.values():
            worker.look.set()

    def stop(self, timeout_s: float) -> bool:
        """Let each channel end its message; return whether all did in time. What is owed stays owed."""
        deadline_s = time.monotonic() + timeout_s
        for worker in self._workers.values():
            worker.ending.set()
            worker.look.set()
        for worker in self._workers.values():
            if worker.thread.ident is not None:
                worker.thread.join(max(0.0, deadline_s - time.monotonic()))
        return not any(worker.thread.is_alive() for worker in self._workers.values())

    def status(self) -> dict[str, ChannelStatus]:
        """Return how each channel does, by its name."""
        return {name: worker.status for name, worker in self._workers.items()}


class _Worker:
    """One channel's thread and what it remembers between its rounds."""

    def __init__(
        self,
        plan: ChannelPlan,
        outbox_factory: Callable[[], OutboxLike],
        now_ms: Callable[[], int],
        publish: Publish | None,
        pace: Pace,
        chance: Callable[[], float],
    ) -> None:
        self.status = ChannelStatus()
        self.look = threading.Event()
        self.ending = threading.Event()
        self.thread = threading.Thread(target=self._run, name=f"notify-{plan.name}", daemon=True)
        self._plan, self._open, self._now_ms, self._publish = plan, outbox_factory, now_ms, publish
        self._pace, self._chance = pace, chance
        self._outbox: OutboxLike | None = None
        self._allowance = Allowance(plan.burst or pace.burst, plan.every_s or pace.every_s, time.monotonic())
        self._unmarked: dict[int, tuple[OwedLike, int]] = {}
        """Taken by the other side, but the journal could not note it yet."""
        self._rests = 0
        self._resting_until_s = 0.0
        self._known_id = -1
        """While resting: the newest notice that was there when the rest began."""
        self._faults = 0

    # -- the thread ---------------------------------------------------------------------------------------

    def _run(self) -> None:
        try:
            sender = build_sender(self._plan, self._publish)
        except ValueError as fault:
            self._trouble(str(fault))
            return
        while not self.ending.is_set():
            self.look.clear()
            self.look.wait(self._guarded_round(sender))
        self._let_go()

    def _guarded_round(self, sender: Sender) -> float:
        """One look at the outbox; return the seconds until the next. A fault of the journal is waited out."""
        try:
            if self._outbox is None:
                self._outbox = self._open()
            wait_s = self._round(sender, self._outbox)
        except Exception as fault:  # noqa: BLE001  whatever it is, this channel must try again
            self._trouble(f"the outbox cannot be used: {fault}")
            self._let_go()
            self._faults += 1
            return self._rest_s(self._faults - 1)
        self._faults = 0
        return wait_s

    def _let_go(self) -> None:
        outbox, self._outbox = self._outbox, None
        if outbox is not None:
            try:
                outbox.close()
            except Exception:  # noqa: BLE001  it is being given up anyway
                _log.debug("channel %s: closing the outbox", self._plan.name, exc_info=True)

    # -- a round ------------------------------------------------------------------------------------------

    def _round(self, sender: Sender, outbox: OutboxLike) -> float:
        for taken, at_ms in list(self._unmarked.values()):
            self._mark(outbox, taken, at_ms)
        missed: list[tuple[OwedLike, str]] = []
        while not self.ending.is_set():
            notice = self._choose(outbox, missed)
            if notice is None:
                break
            if self._given_up(outbox, notice) or not self._allowed():
                continue
            why = self._send(sender, notice)
            if why is None:
                self._taken(outbox, notice, missed)
                missed = []
            else:
                missed.append((notice, why))
        if missed:
            self._rest(outbox, missed)
        return self._next_look_s(outbox)

    def _choose(self, outbox: OutboxLike, missed: list[tuple[OwedLike, str]]) -> OwedLike | None:
        """Return the notice to try: the oldest, or after a miss the least tried other; None to stop here."""
        if len(missed) > 1:
            return None
        due = [n for n in outbox.due(self._plan.name, self._now_ms(), _PAGE) if n.id not in self._unmarked]
        if missed:
            others = [n for n in due if n.id != missed[0][0].id]
            return min(others, key=lambda n: (n.attempt, n.id), default=None)
        if time.monotonic() < self._resting_until_s and all(n.id <= self._known_id for n in due):
            return None
        return min(due, key=lambda n: n.id, default=None)

    def _given_up(self, outbox: OutboxLike, notice: OwedLike) -> bool:
        """Drop a repeat that has become needless; the first message of an alarm is always sent."""
        if notice.repeat == 0 or outbox.alarm_open_unacknowledged(notice.event_id):
            return False
        outbox.dropped(notice.id, "acknowledged, quiet or returned meanwhile")
        self.status = self.status._replace(dropped=self.status.dropped + 1)
        return True

    def _allowed(self) -> bool:
        """Wait for the allowance; False when asked to end meanwhile (or to choose again after a wait)."""
        wait_s = self._allowance.take(time.monotonic())
        if wait_s > 0:
            self.ending.wait(wait_s)
        return wait_s == 0

    def _send(self, sender: Sender, notice: OwedLike) -> str | None:
        now_ms = self._now_ms()
        self.status = self.status._replace(busy_since_ms=now_ms)
        try:
            return sender.send(_outgoing(notice, now_ms))
        except Exception as fault:  # noqa: BLE001  a plugin's own fault is a failure of its channel, no more
            _log.debug("channel %s", self._plan.name, exc_info=True)
            return f"the channel's own fault ({type(fault).__name__})"
        finally:
            self.status = self.status._replace(busy_since_ms=None)

    # -- what came of it ----------------------------------------------------------------------------------

    def _taken(self, outbox: OutboxLike, notice: OwedLike, missed: list[tuple[OwedLike, str]]) -> None:
        now_ms = self._now_ms()
        if self.status.problem is not None and not missed:
            _log.info("channel %s works again", self._plan.name)
        self.status = self.status._replace(
            problem=None, since_ms=None, sent=self.status.sent + 1, last_sent_ms=now_ms
        )
        self._rests, self._resting_until_s = 0, 0.0
        self._unmarked[notice.id] = (notice, now_ms)
        self._mark(outbox, notice, now_ms)
        for other, why in missed:
            self._miss(outbox, other, why, now_ms + round(1000 * self._rest_s(other.attempt)))

    def _mark(self, outbox: OutboxLike, notice: OwedLike, at_ms: int) -> None:
        again = comes_again(notice.priority, notice.state, notice.note)
        if again and outbox.alarm_open_unacknowledged(notice.event_id):
            outbox.schedule_repeat(notice, due_after_sending_ms(at_ms, notice.repeat))
        outbox.sent(notice.id, at_ms)
        del self._unmarked[notice.id]

    def _rest(self, outbox: OutboxLike, missed: list[tuple[OwedLike, str]]) -> None:
        """Leave the channel alone for a while. Its notices stay due, so that they keep their order."""
        now_ms = self._now_ms()
        self._resting_until_s = time.monotonic() + self._rest_s(self._rests)
        self._rests += 1
        self._known_id = max(n.id for n in outbox.due(self._plan.name, now_ms, _PAGE))
        for notice, why in missed:
            self._miss(outbox, notice, why, now_ms)

    def _miss(self, outbox: OutboxLike, notice: OwedLike, why: str, retry_ms: int) -> None:
        outbox.failed(notice.id, retry_ms, why)
        self._trouble(why)
        self.status = self.status._replace(failed=self.status.failed + 1)

    def _trouble(self, why: str) -> None:
        if self.status.problem != why:
            _log.warning("channel %s: %s", self._plan.name, why)
        since_ms = self.status.since_ms if self.status.problem is not None else self._now_ms()
        self.status = self.status._replace(problem=why, since_ms=since_ms)

    def _rest_s(self, failures: int) -> float:
        return retry_in_s(failures, self._chance(), self._pace.first_rest_s, self._pace.longest_rest_s)

    def _next_look_s(self, outbox: OutboxLike) -> float:
        resting_s = self._resting_until_s - time.monotonic()
        if resting_s > 0:
            return min(resting_s, self._pace.poll_s)
        next_ms = outbox.next_due_ms(self._plan.name)
        if next_ms is None:
            return self._pace.poll_s
        return min(self._pace.poll_s, max(0.05, (next_ms - self._now_ms()) / 1000))


def _outgoing(notice: OwedLike, now_ms: int) -> Outgoing:
    return Outgoing(
        event_id=notice.event_id,
        kind=notice.kind,
        state=notice.state,
        chamber=notice.chamber,
        priority=notice.priority,
        at_ms=notice.at_ms,
        repeat=notice.repeat,
        headline=notice.headline,
        body=wording(notice.body, notice.repeat, notice.attempt, now_ms - notice.at_ms),
    )
