"""What the monitor told, held against what the weekend says must, may and must not be told."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

from chamberwatch.model import EventState, Kind, Priority
from chamberwatch.wire.timestamp import parse_rfc3339
from simulator.table import day_and_time

if TYPE_CHECKING:
    from collections.abc import Iterable

    from simulator.weekend import Act, Expected, Weekend


class Told(NamedTuple):
    """One event line of the monitor."""

    id: str
    at_ms: int
    kind: Kind
    state: EventState
    priority: Priority
    chamber: str
    probes: frozenset[str]
    pieces: frozenset[str]
    because: str | None
    text: str


@dataclass(slots=True)
class Verdict:
    """`told`: each act of the cast and what of it was missed. `wrong`: what nobody should have been told."""

    told: list[tuple[Act, list[str]]] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)

    @property
    def good(self) -> bool:
        """Whether everything that had to be told was, and nothing else."""
        return not self.wrong and not any(missed for _, missed in self.told)

    def closing_line(self) -> str:
        """Return the one line a person remembers."""
        faults = [missed for act, missed in self.told if act.must]
        hit = sum(not missed for missed in faults)
        return f"told: {hit} of {len(faults)} faults, wrong alarms: {len(self.wrong)}"


def events_of(lines: str) -> list[Told]:
    """Return the events of the monitor's JSON Lines; ValueError or KeyError if it broke its contract."""
    return [_told(json.loads(line)) for line in lines.splitlines() if line.strip()]


def _told(row: dict[str, Any]) -> Told:
    return Told(
        id=row["id"],
        at_ms=parse_rfc3339(row["at"]),
        kind=Kind(row["kind"]),
        state=EventState(row["state"]),
        priority=Priority(row["priority"]),
        chamber=row["chamber"],
        probes=frozenset(row["probes"]),
        pieces=frozenset(row["pieces"]),
        because=row["because"],
        text=row["text"],
    )


def judge(weekend: Weekend, events: list[Told]) -> Verdict:
    """Hold the events, in their order, against the weekend."""
    verdict = Verdict()
    claimed: set[str] = set()
    for act in weekend.acts:
        missed = [text for expected in act.must for text in _claim(expected, events, claimed)]
        verdict.told.append((act, missed))
    may = [e for act in weekend.acts for e in act.may]
    for event in events:
        why = _fault_of(weekend, event, events, claimed, may)
        if why:
            verdict.wrong.append(f"{day_and_time(event.at_ms)} {event.kind} {event.state}: {why}")
    return verdict


def _claim(expected: Expected, events: list[Told], claimed: set[str]) -> list[str]:
    """Find the event that fulfils an expectation and mark it; return what is missing."""
    found = next((e for e in events if e.id not in claimed and _fits(expected, e)), None)
    if found is None:
        span = f"{day_and_time(expected.from_ms)} to {day_and_time(expected.to_ms)}"
        return [f"{expected.kind} {expected.state} was not told within {span}"]
    claimed.add(found.id)
    if expected.over_by_ms is None or _over(found, expected.over_by_ms, events):
        return []
    return [f"{expected.kind} was not over by {day_and_time(expected.over_by_ms)}"]


def _over(found: Told, by_ms: int, events: Iterable[Told]) -> bool:
    ends = (e.at_ms for e in events if e.kind == found.kind and e.state is EventState.RETURNED)
    return any(found.at_ms < at_ms <= by_ms for at_ms in ends)


def _fits(expected: Expected, event: Told) -> bool:
    return (
        event.kind == expected.kind
        and event.state == expected.state
        and expected.from_ms <= event.at_ms <= expected.to_ms
        and expected.priority in (None, event.priority)
        and (expected.probe is None or expected.probe in event.probes)
    )


def _fault_of(
    weekend: Weekend, event: Told, events: list[Told], claimed: set[str], may: list[Expected]
) -> str:
    """Return why an event is wrong, or '' if it is not."""
    if event.state is not EventState.RETURNED and any(_named(e, event) for e in weekend.never):
        return "must never be told this weekend"
    hanging = weekend.hanging_at(event.at_ms)
    if event.chamber and event.pieces != hanging:
        return f"told against {_list(event.pieces)}; hanging were {_list(hanging)}"
    if event.because is not None and not any(e.id == event.because for e in events):
        return "follows from an event that is not there"
    if event.id in claimed or event.because is not None or event.state is EventState.RETURNED:
        return ""
    noted = event.state is EventState.NOTED and _standing(event, events)
    return "" if noted or any(_named(e, event) for e in may) else "nothing of the kind was to be told here"


def _named(expected: Expected, event: Told) -> bool:
    """Whether kind, time and probe fit, whatever the state."""
    return (
        event.kind == expected.kind
        and expected.from_ms <= event.at_ms <= expected.to_ms
        and (expected.probe is None or expected.probe in event.probes)
    )


def _standing(event: Told, events: Iterable[Told]) -> bool:
    """Whether an alarm of that kind and chamber stands when the event is noted."""
    stands = False
    for other in events:
        if other.id == event.id:
            break
        if (other.kind, other.chamber) == (event.kind, event.chamber) and other.state is not EventState.NOTED:
            stands = other.state is EventState.ACTIVE
    return stands


def _list(names: Iterable[str]) -> str:
    return ", ".join(sorted(names)) or "nothing"
