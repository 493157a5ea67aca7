"""The journal from a cursor on, for the series writer: nothing skipped, some rows twice.

Rows are read in order of (time, probe). What lands at or before the journal's newest time is also in
`behind`, by number, so a cursor of (time, probe, number) misses nothing. Giving a row again is harmless:
whoever reads here writes to a place where the same row twice is the same row.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.journal.connection import explained, reading, transaction
from chamberwatch.journal.intake import NEVER_MS
from chamberwatch.journal.schema import open_journal
from chamberwatch.journal.stays import hanging, load_stays
from chamberwatch.model import MS_PER_MIN

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Sequence
    from pathlib import Path

    from chamberwatch.journal.stays import Stay

SAVE_EVERY_MS = 5 * MS_PER_MIN
LOOK_BACK = -1  # a number still to be found from the cursor's time

AHEAD = """
    SELECT r.at_ms, r.probe_id, p.name, p.chamber, r.temp_centi, r.rh_centi
    FROM reading r JOIN probe p ON p.id = r.probe_id
    WHERE (r.at_ms, r.probe_id) > (?, ?) ORDER BY r.at_ms, r.probe_id LIMIT ?
"""
BEHIND = """
    SELECT b.seq, b.at_ms, b.probe_id, p.name, p.chamber, r.temp_centi, r.rh_centi
    FROM behind b JOIN probe p ON p.id = b.probe_id
    JOIN reading r ON r.at_ms = b.at_ms AND r.probe_id = b.probe_id
    WHERE b.seq > ? ORDER BY b.seq LIMIT ?
"""
EVENTS = """
    SELECT seq, probes, id, at_ms, since_ms, kind, state, priority, chamber, value, limit_value, because,
        note, worst, late_ms, text
    FROM event WHERE seq > ? ORDER BY seq LIMIT ?
"""
LANDED_BEFORE = "SELECT seq FROM behind WHERE landed_ms < ? ORDER BY seq DESC LIMIT 1"
TOLD_BEFORE = "SELECT seq FROM event WHERE at_ms + late_ms < ? ORDER BY seq DESC LIMIT 1"


class Cursor(NamedTuple):
    """How far a reader of the tail has come."""

    at_ms: int = NEVER_MS
    probe_id: int = 0
    behind_seq: int = 0
    event_seq: int = 0

    def rewound(self, ms: int) -> Cursor:
        """Return a cursor that gives again what was committed in the last `ms` of the journal's time."""
        if self.at_ms == NEVER_MS:
            return Cursor()
        return Cursor(self.at_ms - ms, 0, LOOK_BACK, LOOK_BACK)


class Row(NamedTuple):
    """One reading."""

    at_ms: int
    probe: str
    chamber: str
    temp_c: float | None
    rh_pct: float | None


class EventRow(NamedTuple):
    """One event with the names of the pieces that hung there at its time, the longest-hanging first."""

    id: str
    at_ms: int
    since_ms: int
    kind: str
    state: str
    priority: str
    chamber: str
    value: float | None
    limit: float | None
    because: str | None
    note: str
    worst: float | None
    late_ms: int
    text: str
    probes: tuple[str, ...]
    pieces: tuple[str, ...]


