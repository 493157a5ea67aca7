"""The fold: inputs in, events out. No clock, file, socket, thread or logger.

Contract: `step` never raises on data; the same inputs in the same order give the same events, whether live,
replayed or restored from a snapshot in between. Two clocks run here: each probe's own (the time of its
newest reading), by which air is judged, and the arrival clock, by which silence and other deadlines fall due.
A deadline's event carries the deadline as its time, whichever input reports it.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

from chamberwatch.inputs import (
    Acknowledge,
    ChannelState,
    DiskFree,
    Hangs,
    Input,
    LinkBack,
    LinkLost,
    Rest,
    Resumed,
    Shelve,
    Stepped,
    Tend,
)
from chamberwatch.model import (
    MS_PER_MIN,
    MS_PER_S,
    Alarm,
    ChamberPlan,
    Event,
    HangingTime,
    Kind,
    Plan,
    Priority,
    Reading,
    Refusal,
)
from chamberwatch.rules import deadlines, doubt, house, pace, planned, quiet, rest, silence, urgent
from chamberwatch.rules.alarm import Board, fact
from chamberwatch.rules.catalogue import GAP_FLOOR_MS
from chamberwatch.rules.edge import Edge
from chamberwatch.rules.lane import Lane
from chamberwatch.rules.pair import Chamber

VERSION = 7
"""Of the snapshot's form. An unknown one is not read: the engine then starts afresh, having learnt anew."""
LATE_MS = 10 * MS_PER_MIN
"""A reading that arrives so much after its own time makes what it causes 'told late'."""
NEVER_MS = 1 << 62
SHAKEN = (Kind.COOLING_LOST, Kind.DOOR_OPEN, Kind.TEMPERATURE_HIGH, Kind.TEMPERATURE_DRIFT)
"""While one of these stands the air is not the same all over the chamber."""


