"""Whether a probe's air is outside its band by no more than the probe itself may be wrong.

Such air is recorded, at low priority, and pushed to nobody: the probe's maker does not say that it is so.
Pure; a mean that is not known yet gives no benefit of the doubt.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from chamberwatch.model import Kind, Priority

if TYPE_CHECKING:
    from chamberwatch.model import Alarm
    from chamberwatch.rules.lane import Lane

BAND_KINDS = {
    Kind.TEMPERATURE_HIGH: ("temperature", 0),
    Kind.TEMPERATURE_LOW: ("temperature", 1),
    Kind.HUMIDITY_HIGH: ("humidity", 0),
    Kind.HUMIDITY_LOW: ("humidity", 1),
}
"""Kind → the quantity's track and which of its sums."""


def within_accuracy(lane: Lane, kind: Kind) -> bool:
    """Whether the mean over a cycle and the furthest reading but for a saw-tooth are within the accuracy."""
    norm = lane.slow.norm
    if kind not in BAND_KINDS or norm is None or lane.judged_by_day:
        return False
    name, side = BAND_KINDS[kind]
    temperature = name == "temperature"
    mean = lane.slow.means[0 if temperature else 1]
    if mean is None:
        return False
    track = getattr(lane, name)
    limit, sign = (track.band.high, 1.0) if side == 0 else (track.band.low, -1.0)
    accuracy = lane.plan.accuracy_c if temperature else lane.plan.accuracy_pct
    saw = norm.saw_c if temperature else norm.saw_pct
    furthest = sign * (track.sums[side].worst - limit)
    return bool(sign * (mean - limit) <= accuracy and furthest <= accuracy + saw)


def is_over(lane: Lane, alarm: Alarm | None) -> bool:
    """Whether an alarm that this probe's accuracy kept low no longer deserves that."""
    if alarm is None or alarm.priority is not Priority.LOW or lane.plan.name not in alarm.probes:
        return False
    return not within_accuracy(lane, alarm.kind)
