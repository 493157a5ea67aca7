"""Events, open alarms, notices owed and the snapshot into their tables, inside the caller's transaction."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from chamberwatch.journal.connection import named
from chamberwatch.model import Alarm, Kind, Priority

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable, Mapping, Sequence

    from chamberwatch.journal.records import Notice, Snapshot
    from chamberwatch.model import Event

ADD_EVENT = (
    "INSERT OR IGNORE INTO event(id, at_ms, since_ms, kind, state, priority, chamber, probes, value, "
    "limit_value, because, note, worst, late_ms, detail, text) "
    "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
)
ADD_ALARM = (
    "INSERT INTO alarm(chamber, kind, acknowledged, since_ms, at_ms, priority, probes, value, limit_value, "
    "event_id, acknowledged_by, worst, returned_ms, shelved_until_ms) "
    "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
)
ADD_NOTICE = (
    "INSERT OR IGNORE INTO notice(channel, event_id, repeat, due_ms, headline, body, priority) "
    "VALUES (?, ?, ?, ?, ?, ?, ?)"
)
ADD_SNAPSHOT = (
    "INSERT OR REPLACE INTO snapshot SELECT 1, ?, ?, ?, ?, ?, (SELECT coalesce(max(seq), 0) FROM behind)"
)


def add_events(db: sqlite3.Connection, events: Iterable[tuple[Event, str]]) -> set[str]:
    """Record each event once, whatever happens; return the ids that had been recorded before."""
    known = set()
    for event, text in events:
        if db.execute(ADD_EVENT, _event_row(event, text)).rowcount == 0:
            known.add(event.id)
    return known


def _event_row(e: Event, text: str) -> tuple[object, ...]:
    place = (e.kind.value, e.state.value, e.priority.value, e.chamber, json.dumps(e.probes))
    size = (e.value, e.limit, e.because, e.note.value, e.worst, e.late_ms, e.detail)
    return (e.id, e.at_ms, e.since_ms, *place, *size, text)


def owe(db: sqlite3.Connection, notices: Sequence[Notice], known: set[str]) -> None:
    """Put the notices into the outbox, except those of events recorded (and so told) before."""
    db.executemany(
        ADD_NOTICE,
        [
            (n.channel, n.event_id, n.repeat, n.due_ms, n.headline, n.body, n.priority)
            for n in notices
            if n.event_id not in known
        ],
    )


def replace_alarms(db: sqlite3.Connection, alarms: Iterable[Alarm]) -> None:
    """Make `alarms` the open alarms, and no others."""
    db.execute("DELETE FROM alarm")
    db.executemany(ADD_ALARM, [_alarm_row(a) for a in alarms])


def _alarm_row(a: Alarm) -> tuple[object, ...]:
    place = (a.chamber, a.kind.value, a.acknowledged, a.since_ms, a.at_ms, a.priority.value)
    return (
        *place,
        json.dumps(a.probes),
        a.value,
        a.limit,
        a.event_id,
        a.acknowledged_by,
        a.worst,
        a.returned_ms,
        a.shelved_until_ms,
    )


def load_alarms(db: sqlite3.Connection) -> list[Alarm]:
    """Return the open alarms, oldest first."""
    return [
        Alarm(
            chamber=row["chamber"],
            kind=Kind(row["kind"]),
            acknowledged=bool(row["acknowledged"]),
            since_ms=row["since_ms"],
            at_ms=row["at_ms"],
            priority=Priority(row["priority"]),
            probes=tuple(json.loads(row["probes"])),
            value=row["value"],
            limit=row["limit_value"],
            event_id=row["event_id"],
            acknowledged_by=row["acknowledged_by"],
            worst=row["worst"],
            returned_ms=row["returned_ms"],
            shelved_until_ms=row["shelved_until_ms"],
        )
        for row in named(db, "SELECT * FROM alarm ORDER BY at_ms, chamber, kind")
    ]


def load_resting(db: sqlite3.Connection, now_ms: int) -> dict[str, int]:
    """Return the probes that are out of service, and until when: as the watch knows and as asked since."""
    last = dict(db.execute("SELECT probe, until_ms FROM resting").fetchall())
    rows = db.execute("SELECT args FROM request WHERE verb = 'rest' AND done = 0 ORDER BY id").fetchall()
    last |= {args["probe"]: args["until_ms"] for args in (json.loads(text) for (text,) in rows)}
    return {probe: int(until_ms) for probe, until_ms in last.items() if until_ms > now_ms}


def replace_resting(db: sqlite3.Connection, resting: Mapping[str, int]) -> None:
    """Make these the probes that are out of service, and no others."""
    db.execute("DELETE FROM resting")
    db.executemany("INSERT INTO resting VALUES (?, ?)", list(resting.items()))


def keep_snapshot(db: sqlite3.Connection, snapshot: Snapshot, horizon_ms: int) -> None:
    """Keep this snapshot in place of the last, with how far the journal had come."""
    db.execute(ADD_SNAPSHOT, (*snapshot, horizon_ms))
