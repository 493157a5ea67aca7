"""Which events become messages: one fault is told once, and what it brings about only where that is news.

A consequence (`because`) is sent when it names what is to be done (a dead compressor, an open door, a probe),
when it is more urgent than what was told of its cause, or when all that was told of that is over again; else
it is recorded, and the return of what was not sent is not sent either. Nor is air that is outside its band
within the probe's own accuracy, at low priority, until it clearly is. Remembered for the life of the
process; after a restart the unknown is sent.
"""

from __future__ import annotations

from chamberwatch.model import Event, EventState, Kind, Note, Priority
from chamberwatch.rules.alarm import RANK
from chamberwatch.rules.doubt import BAND_KINDS

TOLD_NOTES = frozenset({Note.EDGE, Note.RAISED, Note.STILL, Note.FACT, Note.UNSHELVED})
"""What becomes a message. That a second probe joined, or that someone is on it, is recorded but not sent."""
EFFECTS = frozenset(
    {
        Kind.TEMPERATURE_HIGH,
        Kind.TEMPERATURE_LOW,
        Kind.TEMPERATURE_DRIFT,
        Kind.HUMIDITY_HIGH,
        Kind.HUMIDITY_LOW,
        Kind.HUMIDITY_DRIFT,
        Kind.HUMIDITY_SWING,
        Kind.CONDENSATION_RISK,
        Kind.PROBE_SILENT,
    }
)
DECISIONS_KEPT = 1_000


class Telling:
    """Decides event by event, in order."""

    def __init__(self) -> None:
        self._priority: dict[str, Priority] = {}
        """Of the causes told, by their id."""
        self._quiet: dict[tuple[str, Kind], str] = {}
        """Alarms that stand and were not sent, and the cause each belongs to."""
        self._stands: dict[tuple[str, Kind], str] = {}
        """Alarms that were sent and stand, and the cause each belongs to."""
        self._decided: dict[str, bool] = {}
        """A commit that failed asks again."""

    def wanted(self, event: Event) -> bool:
        """Return whether this event becomes a message; the same however often it is asked."""
        if event.id not in self._decided:
            while len(self._decided) >= DECISIONS_KEPT:
                self._decided.pop(next(iter(self._decided)))
            self._decided[event.id] = self._decide(event)
        return self._decided[event.id]

    def _decide(self, event: Event) -> bool:
        if event.note not in TOLD_NOTES:
            return False
        key = (event.chamber, event.kind)
        if event.quiet or (event.kind in BAND_KINDS and event.priority is Priority.LOW):
            return self._keep_quiet(event, key)
        if event.state is EventState.ACTIVE:
            return self._began(event, key)
        if event.state is EventState.RETURNED:
            was_quiet = key in self._quiet
            self._quiet.pop(key, None)
            self._stands.pop(key, None)
            return not was_quiet
        if event.note in (Note.RAISED, Note.UNSHELVED):
            self._tell(event, key, self._quiet.get(key) or event.because or event.id)
        return key not in self._quiet

    def _tell(self, event: Event, key: tuple[str, Kind], cause: str) -> None:
        self._quiet.pop(key, None)
        self._stands[key] = cause
        told = self._priority.get(cause, event.priority)
        self._priority[cause] = max(told, event.priority, key=RANK.__getitem__)

    def _keep_quiet(self, event: Event, key: tuple[str, Kind]) -> bool:
        """Quiet was asked for, or it is within a probe's doubt: remember what stands, tell nothing of it."""
        if event.state is EventState.RETURNED:
            self._quiet.pop(key, None)
            self._stands.pop(key, None)
        elif event.state is EventState.ACTIVE:
            self._quiet[key] = event.because or event.id
        return False

    def _began(self, event: Event, key: tuple[str, Kind]) -> bool:
        cause = event.because or event.id
        told = self._priority.get(cause)
        known = told is not None and cause in self._stands.values()
        worse = told is not None and RANK[event.priority] > RANK[told]
        news = worse or not known or event.kind not in EFFECTS
        if news:
            self._tell(event, key, cause)
        else:
            self._quiet[key] = cause
        return news
