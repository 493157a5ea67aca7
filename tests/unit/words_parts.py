"""A house in words: its chambers, its pieces, a Saturday night, for the tests of the messages."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

from chamberwatch.model import (
    Band,
    ChamberKind,
    ChamberPlan,
    Event,
    EventState,
    Hanging,
    Kind,
    Note,
    Priority,
)
from chamberwatch.wire.timestamp import parse_rfc3339
from chamberwatch.words import Scene

CELLAR = ChamberPlan("cellar", ChamberKind.CURE_CHAMBER, Band(10, 15, 60), Band(70, 80, 100))
SALTING = ChamberPlan("salting", ChamberKind.COLD, Band(1, 4, 60), Band(30, 95, 100), -1.0, 8.0)
SHED = ChamberPlan("shed", ChamberKind.ROOM, Band(5, 18, 60), Band(60, 88, 100))
LOIN, BRESAOLA = Hanging("Loin 1", 50), Hanging("Bresaola 2", 9)
SCENE = Scene(CELLAR, (LOIN, BRESAOLA), ZoneInfo("Europe/Paris"))
FRONT = {"other_probe": "front", "other_temp_c": 14.1, "other_rh_pct": 75.6}
SEEN = {"last_temp_c": 13.1, "last_rh_pct": 76.0, "last_at_ms": parse_rfc3339("2026-11-21T23:50:00+01:00")}
BEGAN_MS = parse_rfc3339("2026-11-21T23:52:00+01:00")  # a Saturday
MIN_MS = 60_000


def event(kind: Kind, *, after_min: float = 78, **fields) -> Event:
    """Return an active event of that kind that began on Saturday at 23:52."""
    base = Event(
        "e1", round(BEGAN_MS + after_min * MIN_MS), BEGAN_MS, kind, EventState.ACTIVE, Priority.MEDIUM, "cellar", ("rear",)
    )
    return replace(base, **fields)


def noted(kind: Kind, note: Note, **fields) -> Event:
    """Return a noted event."""
    return event(kind, state=EventState.NOTED, note=note, **fields)
