"""Old raw readings are dropped, a slice at a time; five-minute rollups and events stay for good."""

from __future__ import annotations

from typing import TYPE_CHECKING

from chamberwatch.journal.connection import transaction
from chamberwatch.journal.plans import get_meta, set_meta
from chamberwatch.journal.rollup import RAW_FROM, bin_of
from chamberwatch.journal.schema import open_journal
from chamberwatch.model import MS_PER_DAY

if TYPE_CHECKING:
    import sqlite3
    from pathlib import Path

KEEP_DAYS = 400
SLICE_ROWS = 5_000

AFTER_SLICE = """
    SELECT at_ms, probe_id FROM reading WHERE at_ms < ? ORDER BY at_ms, probe_id LIMIT 1 OFFSET ?
"""
UNCOUNT = """
    UPDATE probe SET readings = readings - gone.n
    FROM (
        SELECT probe_id, count(*) AS n FROM reading WHERE (at_ms, probe_id) < (?, ?) GROUP BY probe_id
    ) AS gone
    WHERE id = gone.probe_id
"""


def prune(path: Path, now_ms: int, keep_days: int = KEEP_DAYS, max_rows: int = SLICE_ROWS) -> int:
    """Delete at most `max_rows` raw readings older than `keep_days`, the oldest first; return how many.

    Call again until it returns fewer; each call is one short transaction, so a watch is never held up.
    Readings not rolled up yet are left alone, and rolled-up bins are final once their readings go.
    """
    db = open_journal(path)
    try:
        with transaction(db, path):
            before_ms = _cutoff(db, now_ms - keep_days * MS_PER_DAY)
            after = db.execute(AFTER_SLICE, (before_ms, max_rows)).fetchone()
            gone = _delete(db, *(after or (before_ms, 0)))
            if gone:
                kept_from_ms = max(before_ms, int(get_meta(db, RAW_FROM) or 0))
                set_meta(db, RAW_FROM, str(kept_from_ms))
            return gone
    finally:
        db.close()


def _cutoff(db: sqlite3.Connection, at_ms: int) -> int:
    (newest_ms,) = db.execute("SELECT coalesce(max(newest_ms), 0) FROM probe").fetchone()
    return bin_of(min(at_ms, newest_ms))


def _delete(db: sqlite3.Connection, before_ms: int, probe_id: int) -> int:
    db.execute(UNCOUNT, (before_ms, probe_id))
    # The last row of `behind` stays, so that its number is never given out again.
    keep = "seq < (SELECT max(seq) FROM behind)"
    db.execute(f"DELETE FROM behind WHERE at_ms < ? AND {keep}", (before_ms,))  # noqa: S608  our own text
    query = "DELETE FROM reading WHERE (at_ms, probe_id) < (?, ?)"
    return db.execute(query, (before_ms, probe_id)).rowcount