class Engine:
    """The judge of one house."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._chambers: dict[str, ChamberPlan] = {c.name: c for c in plan.chambers}
        self._lanes = {p.name: Lane(p, self._chambers[p.chamber]) for p in plan.probes}
        self._rooms = {
            name: Chamber(name, [lane for lane in self._lanes.values() if lane.chamber == name])
            for name in self._chambers
        }
        self._stays: dict[str, tuple[HangingTime, ...]] = {}
        self._board = Board()
        self._link = deadlines.Link()
        self._now_ms = 0
        self._due_ms = NEVER_MS
        self._handlers: dict[type, Callable[[Any], list[Event]]] = {
            Refusal: self._refusal,
            Acknowledge: self._acknowledge,
            Tend: self._tend,
            Shelve: lambda item: quiet.take(item, self._board),
            Rest: self._rest,
            LinkLost: self._link_lost,
            LinkBack: self._link_back,
            Resumed: self._resumed,
            Stepped: self._stepped,
            Hangs: self._hangs,
            DiskFree: lambda item: self._house(Kind.DISK_LOW, house.DISK, item),
            ChannelState: lambda item: self._house(Kind.CHANNEL_FAILING, item.channel, item),
        }
        """What is not a reading; a tick only lets deadlines fall due."""
        self._timeless = frozenset({Resumed, Stepped, Hangs})
        """Let no deadline fall due: our own absence, a clock set anew, a fact whenever it was entered."""

    # -- the fold ------------------------------------------------------------------------------------------

    def step(self, item: Input) -> list[Event]:
        """Take one input; return what it made happen, in order."""
        if type(item) is Reading:
            events = self._reading(item)
        elif type(item) in self._timeless:
            events = self._other(item)
        else:
            events = self._until(item.arrived_ms if isinstance(item, Refusal) else item.at_ms)
            events += self._other(item)
        if events:
            self._due_ms = 0  # whatever happened may have brought a deadline nearer
        return events

    def _other(self, item: Input) -> list[Event]:
        handler = self._handlers.get(type(item))
        return handler(item) if handler is not None else []

    def _reading(self, reading: Reading) -> list[Event]:
        lane = self._lanes.get(reading.probe)
        if lane is None:
            return []
        arrived_ms = reading.arrived_ms
        events = self._until(arrived_ms) if arrived_ms > self._due_ms else []
        if self._now_ms == 0:
            self._begin(arrived_ms)
        self._now_ms = self._board.now_ms = max(self._now_ms, arrived_ms)
        if lane.rests_until_ms is not None:
            return events
        room = self._rooms[lane.chamber]
        minute = lane.minute.number
        begins = reading.at_ms // MS_PER_MIN > minute
        edges = self._begin_minute(room, lane, reading.at_ms) if begins else []
        found = lane.take(reading, frozen=room.frozen)
        edges += [edge for edge in found if not room.hold_back(lane, edge)] if found else []
        if lane.minute.number != minute:
            edges += self._end_minute(lane)
        if not edges and not self._board.busy(lane.chamber):
            return events
        late_ms = arrived_ms - reading.at_ms
        for edge in edges:
            told = self._tell(lane, edge if edge.probe else edge._replace(probe=reading.probe))
            events += [replace(e, late_ms=late_ms) for e in told] if late_ms > LATE_MS else told
        return events + self._follow(lane, reading, edges)

    def _begin_minute(self, room: Chamber, lane: Lane, at_ms: int) -> list[Edge]:
        """Let go of what has waited; fix what stands, so that all probes of the chamber learn alike in it.

        All this before the reading is taken: whoever is heard first must not answer for who is heard next.
        """
        edges = room.stuck(lane)
        if room.minute < at_ms // MS_PER_MIN:
            busy = self._board.busy(room.name)
            shaken = busy and any(self._board.standing(room.name, kind) for kind in SHAKEN)
            edges += room.begin(at_ms // MS_PER_MIN, frozen=busy, shaken=shaken)
        return edges

    def _end_minute(self, lane: Lane) -> list[Edge]:
        """Let the probes of the chamber be compared, and the plan follow the pieces' age."""
        if self._stays:
            self._follow_plan(lane)
        return self._rooms[lane.chamber].compare(lane)

    def _follow_plan(self, lane: Lane) -> None:
        """Judge the humidity by the plan for this probe's minute: a restart finds the same."""
        stays, at_ms = self._stays.get(lane.chamber, ()), lane.minute.number * MS_PER_MIN
        band = planned.humidity_band(self._chambers[lane.chamber], stays, at_ms)
        if band != lane.humidity.band:
            lane.humidity.plan(band)

    def _tell(self, lane: Lane, edge: Edge) -> list[Event]:
        return self._board.take(lane.chamber, edge, self._priority(lane, edge))

    def _priority(self, lane: Lane, edge: Edge) -> Priority | None:
        if urgent.limit_passed(self._chambers[lane.chamber], edge.kind, edge.value) is not None:
            return Priority.HIGH
        return Priority.LOW if doubt.within_accuracy(lane, edge.kind) else None

    def _follow(self, lane: Lane, reading: Reading, edges: list[Edge]) -> list[Event]:
        """Look after alarms that already stand: the silence that ended, the worst value, the urgent limit."""
        events: list[Event] = []
        if lane.heard_ms == reading.arrived_ms:
            events += self._heard(lane, reading.arrived_ms)
        sums = (*lane.temperature.sums, *lane.humidity.sums)
        for kind, state in zip(deadlines.BAND_KINDS, sums, strict=True):
            if state.active:
                self._board.update_worst(lane.chamber, kind, state.worst)
                events += self._make_sure(lane, kind, reading.at_ms, state.worst)
        if reading.temp_c is not None and lane.temperature.last_ms == reading.at_ms:
            for kind in urgent.SIGN:
                events += self._raise(lane, kind, reading, edges)
        return events

    def _make_sure(self, lane: Lane, kind: Kind, at_ms: int, worst: float) -> list[Event]:
        """Raise what was within the probe's accuracy and no longer is."""
        alarm = self._board.standing(lane.chamber, kind)
        if not doubt.is_over(lane, alarm):
            return []
        return self._board.raise_priority(lane.chamber, kind, at_ms, worst, to=Priority.MEDIUM)

    def _heard(self, lane: Lane, at_ms: int) -> list[Event]:
        """End a probe's silence, if it stands and this word is enough."""
        silent = self._board.standing(lane.chamber, Kind.PROBE_SILENT)
        if silent is None or lane.plan.name not in silent.probes:
            return []
        lane.again, over = silence.hear(lane.again, at_ms, lane.plan.every_s)
        return self._over(silent, lane.plan.name, at_ms) if over else []

    def _over(self, alarm: Alarm, probe: str, at_ms: int) -> list[Event]:
        """End a probe's part in an alarm that is about absence; the value is how long it lasted [min]."""
        minutes = (at_ms - alarm.since_ms) / MS_PER_MIN
        back = Edge(alarm.kind, probe, active=False, at_ms=at_ms, since_ms=alarm.since_ms, value=minutes)
        return self._board.take(alarm.chamber, back)

    def _raise(self, lane: Lane, kind: Kind, reading: Reading, edges: list[Edge]) -> list[Event]:
        alarm = self._board.standing(lane.chamber, kind)
        if alarm is None or reading.probe not in alarm.probes or any(e.kind is kind for e in edges):
            return []
        limit = urgent.limit_passed(self._chambers[lane.chamber], kind, reading.temp_c)
        if limit is None or reading.temp_c is None:
            return []
        return self._board.raise_priority(lane.chamber, kind, reading.at_ms, reading.temp_c, limit=limit)

    def _refusal(self, refusal: Refusal) -> list[Event]:
        lane = self._lanes.get(refusal.probe or "")
        if lane is None or lane.rests_until_ms is not None:
            return []
        events = [e for edge in lane.count(refusal.arrived_ms, bad=True) for e in self._tell(lane, edge)]
        lane.heard_ms = refusal.arrived_ms
        # It speaks again, if only nonsense: that is another alarm's business.
        return events + self._heard(lane, refusal.arrived_ms)

    # -- deadlines -----------------------------------------------------------------------------------------

    def _begin(self, at_ms: int) -> None:
        """Silence counts from the first moment of watching."""
        self._now_ms = at_ms
        for lane in self._lanes.values():
            if lane.heard_ms is None:
                lane.heard_ms = lane.good_ms = at_ms
        self._due_ms = 0

    def next_deadline_ms(self) -> int:
        """Return a lower bound of the next deadline on the arrival clock."""
        return self._due_ms

    def _until(self, now_ms: int) -> list[Event]:
        """Let every deadline before `now_ms` fall due, in order of time."""
        if self._now_ms == 0:
            self._begin(now_ms)
        self._now_ms = self._board.now_ms = max(self._now_ms, now_ms)
        events: list[Event] = []
        while self._due_ms < now_ms:
            due = deadlines.earliest(self._lanes, self._board, self._link)
            if due is None or due.at_ms >= now_ms:
                self._due_ms = NEVER_MS if due is None else due.at_ms
                break
            events += deadlines.fire(due, self._lanes, self._board, self._link)
        return events

    # -- everything else -----------------------------------------------------------------------------------

    def _resumed(self, item: Resumed) -> list[Event]:
        """Begin watching anew: what fell into our own absence is a gap of the monitor, not of a probe."""
        self._now_ms = self._board.now_ms = max(self._now_ms, item.at_ms)
        events: list[Event] = []
        for name in self._chambers:
            lanes = [lane for lane in self._lanes.values() if lane.chamber == name]
            patience_ms = max([GAP_FLOOR_MS, *(lane.hold_ms for lane in lanes)])
            if item.alive_ms is not None and item.at_ms - item.alive_ms > patience_ms:
                probes = tuple(sorted(lane.plan.name for lane in lanes))
                minutes = (item.at_ms - item.alive_ms) / MS_PER_MIN
                events.append(fact(Kind.MONITOR_GAP, name, probes, item.at_ms, item.alive_ms, minutes))
        for lane in self._lanes.values():
            lane.heard_ms = lane.good_ms = item.at_ms
        if any(lane.plan.over_broker for lane in self._lanes.values()):
            self._link = self._link.lost(item.at_ms)
        self._due_ms = 0
        return events

    def _acknowledge(self, item: Acknowledge) -> list[Event]:
        wanted = [
            a
            for a in self._board.alarms()
            if item.chamber in (None, a.chamber) and item.kind in (None, a.kind)
        ]
        return [e for a in wanted for e in self._board.acknowledge(a.chamber, a.kind, item.at_ms, item.by)]

    def _rest(self, item: Rest) -> list[Event]:
        lane = self._lanes.get(item.probe)
        if lane is None:
            return []
        plan = self._chambers[lane.chamber]
        events = rest.take(item, lane, self._rooms[lane.chamber], self._board, plan)
        self._follow_plan(lane)
        return events

    def _house(self, kind: Kind, name: str, item: DiskFree | ChannelState) -> list[Event]:
        alarm = self._board.standing(house.HOUSE, kind)
        standing = alarm is not None and name in alarm.probes
        if isinstance(item, DiskFree):
            edge = house.disk(item, standing=standing)
        else:
            edge = house.channel(item, standing=standing)
        return [] if edge is None else self._board.take(house.HOUSE, edge)

    def _stepped(self, item: Stepped) -> list[Event]:
        value_s = item.by_ms / MS_PER_S
        return [fact(Kind.CLOCK_STEP, house.HOUSE, (), item.at_ms, item.at_ms, value_s)]

    def _hangs(self, item: Hangs) -> list[Event]:
        self._stays[item.chamber] = item.stays
        for lane in self._lanes.values():
            self._follow_plan(lane)
        return []

    def _tend(self, item: Tend) -> list[Event]:
        """Open a door session, or lengthen the one that is on; one that is over changes nothing."""
        for lane in self._lanes.values():
            from_ms, until_ms = lane.tended
            if lane.chamber == item.chamber and item.until_ms > until_ms:
                lane.tended = (from_ms if item.at_ms <= until_ms else item.at_ms, item.until_ms)
        return []

    def _link_lost(self, item: LinkLost) -> list[Event]:
        self._link = self._link.lost(item.at_ms)
        self._due_ms = 0
        return []

    def _link_back(self, item: LinkBack) -> list[Event]:
        link = self._link
        events: list[Event] = []
        for chamber in deadlines.broker_chambers(self._lanes):
            alarm = self._board.standing(chamber, Kind.BROKER_LOST)
            if alarm is not None:
                events += [e for probe in alarm.probes for e in self._over(alarm, probe, item.at_ms)]
            if link.met and not item.kept:
                since_ms = link.lost_ms if link.lost_ms is not None else item.at_ms
                probes = deadlines.broker_probes(self._lanes, chamber)
                events.append(fact(Kind.BROKER_LOST, chamber, probes, item.at_ms, since_ms, None))
        for lane in self._lanes.values():
            if lane.plan.over_broker:
                lane.heard_ms = lane.good_ms = item.at_ms
        self._link = deadlines.Link(lost_ms=None, met=True)
        self._due_ms = 0
        return events

    # -- what others ask -----------------------------------------------------------------------------------

    def alarms(self) -> list[Alarm]:
        """Return every alarm that is not normal, oldest first."""
        return self._board.alarms()

    def resting(self) -> dict[str, int]:
        """Return the probes that are out of service, and until when."""
        lanes = self._lanes.items()
        return {name: lane.rests_until_ms for name, lane in lanes if lane.rests_until_ms is not None}

    def pace(self) -> dict[str, float]:
        """Return how fast each chamber warms between two runs of its compressor [°C/h], where learnt."""
        return pace.by_chamber(self._lanes.values())

    def learn_from(self, readings: Iterable[Reading]) -> None:
        """Learn each chamber's norm from its past: none of it is told, and nothing of it stands then."""
        past = Engine(self._plan)
        for reading in readings:
            past.step(reading)
        for name, lane in self._lanes.items():
            lane.slow.learn_from(past._lanes[name].slow)
        for name, room in self._rooms.items():
            room.learn_from(past._rooms[name])

    def snapshot(self) -> bytes:
        """Return the whole state as compressed JSON (≤ 4 kB a chamber)."""
        body = {
            "now_ms": self._now_ms,
            "lanes": {name: lane.to_json() for name, lane in self._lanes.items()},
            "board": self._board.to_json(),
            "link": list(self._link),
            "rooms": {name: room.to_json() for name, room in self._rooms.items()},
            "stays": self._stays,
        }
        return zlib.compress(json.dumps(body, separators=(",", ":")).encode())

    def restore(self, body: bytes) -> None:
        """Take up a snapshot of this `VERSION`; probes and chambers that are planned no more are left out."""
        state: dict[str, Any] = json.loads(zlib.decompress(body))
        self._now_ms = state["now_ms"]
        for name, lane in self._lanes.items():
            if name in state["lanes"]:
                lane.from_json(state["lanes"][name])
        self._board = Board.from_json(state["board"], {n: lane.chamber for n, lane in self._lanes.items()})
        self._link = deadlines.Link(*state["link"])
        for name, room in self._rooms.items():
            if name in state["rooms"]:
                room.from_json(state["rooms"][name])
        self._stays = {n: tuple(HangingTime(*stay) for stay in stays) for n, stays in state["stays"].items()}
        for lane in self._lanes.values():
            self._follow_plan(lane)
        self._due_ms = 0
