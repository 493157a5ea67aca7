"""The life of an alarm: one a chamber and kind, naming its probes, told on edges only.

Rules for this file: every transition is in `TRANSITIONS`; an alarm knows nothing of thresholds, messages or
repeats. The states are ANSI/ISA-18.2's: normal (no alarm here), unacknowledged, acknowledged, shelved, and
returned before anyone had acknowledged. A returned one stays on the board until acknowledged or until it
comes back. A shelf (`rules.shelf`) outlives the alarm it was made for; whatever becomes urgent breaks it.
"""

from __future__ import annotations

from dataclasses import asdict, replace
from enum import StrEnum
from typing import Any

from chamberwatch.model import Alarm, AlarmState, Event, EventState, Kind, Note, Priority
from chamberwatch.rules import causes
from chamberwatch.rules.catalogue import CATALOGUE
from chamberwatch.rules.edge import Edge, event_id
from chamberwatch.rules.shelf import Shelf

KEPT_ENDED = 7
RANK = {Priority.LOW: 0, Priority.MEDIUM: 1, Priority.HIGH: 2}


class Trigger(StrEnum):
    """What can happen to an alarm."""

    ACTIVATE = "activate"
    RETURN = "return"
    ACKNOWLEDGE = "acknowledge"
    RE_ALARM = "re-alarm"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"


_B, _C, _D = AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED, AlarmState.RETURNED
_G = AlarmState.SHELVED

TRANSITIONS: dict[tuple[AlarmState | None, Trigger], AlarmState | None] = {
    (None, Trigger.ACTIVATE): _B,
    (_B, Trigger.ACKNOWLEDGE): _C,
    (_B, Trigger.RETURN): _D,
    (_B, Trigger.RE_ALARM): _B,
    (_C, Trigger.RETURN): None,
    (_C, Trigger.RE_ALARM): _B,
    (_D, Trigger.ACKNOWLEDGE): None,
    (_D, Trigger.ACTIVATE): _B,
    (_B, Trigger.SHELVE): _G,
    (_C, Trigger.SHELVE): _G,
    (_G, Trigger.SHELVE): _G,
    (_D, Trigger.SHELVE): None,
    (_G, Trigger.RETURN): None,
    (_G, Trigger.UNSHELVE): _B,
}
"""(state, trigger) → state; None is normal. A pair that is missing changes nothing and tells nothing."""


def fact(
    kind: Kind, chamber: str, probes: tuple[str, ...], at_ms: int, since_ms: int, value: float | None
) -> Event:
    """Return a one-off event: noted, never active."""
    ident = event_id(kind, chamber, "", at_ms, Note.FACT)
    priority = CATALOGUE[kind].priority
    return Event(
        ident, at_ms, since_ms, kind, EventState.NOTED, priority, chamber, probes, value, note=Note.FACT
    )


