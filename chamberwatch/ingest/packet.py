"""What an adapter hands to the watch loop, and the one queue it hands it over on.

Rules for this file: adapters put, the watch loop takes; nothing is decoded here; nothing is ever dropped
here. A serial port waits when the queue is full (the line's own buffer then holds the bytes), a broker
connection never waits (the broker would cut a client that stops talking).
"""

from __future__ import annotations

import queue
from collections.abc import Callable
from typing import NamedTuple, Protocol

from chamberwatch.inputs import LinkBack, LinkLost
from chamberwatch.model import Reason

Ack = Callable[[], None]
"""Tells the source that what it sent is stored for good. Call it after the commit, from any thread, once."""


class Packet(NamedTuple):
    """One payload as it came in: a whole serial line without its end, or one MQTT message."""

    source: str
    """Where it came from, for a person: `serial:/dev/…` or `mqtt:topic`."""
    probe: str | None
    """The probe planned for that port or topic."""
    payload: bytes
    arrived_ms: int
    ack: Ack | None = None
    """None: the source wants no acknowledgement (serial, MQTT QoS 0)."""
    problem: Reason | None = None
    """Set: the adapter refused it; `payload` is then a short account of it, not input."""
    retained: bool = False
    """The broker kept it from before we subscribed: as old as its time says, of unknown age without one."""


class Command(NamedTuple):
    """What someone wrote on the acknowledge topic."""

    text: str
    arrived_ms: int
    ack: Ack | None = None


Item = Packet | Command | LinkLost | LinkBack


class SerialInbox(Protocol):
    """What a serial port needs of the queue: `put` waits and raises `queue.Full` after the timeout."""

    def put(self, item: Packet, block: bool = True, timeout: float | None = None) -> None:
        """Hand over, waiting for room up to `timeout` [s]."""


class BrokerInbox(Protocol):
    """What a broker connection needs of the queue: `put_nowait` takes whatever comes, at once."""

    def put_nowait(self, item: Item) -> None:
        """Hand over without waiting."""


class Inbox(queue.Queue[Item]):
    """The watch loop's queue: `put` waits while `maxsize` items wait, `put_nowait` goes past that bound.

    The broker over-sends after a long outage whatever receive maximum it was told (measured: 4,580 at once),
    so the whole backlog must fit: 11,520 small messages (4 probes, 10 s, 8 h) take about 7 MB.
    """

    def put_nowait(self, item: Item) -> None:
        """Add `item` at once, also beyond `maxsize`; never raises `queue.Full`."""
        with self.mutex:
            self._put(item)
            self.unfinished_tasks += 1
            self.not_empty.notify()
