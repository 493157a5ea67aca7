"""The tables, and how a journal of any earlier version becomes one of today.

Rules for this file: a migration that was ever released is never edited, only followed by another; each runs
in one transaction with the row of `migration` that records it, so a power cut leaves it done or not begun.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.errors import JournalError
from chamberwatch.journal.connection import connect, create_file, transaction

if TYPE_CHECKING:
    import sqlite3
    from pathlib import Path


class Migration(NamedTuple):
    """One step: its name in the ledger and the statements it runs."""

    name: str
    statements: tuple[str, ...]


# Row 0 of `probe` stands for input that names no known probe. It also carries the house's `alive_ms`, so that
# a commit without events dirties two pages only: the readings' last leaf and this one. Cards wear by pages.
AIR = Migration(
    "air",
    (
        "CREATE TABLE meta(key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID",
        """CREATE TABLE probe(
            id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, chamber TEXT NOT NULL DEFAULT '',
            readings INTEGER NOT NULL DEFAULT 0, refused INTEGER NOT NULL DEFAULT 0,
            repeated INTEGER NOT NULL DEFAULT 0, merged INTEGER NOT NULL DEFAULT 0,
            late INTEGER NOT NULL DEFAULT 0, newest_ms INTEGER, alive_ms INTEGER) STRICT""",
        "INSERT INTO probe(id, name) VALUES (0, '')",
        """CREATE TABLE refused(
            probe_id INTEGER NOT NULL REFERENCES probe, reason TEXT NOT NULL, n INTEGER NOT NULL,
            last_at_ms INTEGER NOT NULL, last_detail TEXT NOT NULL,
            PRIMARY KEY(probe_id, reason)) STRICT, WITHOUT ROWID""",
        """CREATE TABLE reading(
            at_ms INTEGER NOT NULL, probe_id INTEGER NOT NULL, temp_centi INTEGER, rh_centi INTEGER,
            PRIMARY KEY(at_ms, probe_id)) STRICT, WITHOUT ROWID""",
        # Whatever landed or changed at or before the newest time of the whole journal: part 0 = the row,
        # 1 = its temperature, 2 = its humidity; late = older than its own probe's newest, so never judged;
        # landed_ms = the newest time of the whole journal when it landed.
        """CREATE TABLE behind(
            seq INTEGER PRIMARY KEY, at_ms INTEGER NOT NULL, probe_id INTEGER NOT NULL,
            part INTEGER NOT NULL, late INTEGER NOT NULL, landed_ms INTEGER NOT NULL) STRICT""",
        """CREATE TABLE rollup(
            at_ms INTEGER NOT NULL, probe_id INTEGER NOT NULL,
            n_temp INTEGER NOT NULL, sum_temp_centi INTEGER, min_temp_centi INTEGER, max_temp_centi INTEGER,
            n_rh INTEGER NOT NULL, sum_rh_centi INTEGER, min_rh_centi INTEGER, max_rh_centi INTEGER,
            PRIMARY KEY(at_ms, probe_id)) STRICT, WITHOUT ROWID""",
        "CREATE TABLE cursor(name TEXT PRIMARY KEY, body TEXT NOT NULL) STRICT, WITHOUT ROWID",
    ),
)

EVENTS = Migration(
    "events",
    (
        """CREATE TABLE event(
            seq INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, at_ms INTEGER NOT NULL,
            since_ms INTEGER NOT NULL, kind TEXT NOT NULL, state TEXT NOT NULL, priority TEXT NOT NULL,
            chamber TEXT NOT NULL, probes TEXT NOT NULL, value REAL, limit_value REAL, because TEXT,
            note TEXT NOT NULL, worst REAL, late_ms INTEGER NOT NULL, detail TEXT NOT NULL,
            text TEXT NOT NULL) STRICT""",
        "CREATE INDEX event_by_time ON event(at_ms)",
        """CREATE TABLE alarm(
            chamber TEXT NOT NULL, kind TEXT NOT NULL, acknowledged INTEGER NOT NULL,
            since_ms INTEGER NOT NULL, at_ms INTEGER NOT NULL, priority TEXT NOT NULL, probes TEXT NOT NULL,
            value REAL, limit_value REAL, event_id TEXT NOT NULL, acknowledged_by TEXT NOT NULL, worst REAL,
            returned_ms INTEGER, PRIMARY KEY(chamber, kind)) STRICT, WITHOUT ROWID""",
        """CREATE TABLE notice(
            id INTEGER PRIMARY KEY, channel TEXT NOT NULL, event_id TEXT NOT NULL, repeat INTEGER NOT NULL,
            due_ms INTEGER NOT NULL, headline TEXT NOT NULL, body TEXT NOT NULL, priority TEXT NOT NULL,
            state TEXT NOT NULL DEFAULT 'owed' CHECK(state IN ('owed', 'sent', 'dropped')),
            attempt INTEGER NOT NULL DEFAULT 0, sent_ms INTEGER, why TEXT NOT NULL DEFAULT '',
            UNIQUE(channel, event_id, repeat)) STRICT""",
        "CREATE INDEX notice_owed ON notice(channel, due_ms) WHERE state = 'owed'",
        """CREATE TABLE request(
            id INTEGER PRIMARY KEY, at_ms INTEGER NOT NULL, verb TEXT NOT NULL, args TEXT NOT NULL,
            done INTEGER NOT NULL DEFAULT 0) STRICT""",
        "CREATE INDEX request_open ON request(id) WHERE done = 0",
        # horizon_ms and behind_seq: how far the journal had come when the snapshot was taken.
        """CREATE TABLE snapshot(
            id INTEGER PRIMARY KEY CHECK(id = 1), at_ms INTEGER NOT NULL, version INTEGER NOT NULL,
            settings_hash TEXT NOT NULL, body BLOB NOT NULL,
            horizon_ms INTEGER NOT NULL, behind_seq INTEGER NOT NULL) STRICT""",
    ),
)

PIECES = Migration(
    "pieces",
    (
        """CREATE TABLE piece(
            id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE COLLATE NOCASE, kind TEXT NOT NULL,
            green_weight_g REAL NOT NULL, diameter_mm REAL, thickness_mm REAL, length_mm REAL,
            casing TEXT NOT NULL, salt_pct REAL, fat TEXT NOT NULL, target_loss_pct REAL NOT NULL,
            tare_g REAL NOT NULL, discarded_ms INTEGER, discarded_why TEXT NOT NULL DEFAULT '') STRICT""",
        """CREATE TABLE stay(
            id INTEGER PRIMARY KEY, piece_id INTEGER NOT NULL REFERENCES piece, chamber TEXT NOT NULL,
            from_ms INTEGER NOT NULL, to_ms INTEGER, CHECK(to_ms IS NULL OR to_ms > from_ms)) STRICT""",
        "CREATE INDEX stay_by_piece ON stay(piece_id, from_ms)",
        """CREATE TABLE weigh_in(
            piece_id INTEGER NOT NULL REFERENCES piece, at_ms INTEGER NOT NULL, mass_g REAL NOT NULL,
            tare_g REAL NOT NULL, remark TEXT NOT NULL,
            PRIMARY KEY(piece_id, at_ms)) STRICT, WITHOUT ROWID""",
        """CREATE TABLE remark(
            id INTEGER PRIMARY KEY, at_ms INTEGER NOT NULL, piece_id INTEGER REFERENCES piece,
            chamber TEXT, text TEXT NOT NULL) STRICT""",
        """CREATE TABLE tend(
            id INTEGER PRIMARY KEY, chamber TEXT NOT NULL, from_ms INTEGER NOT NULL,
            until_ms INTEGER NOT NULL CHECK(until_ms > from_ms)) STRICT""",
    ),
)

LEAVE = Migration(
    "leave",
    (
        "ALTER TABLE alarm ADD COLUMN shelved_until_ms INTEGER",
        """CREATE TABLE away(
            id INTEGER PRIMARY KEY, from_ms INTEGER NOT NULL, until_ms INTEGER NOT NULL,
            stand_in TEXT NOT NULL, remark TEXT NOT NULL) STRICT""",
        "CREATE TABLE resting(probe TEXT PRIMARY KEY, until_ms INTEGER NOT NULL) STRICT, WITHOUT ROWID",
    ),
)

# A stay with hanging = 0 is one in a cold fridge: in salt, or evening out. Hanging and discarding are not in
# `stage`: stays and the piece's row say them already.
STAGES = Migration(
    "stages",
    (
        "ALTER TABLE piece ADD COLUMN species TEXT NOT NULL DEFAULT ''",
        "ALTER TABLE piece ADD COLUMN source TEXT NOT NULL DEFAULT ''",
        "ALTER TABLE piece ADD COLUMN fan TEXT NOT NULL DEFAULT 'unknown'",
        "ALTER TABLE piece ADD COLUMN nitrite_pct REAL",
        "ALTER TABLE piece ADD COLUMN nitrate_pct REAL",
        "ALTER TABLE piece ADD COLUMN cure_g REAL",
        "ALTER TABLE stay ADD COLUMN hanging INTEGER NOT NULL DEFAULT 1",
        "ALTER TABLE weigh_in ADD COLUMN removed_g REAL NOT NULL DEFAULT 0",
        """CREATE TABLE stage(
            piece_id INTEGER NOT NULL REFERENCES piece, from_ms INTEGER NOT NULL, stage TEXT NOT NULL,
            PRIMARY KEY(piece_id, from_ms)) STRICT, WITHOUT ROWID""",
        """CREATE TABLE cut(
            piece_id INTEGER PRIMARY KEY REFERENCES piece, at_ms INTEGER NOT NULL, crust_mm REAL,
            centre TEXT NOT NULL, salt TEXT NOT NULL, verdict TEXT NOT NULL, pace REAL) STRICT""",
    ),
)

MIGRATIONS: tuple[Migration, ...] = (AIR, EVENTS, PIECES, LEAVE, STAGES)
LEDGER = "CREATE TABLE IF NOT EXISTS migration(name TEXT PRIMARY KEY, at_ms INTEGER NOT NULL) STRICT"
RECORD = "INSERT INTO migration SELECT ?, CAST((julianday('now') - 2440587.5) * 86400000 AS INTEGER)"


def pending(db: sqlite3.Connection, path: Path) -> tuple[Migration, ...]:
    """Return the steps this journal still lacks; JournalError if it is not ours or newer than we are."""
    tables = {name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if tables and "migration" not in tables:
        raise JournalError(f"{path} is an SQLite database, but not a journal of this program")
    done = {name for (name,) in db.execute("SELECT name FROM migration")} if tables else set()
    strange = done - {m.name for m in MIGRATIONS}
    if strange:
        raise JournalError(
            f"the journal {path} was written by a newer version of this program "
            f"(it has {', '.join(sorted(strange))}): update the program, or restore an older backup"
        )
    return tuple(m for m in MIGRATIONS if m.name not in done)


def migrate(db: sqlite3.Connection, path: Path) -> None:
    """Bring the open journal to today's tables, one transaction a step."""
    for step in pending(db, path):
        with transaction(db, path):
            if step not in pending(db, path):
                continue  # another process was faster
            db.execute(LEDGER)
            for statement in step.statements:
                db.execute(statement)
            db.execute(RECORD, (step.name,))


def open_journal(path: Path, *, create: bool = False) -> sqlite3.Connection:
    """Open `path` for writing with today's tables; with `create`, make it if it is not there."""
    if create:
        create_file(path)
    db = connect(path, mode="rw")
    try:
        migrate(db, path)
    except BaseException:
        db.close()
        raise
    return db


def open_readable(path: Path) -> sqlite3.Connection:
    """Open `path` for reading only; a journal of an earlier version is brought up to date first."""
    db = connect(path, mode="ro")
    try:
        behind = pending(db, path)
    except BaseException:
        db.close()
        raise
    if not behind:
        return db
    db.close()
    open_journal(path).close()
    return connect(path, mode="ro")
