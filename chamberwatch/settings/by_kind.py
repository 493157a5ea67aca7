"""What a chamber's kind plans where the file says nothing: common practice, no source.

cure-chamber   10-15 °C, 70-80 %RH, urgent beyond 1 and 18 °C (the tables' own defaults)
cold           1-4 °C, humidity not judged (0-100), urgent beyond -1 and 8 °C: the salting fridge
room           5-18 °C and 60-88 %RH as means over 24 h, urgent beyond 0 and 25 °C: a cellar or shed
"""

from __future__ import annotations

from typing import Any

from chamberwatch.model import ChamberKind

BY_KIND: dict[str, dict[str, dict[str, float]]] = {
    ChamberKind.COLD: {
        "temperature": {"low": 1.0, "high": 4.0},
        "humidity": {"low": 0.0, "high": 100.0},
        "urgent": {"low": -1.0, "high": 8.0},
    },
    ChamberKind.ROOM: {
        "temperature": {"low": 5.0, "high": 18.0},
        "humidity": {"low": 60.0, "high": 88.0},
        "urgent": {"low": 0.0, "high": 25.0},
    },
}


def filled(data: dict[str, Any]) -> dict[str, Any]:
    """Return the file's content with each chamber's missing keys filled by its kind."""
    rows = data.get("chamber")
    if not isinstance(rows, list):
        return data
    return data | {"chamber": [_chamber(row) if isinstance(row, dict) else row for row in rows]}


def _chamber(row: dict[str, Any]) -> dict[str, Any]:
    kind = row.get("kind")
    defaults = BY_KIND.get(kind, {}) if isinstance(kind, str) else {}
    return row | {
        table: values | _given(row, table) for table, values in defaults.items() if _fits(row, table)
    }


def _given(row: dict[str, Any], table: str) -> dict[str, Any]:
    return row.get(table) or {}


def _fits(row: dict[str, Any], table: str) -> bool:
    return isinstance(row.get(table, {}), dict)
