"""The plan of the house as the journal remembers it: JSON in `meta`, so that a journal alone is enough."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from chamberwatch.model import Band, ChamberKind, ChamberPlan, Phase, Plan, ProbePlan

if TYPE_CHECKING:
    import sqlite3


def get_meta(db: sqlite3.Connection, key: str) -> str | None:
    """Return the value kept under `key`, or None."""
    row = db.execute("SELECT value FROM meta WHERE key = ?", (key,)).fetchone()
    return None if row is None else str(row[0])


def set_meta(db: sqlite3.Connection, key: str, value: str) -> None:
    """Keep `value` under `key`; the caller holds the transaction."""
    db.execute(
        "INSERT INTO meta VALUES (?, ?) ON CONFLICT DO UPDATE SET value = excluded.value", (key, value)
    )


def encode(plan: Plan) -> str:
    """Return the plan as JSON text."""
    return json.dumps(asdict(plan), ensure_ascii=False, separators=(",", ":"))


def decode(text: str) -> Plan:
    """Return the plan `encode` was given."""
    body = json.loads(text)
    return Plan(
        chambers=tuple(_chamber(c) for c in body["chambers"]),
        probes=tuple(ProbePlan(**p) for p in body["probes"]),
    )


def _chamber(c: dict[str, Any]) -> ChamberPlan:
    return ChamberPlan(
        **{
            **c,
            "kind": ChamberKind(c["kind"]),
            "temperature": Band(**c["temperature"]),
            "humidity": Band(**c["humidity"]),
            "phases": tuple(Phase(**p) for p in c.get("phases", ())),
        }
    )


def read_plan(db: sqlite3.Connection) -> Plan | None:
    """Return the plan of the last watch or replay, None before the first."""
    text = get_meta(db, "plan")
    return None if text is None else decode(text)


def read_units(db: sqlite3.Connection) -> str:
    """Return "metric" or "us", as the last watch or replay was set."""
    return get_meta(db, "units") or "metric"


def write_plan(db: sqlite3.Connection, plan: Plan, units: str) -> None:
    """Keep plan and units and give every probe its row; the caller holds the transaction."""
    set_meta(db, "plan", encode(plan))
    set_meta(db, "units", units)
    db.executemany(
        "INSERT INTO probe(name, chamber) VALUES (?, ?) "
        "ON CONFLICT(name) DO UPDATE SET chamber = excluded.chamber",
        [(p.name, p.chamber) for p in plan.probes],
    )
