"""What follows from what: one fault is one first cause, its consequences are told as its updates.

Two alarms of one chamber belong together when one of their kinds can bring about the other's and the later
one begins while the earlier stands or within `AFTER_MS` of its end. The one told first leads, whichever is
the physical cause: people read in order of time. Our choice, after common practice.
"""

from __future__ import annotations

from chamberwatch.model import MS_PER_H, Kind

AFTER_MS = 2 * MS_PER_H
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


def belong_together(earlier: Kind, later: Kind, apart_ms: int) -> bool:
    """Return whether `later` may be told as an update of `earlier`, which began `apart_ms` before."""
    if later in BRINGS.get(earlier, frozenset()):
        return True
    return apart_ms <= BACKWARD_MS and earlier in BRINGS.get(later, frozenset())
