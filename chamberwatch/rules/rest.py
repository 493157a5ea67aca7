"""A probe out of service (ANSI/ISA-18.2's word): neither what it says nor its silence raises anything.

Rules for this file: a rest always ends by itself. Readings of that time are stored and fed to no rule, late
ones included; what stood by this probe alone ends with the rest's beginning, marked as such and told nobody.
Afterwards the probe is judged as a new one that kept what it had learnt.
"""

from __future__ import annotations

from dataclasses import replace

from chamberwatch.inputs import Rest
from chamberwatch.model import MS_PER_DAY, ChamberPlan, Event, EventState, Kind, Note
from chamberwatch.rules.alarm import Board, fact
from chamberwatch.rules.edge import Edge, event_id
from chamberwatch.rules.lane import Lane
from chamberwatch.rules.pair import Chamber

LONGEST_MS = 14 * MS_PER_DAY
"""Time to send for a new one. The owner's choice; no source."""


def take(item: Rest, lane: Lane, room: Chamber, board: Board, plan: ChamberPlan) -> list[Event]:
    """Begin a rest, give it another end, or end it."""
    if item.until_ms <= item.at_ms:
        return end(lane, item.at_ms) if lane.rests_until_ms is not None else []
    begins = lane.rests_until_ms is None
    lane.rests_until_ms = item.until_ms
    events = [replace(_note(lane, Note.RESTS, item.at_ms), detail=item.by, meets_ms=item.until_ms)]
    if begins:
        events += _leave(lane.plan.name, lane.chamber, item.at_ms, board)
        room.leave(lane.plan.name)
        lane.begin_anew(plan)
    return events


def end(lane: Lane, at_ms: int) -> list[Event]:
    """End a rest: silence counts from now."""
    lane.rests_until_ms = None
    lane.heard_ms = lane.good_ms = at_ms
    return [_note(lane, Note.WORKS, at_ms)]


def _note(lane: Lane, note: Note, at_ms: int) -> Event:
    name = lane.plan.name
    ident = event_id(Kind.PROBE_SILENT, lane.chamber, name, at_ms, note)
    event = fact(Kind.PROBE_SILENT, lane.chamber, (name,), at_ms, at_ms, None)
    return replace(event, id=ident, note=note)


def _leave(probe: str, chamber: str, at_ms: int, board: Board) -> list[Event]:
    """End the probe's part in whatever stands."""
    events: list[Event] = []
    for alarm in board.alarms():
        if alarm.chamber == chamber:
            edge = Edge(
                alarm.kind, probe, active=False, at_ms=at_ms, since_ms=alarm.since_ms, value=alarm.value
            )
            events += board.take(chamber, edge)
    return [replace(e, note=Note.RESTS, quiet=True) if e.state is EventState.RETURNED else e for e in events]
