"""What falls due when nothing comes: silence, a chamber without eyes, a lost broker, an alarm told again.

A deadline is computed from state, never stored: so a restart loses none. Ties are broken by kind, chamber
and probe, so that the order of events never depends on the order of a dictionary.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from chamberwatch.model import MS_PER_MIN, Event, Kind, Priority
from chamberwatch.rules import rest
from chamberwatch.rules.alarm import Board
from chamberwatch.rules.catalogue import BROKER_PATIENCE_MS, RE_ALARM_MS
from chamberwatch.rules.edge import Edge
from chamberwatch.rules.lane import Lane
from chamberwatch.rules.silence import BLIND_MS

BAND_KINDS = (Kind.TEMPERATURE_HIGH, Kind.TEMPERATURE_LOW, Kind.HUMIDITY_HIGH, Kind.HUMIDITY_LOW)
BLIND_KINDS = (Kind.PROBE_SILENT, Kind.PROBE_IMPLAUSIBLE, Kind.BROKER_LOST)


class Link(NamedTuple):
    """The broker as the engine knows it: since when it is lost, and whether we were ever connected."""

    lost_ms: int | None = None
    met: bool = False

    def lost(self, at_ms: int) -> Link:
        """Return the link as lost since `at_ms`, unless it was already."""
        return self if self.lost_ms is not None else Link(at_ms, self.met)


class Due(NamedTuple):
    """One deadline; fields in the order in which ties are broken."""

    at_ms: int
    kind: Kind
    chamber: str
    probe: str
    what: str


def broker_chambers(lanes: dict[str, Lane]) -> list[str]:
    """Return the chambers that have a probe on the broker."""
    return sorted({lane.chamber for lane in lanes.values() if _listens(lane)})


def broker_probes(lanes: dict[str, Lane], chamber: str) -> tuple[str, ...]:
    """Return the probes of a chamber that speak through the broker."""
    return tuple(sorted(n for n, lane in lanes.items() if lane.chamber == chamber and _listens(lane)))


def _listens(lane: Lane) -> bool:
    return lane.plan.over_broker and lane.rests_until_ms is None


def earliest(lanes: dict[str, Lane], board: Board, link: Link) -> Due | None:
    """Return the deadline that falls due first, or None."""
    return min(_all(lanes, board, link), default=None)


def _all(lanes: dict[str, Lane], board: Board, link: Link) -> Iterator[Due]:
    yield from _silences(lanes, board)
    yield from _blindness(lanes, board)
    if link.lost_ms is not None:
        for chamber in broker_chambers(lanes):
            if board.standing(chamber, Kind.BROKER_LOST) is None:
                yield Due(link.lost_ms + BROKER_PATIENCE_MS, Kind.BROKER_LOST, chamber, "", "raise")
    for (chamber, kind), shelf in board.shelves.items():
        yield Due(shelf.until_ms, kind, chamber, "", "unshelve")
    for name, lane in lanes.items():
        if lane.rests_until_ms is not None:
            yield Due(lane.rests_until_ms, Kind.PROBE_SILENT, lane.chamber, name, "work")
    for alarm in board.alarms():
        if alarm.returned_ms is None and alarm.shelved_until_ms is None:
            yield Due(board.told_ms(alarm) + RE_ALARM_MS, alarm.kind, alarm.chamber, "", "again")


def _silences(lanes: dict[str, Lane], board: Board) -> Iterator[Due]:
    for name, lane in lanes.items():
        if lane.heard_ms is None or lane.bad.active or lane.rests_until_ms is not None:
            continue
        if lane.plan.over_broker and board.standing(lane.chamber, Kind.BROKER_LOST) is not None:
            continue
        silent = board.standing(lane.chamber, Kind.PROBE_SILENT)
        if silent is None or name not in silent.probes:
            yield Due(lane.heard_ms + lane.hold_ms, Kind.PROBE_SILENT, lane.chamber, name, "raise")


def _blindness(lanes: dict[str, Lane], board: Board) -> Iterator[Due]:
    """An hour without one good reading makes whatever tells of it urgent."""
    for chamber in {lane.chamber for lane in lanes.values() if lane.rests_until_ms is None}:
        alarm = next((a for k in BLIND_KINDS if (a := board.standing(chamber, k)) is not None), None)
        if alarm is not None and alarm.priority is not Priority.HIGH:
            last_ms = max(lane.good_ms or 0 for lane in _working(lanes, chamber))
            yield Due(max(last_ms + BLIND_MS, alarm.at_ms), alarm.kind, chamber, "", "blind")


def _working(lanes: dict[str, Lane], chamber: str) -> list[Lane]:
    return [lane for lane in lanes.values() if lane.chamber == chamber and lane.rests_until_ms is None]


def fire(due: Due, lanes: dict[str, Lane], board: Board, link: Link) -> list[Event]:
    """Let one deadline fall due: apply its edge to the board and return what that tells."""
    if due.what == "again":
        alarm = board.standing(due.chamber, due.kind)
        return [] if alarm is None else board.re_alarm(alarm, due.at_ms)
    if due.what == "unshelve":
        return board.unshelve(due.chamber, due.kind, due.at_ms)
    if due.what == "work":
        return rest.end(lanes[due.probe], due.at_ms)
    if due.what == "blind":
        minutes = BLIND_MS / MS_PER_MIN
        return board.raise_priority(due.chamber, due.kind, due.at_ms, minutes, limit=minutes)
    if due.kind is Kind.BROKER_LOST:
        return _broker_lost(due, lanes, board, link)
    lane = lanes[due.probe]
    return board.take(due.chamber, _raised(due, due.probe, due.at_ms - lane.hold_ms, lane.hold_ms))


def _broker_lost(due: Due, lanes: dict[str, Lane], board: Board, link: Link) -> list[Event]:
    since_ms = link.lost_ms if link.lost_ms is not None else due.at_ms
    probes = broker_probes(lanes, due.chamber)
    return board.take(due.chamber, _raised(due, probes[0], since_ms, BROKER_PATIENCE_MS), probes=probes)


def _raised(due: Due, probe: str, since_ms: int, patience_ms: int) -> Edge:
    minutes = patience_ms / MS_PER_MIN
    return Edge(
        due.kind, probe, active=True, at_ms=due.at_ms, since_ms=since_ms, value=minutes, limit=minutes
    )