class Board:
    """The alarms of a house that are not normal, and the probes each names.

    Mutable, but a fold: the same edges in the same order give the same events.
    """

    def __init__(self) -> None:
        self._alarms: dict[tuple[str, Kind], Alarm] = {}
        self._told_ms: dict[tuple[str, Kind], int] = {}
        self._busy: frozenset[str] = frozenset()
        self.now_ms = 0
        """The arrival clock: what a backlog tells late is told now, and told again a day from now."""
        self._ended: list[causes.Ended] = []
        """Alarms that ended lately: what follows is theirs."""
        self.shelves: dict[tuple[str, Kind], Shelf] = {}

    def alarms(self) -> list[Alarm]:
        """Return every alarm that is not normal, oldest first."""
        return sorted(self._alarms.values(), key=lambda a: (a.at_ms, a.chamber, a.kind))

    def busy(self, chamber: str) -> bool:
        """Return whether any alarm of the chamber stands."""
        return chamber in self._busy

    def standing(self, chamber: str, kind: Kind) -> Alarm | None:
        """Return the alarm if its condition holds now."""
        alarm = self._alarms.get((chamber, kind))
        return alarm if alarm is not None and alarm.state is not _D else None

    def told_ms(self, alarm: Alarm) -> int:
        """Return when it was last told (raised, joined, acknowledged, told again)."""
        return self._told_ms[alarm.chamber, alarm.kind]

    def to_json(self) -> dict[str, Any]:
        """Return the state as JSON values."""
        alarms = [asdict(alarm) | {"told_ms": self.told_ms(alarm)} for alarm in self._alarms.values()]
        shelves = [[*key, *shelf] for key, shelf in self.shelves.items()]
        return {"alarms": alarms, "ended": self._ended, "shelves": shelves}

    @classmethod
    def from_json(cls, body: dict[str, Any], chambers: dict[str, str]) -> Board:
        """Restore what `to_json` returned, for the probes planned now (`chambers`: probe → chamber)."""
        board = cls()
        board._ended = [causes.Ended(where, Kind(kind), *rest) for where, kind, *rest in body["ended"]]
        board.shelves = {(where, Kind(kind)): Shelf(*rest) for where, kind, *rest in body["shelves"]}
        for item in body["alarms"]:
            told_ms = item.pop("told_ms")
            where = item["chamber"]
            probes = tuple(p for p in item.pop("probes") if not where or chambers.get(p) == where)
            kind, priority = Kind(item.pop("kind")), Priority(item.pop("priority"))
            if probes:
                board._put(Alarm(kind=kind, priority=priority, probes=probes, **item), told_ms)
        return board

    def take(
        self, chamber: str, edge: Edge, priority: Priority | None = None, *, probes: tuple[str, ...] = ()
    ) -> list[Event]:
        """Apply a rule's edge.

        `priority` overrides the kind's default on a first edge; `probes` names all that one cause concerns.
        """
        standing = self.standing(chamber, edge.kind)
        if edge.active:
            if standing is None:
                urgency = priority or CATALOGUE[edge.kind].priority
                return [self._activate(chamber, edge, urgency, probes or (edge.probe,))]
            return self._join(standing, edge)
        if standing is None or edge.probe not in standing.probes:
            return []
        return [self._leave(standing, edge) if len(standing.probes) > 1 else self._return(standing, edge)]

    def raise_priority(
        self,
        chamber: str,
        kind: Kind,
        at_ms: int,
        value: float | None,
        *,
        limit: float | None = None,
        to: Priority = Priority.HIGH,
    ) -> list[Event]:
        """Make a standing alarm more urgent; nothing if it is so already."""
        alarm = self.standing(chamber, kind)
        if alarm is None or RANK[alarm.priority] >= RANK[to]:
            return []
        alarm = self._break_shelf(alarm) if to is Priority.HIGH else alarm
        alarm = replace(alarm, priority=to, value=value)
        self._put(alarm, at_ms)
        return [self._noted(alarm, at_ms, Note.RAISED, limit=limit)]

    def acknowledge(self, chamber: str, kind: Kind, at_ms: int, by: str) -> list[Event]:
        """Note that someone is on it."""
        alarm = self._alarms.get((chamber, kind))
        if alarm is None or (alarm.state, Trigger.ACKNOWLEDGE) not in TRANSITIONS:
            return []
        after = TRANSITIONS[alarm.state, Trigger.ACKNOWLEDGE]
        event = replace(self._noted(alarm, at_ms, Note.ACKNOWLEDGED), detail=by)
        if after is None:
            self._drop(alarm)
        else:
            self._put(replace(alarm, acknowledged=True, acknowledged_by=by), at_ms)
        return [event]

    def re_alarm(self, alarm: Alarm, at_ms: int) -> list[Event]:
        """Tell a standing alarm again; it needs acknowledging anew."""
        if (alarm.state, Trigger.RE_ALARM) not in TRANSITIONS:
            return []
        self._put(replace(alarm, acknowledged=False, acknowledged_by=""), at_ms)
        return [self._noted(alarm, at_ms, Note.STILL)]

    def shelve(self, chamber: str, kind: Kind, at_ms: int, shelf: Shelf) -> list[Event]:
        """Make a kind of alarm quiet in a chamber, whether or not it stands now."""
        self.shelves[chamber, kind] = shelf
        alarm = self._alarms.get((chamber, kind))
        if alarm is None:
            return [shelf.event(chamber, kind, at_ms, Note.SHELVED)]
        event = replace(self._noted(alarm, at_ms, Note.SHELVED), detail=shelf.detail, meets_ms=shelf.until_ms)
        if TRANSITIONS[alarm.state, Trigger.SHELVE] is None:
            self._drop(alarm)
        else:
            self._put(replace(alarm, shelved_until_ms=shelf.until_ms), at_ms)
        return [event]

    def unshelve(self, chamber: str, kind: Kind, at_ms: int) -> list[Event]:
        """End the quiet; what stands then needs acknowledging anew."""
        shelf = self.shelves.pop((chamber, kind), None)
        if shelf is None:
            return []
        alarm = self._alarms.get((chamber, kind))
        if alarm is None or (alarm.state, Trigger.UNSHELVE) not in TRANSITIONS:
            return [replace(shelf.event(chamber, kind, at_ms, Note.UNSHELVED), quiet=True)]
        alarm = replace(alarm, shelved_until_ms=None, acknowledged=False, acknowledged_by="")
        self._put(alarm, at_ms)
        return [self._noted(alarm, at_ms, Note.UNSHELVED)]

    def _break_shelf(self, alarm: Alarm) -> Alarm:
        """What becomes urgent is told, whoever asked for quiet before."""
        if self.shelves.pop((alarm.chamber, alarm.kind), None) is None:
            return alarm
        return replace(alarm, shelved_until_ms=None, acknowledged=False, acknowledged_by="")

    def update_worst(self, chamber: str, kind: Kind, worst: float) -> None:
        """Keep the furthest value of a standing alarm for its closing message."""
        alarm = self.standing(chamber, kind)
        if alarm is not None and alarm.worst != worst:
            self._alarms[chamber, kind] = replace(alarm, worst=worst)

    def _activate(self, chamber: str, edge: Edge, priority: Priority, probes: tuple[str, ...]) -> Event:
        ident = event_id(edge.kind, chamber, edge.probe, edge.at_ms, EventState.ACTIVE)
        if priority is not CATALOGUE[edge.kind].priority:
            self.shelves.pop((chamber, edge.kind), None)
        shelf = self.shelves.get((chamber, edge.kind))
        alarm = Alarm(
            chamber,
            edge.kind,
            acknowledged=False,
            since_ms=edge.since_ms,
            at_ms=edge.at_ms,
            priority=priority,
            probes=probes,
            value=edge.value,
            limit=edge.limit,
            event_id=ident,
            worst=edge.worst,
            because=self._cause(chamber, edge),
            detail=edge.detail,
            meets_ms=edge.meets_ms,
            shelved_until_ms=None if shelf is None else shelf.until_ms,
        )
        self._put(alarm, edge.at_ms)
        return self._event(alarm, ident, edge.at_ms, EventState.ACTIVE)

    def _cause(self, chamber: str, edge: Edge) -> str | None:
        """Return the id of the first one told of what this belongs to."""
        self._ended = [e for e in self._ended if edge.at_ms - e.at_ms <= causes.AFTER_MS]
        standing = [
            (a.at_ms, a.because or a.event_id)
            for a in self._alarms.values()
            if a.chamber == chamber
            and a.returned_ms is None
            and causes.belong_together(a.kind, edge.kind, edge.at_ms - a.at_ms)
        ]
        if standing:
            return min(standing)[1]
        ended = [
            (e.at_ms, e.cause)
            for e in self._ended
            if e.chamber == chamber and causes.goes_on(e, edge.kind, edge.at_ms)
        ]
        return max(ended)[1] if ended else None

    def _join(self, alarm: Alarm, edge: Edge) -> list[Event]:
        if edge.probe in alarm.probes:
            return []
        alarm = replace(alarm, probes=tuple(sorted((*alarm.probes, edge.probe))), value=edge.value)
        self._put(alarm, edge.at_ms)
        return [self._noted(alarm, edge.at_ms, Note.PROBE_JOINED, probe=edge.probe)]

    def _leave(self, alarm: Alarm, edge: Edge) -> Event:
        alarm = replace(alarm, probes=tuple(p for p in alarm.probes if p != edge.probe), value=edge.value)
        self._alarms[alarm.chamber, alarm.kind] = alarm
        return self._noted(alarm, edge.at_ms, Note.PROBE_LEFT, probe=edge.probe)

    def _return(self, alarm: Alarm, edge: Edge) -> Event:
        ident = event_id(alarm.kind, alarm.chamber, edge.probe, edge.at_ms, EventState.RETURNED)
        ended = causes.Ended(alarm.chamber, alarm.kind, alarm.because or alarm.event_id, edge.at_ms)
        self._ended = [*self._ended[-KEPT_ENDED:], ended]
        alarm = replace(alarm, value=edge.value, worst=alarm.worst if edge.worst is None else edge.worst)
        if TRANSITIONS[alarm.state, Trigger.RETURN] is None:
            self._drop(alarm)
        else:
            self._put(replace(alarm, returned_ms=edge.at_ms), edge.at_ms)
        return self._event(alarm, ident, edge.at_ms, EventState.RETURNED)

    def _put(self, alarm: Alarm, told_ms: int) -> None:
        self._alarms[alarm.chamber, alarm.kind] = alarm
        self._told_ms[alarm.chamber, alarm.kind] = max(told_ms, self.now_ms)
        self._count()

    def _drop(self, alarm: Alarm) -> None:
        del self._alarms[alarm.chamber, alarm.kind], self._told_ms[alarm.chamber, alarm.kind]
        self._count()

    def _count(self) -> None:
        self._busy = frozenset(a.chamber for a in self._alarms.values() if a.returned_ms is None)

    def _noted(
        self, alarm: Alarm, at_ms: int, note: Note, *, probe: str = "", limit: float | None = None
    ) -> Event:
        ident = event_id(alarm.kind, alarm.chamber, probe, at_ms, note)
        return self._event(alarm, ident, at_ms, EventState.NOTED, note, limit)

    def _event(
        self,
        alarm: Alarm,
        ident: str,
        at_ms: int,
        state: EventState,
        note: Note = Note.EDGE,
        limit: float | None = None,
    ) -> Event:
        shown = alarm.limit if limit is None else limit
        return Event(
            ident,
            at_ms,
            alarm.since_ms,
            alarm.kind,
            state,
            alarm.priority,
            alarm.chamber,
            alarm.probes if alarm.chamber else (),
            alarm.value,
            shown,
            because=alarm.because,
            note=note,
            worst=alarm.worst,
            detail=alarm.detail if alarm.chamber else ", ".join(alarm.probes),
            meets_ms=alarm.meets_ms,
            quiet=(alarm.chamber, alarm.kind) in self.shelves,
        )