class Tail:
    """Reads on from named cursors. Used by the thread that opened it; JournalError when it cannot be used."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._db = open_journal(path)
        self._kept: dict[str, Cursor] = {}
        self._unkept: dict[str, Cursor] = {}

    def close(self) -> None:
        """Write the cursors that wait to be, and let go of the journal."""
        try:
            while self._unkept:
                self._keep(*self._unkept.popitem())
        finally:
            self._db.close()

    def cursor(self, name: str) -> Cursor:
        """Return the cursor saved under `name`; one at the very beginning if there is none."""
        if name in self._unkept:
            return self._unkept[name]
        with explained(self._path):
            row = self._db.execute("SELECT body FROM cursor WHERE name = ?", (name,)).fetchone()
        return Cursor() if row is None else Cursor(*json.loads(row[0]))

    def save(self, name: str, cursor: Cursor) -> None:
        """Keep the cursor under `name`: on disk when it has moved 5 min since the last time, or at `close`.

        A save is a commit, and one every 10 s would wear a card more than the readings do. What a kill loses
        of it is only that some rows are given again.
        """
        kept = self._kept.get(name)
        if kept is not None and 0 <= cursor.at_ms - kept.at_ms < SAVE_EVERY_MS:
            self._unkept[name] = cursor
        elif cursor != kept:
            self._keep(name, cursor)
            self._unkept.pop(name, None)

    def _keep(self, name: str, cursor: Cursor) -> None:
        query = "INSERT INTO cursor VALUES (?, ?) ON CONFLICT DO UPDATE SET body = excluded.body"
        with transaction(self._db, self._path):
            self._db.execute(query, (name, json.dumps(cursor)))
        self._kept[name] = cursor

    def readings(self, cursor: Cursor, limit: int) -> tuple[list[Row], Cursor]:
        """Return at most `limit` rows after the cursor, and the cursor after them.

        No rows and the same cursor come back when there is nothing more. A row's chamber is where its
        probe hangs now.
        """
        with reading(self._db, self._path):
            start = self._found(cursor)
            rows, behind_seq = self._behind(start, limit)
            ahead = self._db.execute(AHEAD, (start.at_ms, start.probe_id, limit - len(rows))).fetchall()
        last = ahead[-1] if ahead else start
        rows += [_row(name, chamber, at_ms, temp, rh) for at_ms, _, name, chamber, temp, rh in ahead]
        return rows, start._replace(at_ms=last[0], probe_id=last[1], behind_seq=behind_seq)

    def _behind(self, start: Cursor, limit: int) -> tuple[list[Row], int]:
        """Return the rows that landed behind; those the cursor has not reached come in their turn anyway."""
        found = self._db.execute(BEHIND, (start.behind_seq, limit)).fetchall()
        rows = [
            _row(name, chamber, at_ms, temp, rh)
            for _, at_ms, probe_id, name, chamber, temp, rh in found
            if (at_ms, probe_id) <= (start.at_ms, start.probe_id)
        ]
        return rows, found[-1][0] if found else start.behind_seq

    def events(self, cursor: Cursor, limit: int) -> tuple[list[EventRow], Cursor]:
        """Return at most `limit` events after the cursor in the order they were recorded, and the cursor."""
        with reading(self._db, self._path):
            start = self._found(cursor)
            found = self._db.execute(EVENTS, (start.event_seq, limit)).fetchall()
            stays = load_stays(self._db) if found else ()
        rows = [
            EventRow(*(*row[2:], tuple(json.loads(row[1])), _names(stays, chamber=row[8], at_ms=row[3])))
            for row in found
        ]
        return rows, start._replace(event_seq=found[-1][0]) if found else start

    def _found(self, cursor: Cursor) -> Cursor:
        if LOOK_BACK not in (cursor.behind_seq, cursor.event_seq):
            return cursor
        return cursor._replace(
            behind_seq=_seq(self._db, LANDED_BEFORE, cursor.at_ms),
            event_seq=_seq(self._db, TOLD_BEFORE, cursor.at_ms),
        )


def _row(probe: str, chamber: str, at_ms: int, temp: int | None, rh: int | None) -> Row:
    temp_c = None if temp is None else temp / 100
    return Row(at_ms, probe, chamber, temp_c, None if rh is None else rh / 100)


def _seq(db: sqlite3.Connection, query: str, before_ms: int) -> int:
    row = db.execute(query, (before_ms,)).fetchone()
    return 0 if row is None else int(row[0])


def _names(stays: Sequence[Stay], chamber: str, at_ms: int) -> tuple[str, ...]:
    return tuple(piece.name for piece in hanging(stays, chamber, at_ms))
