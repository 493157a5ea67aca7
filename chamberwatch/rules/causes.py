"""What follows from what: one fault is one first cause, its consequences are told as its updates.

Two alarms of one chamber belong together when one of their kinds can bring about the other's and the later
one begins while the earlier stands or within `AFTER_MS` of its end; so do two of one kind within `AGAIN_MS`.
The one told first leads, whichever is the physical cause: people read in order of time. Our choice, after
common practice.
"""

from __future__ import annotations

from typing import NamedTuple

from chamberwatch.model import MS_PER_H, MS_PER_MIN, Kind

AFTER_MS = 2 * MS_PER_H
AGAIN_MS = 30 * MS_PER_MIN
"""An alarm that comes back so soon after its end is the same story (ISA-18.2 calls it chattering)."""
BACKWARD_MS = 6 * MS_PER_H
"""So long after an effect was told its cause is still taken to be the same fault's; later it is a new one."""

_WARM = {Kind.TEMPERATURE_HIGH, Kind.TEMPERATURE_LOW, Kind.TEMPERATURE_DRIFT}
_DAMP = {Kind.HUMIDITY_HIGH, Kind.HUMIDITY_LOW, Kind.HUMIDITY_DRIFT, Kind.HUMIDITY_SWING}
_AIR = _WARM | _DAMP | {Kind.CONDENSATION_RISK}

BRINGS: dict[Kind, frozenset[Kind]] = {
    Kind.COOLING_LOST: frozenset(_AIR | {Kind.DOOR_OPEN}),
    Kind.DOOR_OPEN: frozenset(_AIR | {Kind.COOLING_LOST}),
    Kind.MONITOR_GAP: frozenset(),
    Kind.BROKER_LOST: frozenset({Kind.PROBE_SILENT}),
    Kind.PROBE_STUCK: frozenset(_AIR | {Kind.PROBES_DISAGREE, Kind.COOLING_LOST}),
    Kind.PROBES_DISAGREE: frozenset(_AIR | {Kind.COOLING_LOST, Kind.PROBE_STUCK}),
    Kind.PROBE_IMPLAUSIBLE: frozenset({Kind.PROBE_SILENT, Kind.PROBES_DISAGREE, Kind.PROBE_STUCK}),
    Kind.TEMPERATURE_DRIFT: frozenset(_AIR | {Kind.COOLING_LOST}),
    Kind.TEMPERATURE_HIGH: frozenset(_AIR | {Kind.COOLING_LOST, Kind.DOOR_OPEN}),
    Kind.TEMPERATURE_LOW: frozenset(_AIR),
    Kind.HUMIDITY_DRIFT: frozenset(_DAMP | {Kind.CONDENSATION_RISK}),
    Kind.HUMIDITY_HIGH: frozenset(_DAMP | {Kind.CONDENSATION_RISK}),
    Kind.HUMIDITY_LOW: frozenset(_DAMP),
    Kind.HUMIDITY_SWING: frozenset(_DAMP),
}


class Ended(NamedTuple):
    """An alarm that is over: where, what, its cause's id, when."""

    chamber: str
    kind: Kind
    cause: str
    at_ms: int


def belong_together(earlier: Kind, later: Kind, apart_ms: int) -> bool:
    """Return whether `later` may be told as an update of `earlier`, which began `apart_ms` before."""
    if later in BRINGS.get(earlier, frozenset()):
        return True
    return apart_ms <= BACKWARD_MS and earlier in BRINGS.get(later, frozenset())


def goes_on(ended: Ended, later: Kind, at_ms: int) -> bool:
    """Return whether `later`, which begins at `at_ms`, continues the story of an alarm that is over."""
    since_ms = at_ms - ended.at_ms
    if ended.kind is later:
        return since_ms <= AGAIN_MS and later is not Kind.DOOR_OPEN  # opened twice is two doors
    return since_ms <= AFTER_MS and belong_together(ended.kind, later, 0)
