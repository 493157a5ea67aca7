"""Kinds by what their messages share: the unit of the figure, who is spoken of, and what that one is."""

from __future__ import annotations

from chamberwatch.model import Kind

TEMPERATURE_KINDS = frozenset({Kind.TEMPERATURE_HIGH, Kind.TEMPERATURE_LOW})
AIR_KINDS = TEMPERATURE_KINDS | {Kind.HUMIDITY_HIGH, Kind.HUMIDITY_LOW}
"""The air outside its plan."""
DRIFT_KINDS = frozenset({Kind.TEMPERATURE_DRIFT, Kind.HUMIDITY_DRIFT})
CLIMATE_KINDS = (
    AIR_KINDS | DRIFT_KINDS | {Kind.HUMIDITY_SWING, Kind.CONDENSATION_RISK, Kind.COOLING_LOST, Kind.DOOR_OPEN}
)
"""Told of a chamber as a whole; the probes are who says so."""
WARM_KINDS = frozenset({Kind.TEMPERATURE_HIGH, Kind.COOLING_LOST, Kind.DOOR_OPEN})
"""Their figure is a temperature that climbs."""
FIGURE_KINDS = AIR_KINDS | DRIFT_KINDS | WARM_KINDS
"""Their figure is the air itself, and says enough alone."""
DEGREE_KINDS = TEMPERATURE_KINDS | WARM_KINDS | {Kind.TEMPERATURE_DRIFT, Kind.CONDENSATION_RISK}
HALF_KINDS = frozenset({Kind.PROBE_STUCK, Kind.PROBES_DISAGREE})
"""About one half of a probe: `Event.detail` says which, "temperature" or "humidity"."""
HOUSE_KINDS = frozenset({Kind.CLOCK_STEP, Kind.DISK_LOW, Kind.CHANNEL_FAILING})
"""About the monitor itself, of no chamber."""

TOO = {
    Kind.TEMPERATURE_HIGH: "too warm",
    Kind.TEMPERATURE_LOW: "too cold",
    Kind.HUMIDITY_HIGH: "too damp",
    Kind.HUMIDITY_LOW: "too dry",
    Kind.PROBE_SILENT: "silent",
    Kind.PROBE_IMPLAUSIBLE: "sending nonsense",
    Kind.MONITOR_GAP: "unwatched",
    Kind.BROKER_LOST: "cut off from the broker",
    Kind.TEMPERATURE_DRIFT: "drifting in temperature",
    Kind.HUMIDITY_DRIFT: "drifting in humidity",
    Kind.HUMIDITY_SWING: "swinging in humidity",
    Kind.CONDENSATION_RISK: "damp enough to wet the meat",
    Kind.COOLING_LOST: "not cooling",
    Kind.DOOR_OPEN: "standing open",
    Kind.PROBE_STUCK: "stuck",
    Kind.PROBES_DISAGREE: "away from its own past",
    Kind.CLOCK_STEP: "set anew",
    Kind.DISK_LOW: "nearly full",
    Kind.CHANNEL_FAILING: "not getting through",
}
"""What the subject is, after the word "is": the chamber, the probe, or what `OF_THE_HOUSE` names."""

OF_THE_HOUSE = {
    Kind.CLOCK_STEP: "the board's clock",
    Kind.DISK_LOW: "the board's disk",
    Kind.CHANNEL_FAILING: "messages",
}
"""The subject of what concerns no chamber; messages go by the channels that the event names as its probes."""
