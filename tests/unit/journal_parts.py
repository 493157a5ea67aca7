"""Readings, events and alarms of an invented house for the journal's tests."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from chamberwatch.model import (
    Alarm,
    Band,
    ChamberKind,
    ChamberPlan,
    Event,
    EventState,
    Kind,
    Plan,
    Priority,
    ProbePlan,
    Reading,
)

if TYPE_CHECKING:
    from pathlib import Path

# 31 October 2026, on the edge of a five-minute bin.
T0 = 1_793_404_800_000
AIR = (Band(10.0, 15.0, 60.0), Band(70.0, 80.0, 100.0))
PLAN = Plan(
    (
        ChamberPlan("cellar", ChamberKind.CURE_CHAMBER, *AIR),
        ChamberPlan("salting", ChamberKind.COLD, Band(1.0, 4.0, 60.0), AIR[1], urgent_high_c=8.0),
    ),
    (
        ProbePlan("rear", "cellar", every_s=10.0),
        ProbePlan("front", "cellar", every_s=30.0, accuracy_c=0.5, over_broker=True),
        ProbePlan("low", "salting", every_s=60.0),
    ),
)


def at(seconds: float) -> int:
    """Return ms UTC that many seconds after T0."""
    return T0 + round(seconds * 1000)


def reading(seconds: float, temp_c: float | None, rh_pct: float | None, probe: str = "rear") -> Reading:
    """Return a reading that arrived when it was taken."""
    return Reading(probe, at(seconds), temp_c, rh_pct, at(seconds))


def event(name: str, seconds: float = 0.0, **changes: Any) -> Event:
    """Return a `temperature-high` event of the cellar, with `changes`."""
    plain = Event(
        name, at(seconds), at(seconds) - 60_000, Kind.TEMPERATURE_HIGH, EventState.ACTIVE, Priority.HIGH,
        "cellar", ("rear",), 16.2, 15.0,
    )  # fmt: skip
    return replace(plain, **changes)


def alarm(event_id: str, **changes: Any) -> Alarm:
    """Return the open alarm that event opened, with `changes`."""
    plain = Alarm(
        chamber="cellar",
        kind=Kind.TEMPERATURE_HIGH,
        acknowledged=False,
        since_ms=T0 - 60_000,
        at_ms=T0,
        priority=Priority.HIGH,
        probes=("rear", "front"),
        value=16.2,
        limit=15.0,
        event_id=event_id,
    )
    return replace(plain, **changes)


def rows(path: Path, query: str) -> list[tuple[Any, ...]]:
    """Return what a query of our own, on a connection of our own, finds in the file."""
    db = sqlite3.connect(path)
    try:
        return db.execute(query).fetchall()
    finally:
        db.close()
