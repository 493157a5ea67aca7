"""Which temperatures are urgent: beyond the chamber's limits for that, whatever the plan says. Pure."""

from __future__ import annotations

from chamberwatch.model import ChamberPlan, Kind

SIGN = {Kind.TEMPERATURE_HIGH: 1, Kind.TEMPERATURE_LOW: -1}


def limit_passed(plan: ChamberPlan, kind: Kind, value: float | None) -> float | None:
    """Return the urgent limit [°C] that a value of this kind is beyond; None if it is beyond none."""
    sign = SIGN.get(kind)
    if sign is None or value is None:
        return None
    limit_c = plan.urgent_high_c if sign > 0 else plan.urgent_low_c
    return limit_c if sign * (value - limit_c) > 0 else None
