"""What the watch loop hands to the journal and gets back."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from chamberwatch.model import Alarm, Event, Reading, Refusal


class Snapshot(NamedTuple):
    """The engine's state at `at_ms`; the journal keeps one and does not look inside `body`."""

    at_ms: int
    version: int
    settings_hash: str
    body: bytes


class Notice(NamedTuple):
    """One message owed to one channel. `repeat` 0 is the first telling, 1 the first repetition."""

    channel: str
    event_id: str
    due_ms: int
    headline: str
    body: str
    priority: str
    repeat: int = 0


class Written(NamedTuple):
    """What a commit did with its readings.

    `stored`: new rows; `late`: those of them older than their probe's newest; `merged`: missing halves
    filled; `repeated`: nothing new (also when the values differ: the first ones stand).
    """

    stored: int
    repeated: int
    merged: int
    late: int


class RequestRow(NamedTuple):
    """Something the command line asked of the daemon: verb "acknowledge", "tend", "shelve" or "rest"."""

    id: int
    at_ms: int
    verb: str
    args: dict[str, Any]


@dataclass(slots=True)
class Batch:
    """One transaction: readings and refusals in the order they came, and all that follows from them.

    `events` pairs each event with its text. `alarms` None leaves the open alarms as they are, a list replaces
    them all; so does `resting` (probe → until when) with the probes out of service, given beside it.
    `alive_ms` is the watch's sign of life.
    """

    readings: list[Reading] = field(default_factory=list)
    refusals: list[Refusal] = field(default_factory=list)
    events: list[tuple[Event, str]] = field(default_factory=list)
    alarms: list[Alarm] | None = None
    resting: dict[str, int] | None = None
    notices: list[Notice] = field(default_factory=list)
    snapshot: Snapshot | None = None
    requests_done: list[int] = field(default_factory=list)
    alive_ms: int | None = None

    def __bool__(self) -> bool:
        """False when there is nothing to write."""
        return bool(
            self.readings
            or self.refusals
            or self.events
            or self.alarms is not None
            or self.notices
            or self.snapshot
            or self.requests_done
            or self.alive_ms is not None
        )
