"""Which events become messages: one fault is told once, and what it brings about only where that is news.

A consequence (`because`) is sent when it names what is to be done (a dead compressor, an open door, a probe),
when it is more urgent than what was told of its cause, or when all that was told of that is over again; else
it is recorded, and the return of what was not sent is not sent either. Remembered for the life of the
process; after a restart the unknown is sent.
"""

from __future__ import annotations

from chamberwatch.model import Event, EventState, Kind, Note, Priority

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
RANK = {Priority.LOW: 0, Priority.MEDIUM: 1, Priority.HIGH: 2}


class Telling:
    """Decides event by event, in order."""

    def __init__(self) -> None:
        self._priority: dict[str, Priority] = {}
        """Of the causes told, by their id."""
        self._quiet: set[tuple[str, Kind]] = set()
        """Alarms that stand and were not sent."""
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
        if event.quiet:
            return self._pass_over(event, key)
        if event.state is EventState.ACTIVE:
            return self._began(event, key)
        if event.state is EventState.RETURNED:
            was_quiet = key in self._quiet
            self._quiet.discard(key)
            self._stands.pop(key, None)
            return not was_quiet
        if event.note in (Note.RAISED, Note.UNSHELVED):
            self._quiet.discard(key)
        return key not in self._quiet

    def _pass_over(self, event: Event, key: tuple[str, Kind]) -> bool:
        """Somebody asked for quiet: remember what stands, tell nothing of it."""
        if event.state is EventState.ACTIVE:
            self._quiet.add(key)
        elif event.state is EventState.RETURNED:
            self._quiet.discard(key)
            self._stands.pop(key, None)
        return False

    def _began(self, event: Event, key: tuple[str, Kind]) -> bool:
        cause = event.because or event.id
        told = self._priority.get(cause)
        known = told is not None and cause in self._stands.values()
        worse = told is not None and RANK[event.priority] > RANK[told]
        news = worse or not known or event.kind not in EFFECTS
        if news:
            self._quiet.discard(key)
            self._stands[key] = cause
            self._priority[cause] = max(told or event.priority, event.priority, key=RANK.__getitem__)
        else:
            self._quiet.add(key)
        return news
