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

LAST_OF_SLICE = "SELECT at_ms FROM reading WHERE at_ms < ? ORDER BY at_ms LIMIT 1 OFFSET ?"
UNCOUNT = """
    UPDATE probe SET readings = readings - gone.n
    FROM (SELECT probe_id, count(*) AS n FROM reading WHERE at_ms < ? GROUP BY probe_id) AS gone
    WHERE id = gone.probe_id
"""


def prune(path: Path, now_ms: int, keep_days: int = KEEP_DAYS, max_rows: int = SLICE_ROWS) -> int:
    """Delete about `max_rows` (≥ 1) raw readings older than `keep_days`, oldest first; return how many.

    Call again until it returns 0; each call is one short transaction, so a watch is never held up. Bins whose
    readings are not rolled up yet are left alone, and rolled-up bins are final once their readings go.
    """
    db = open_journal(path)
    try:
        with transaction(db, path):
            before_ms = _cutoff(db, now_ms - keep_days * MS_PER_DAY)
            last = db.execute(LAST_OF_SLICE, (before_ms, max_rows - 1)).fetchone()
            gone = _delete(db, last[0] + 1 if last else before_ms)
            if gone:
                kept_from_ms = max(before_ms, int(get_meta(db, RAW_FROM) or 0))
                set_meta(db, RAW_FROM, str(kept_from_ms))
            return gone
    finally:
        db.close()


def _cutoff(db: sqlite3.Connection, at_ms: int) -> int:
    (newest_ms,) = db.execute("SELECT coalesce(max(newest_ms), 0) FROM probe").fetchone()
    return bin_of(min(at_ms, newest_ms))


def _delete(db: sqlite3.Connection, before_ms: int) -> int:
    db.execute(UNCOUNT, (before_ms,))
    # The last row of `behind` stays, so that its number is never given out again.
    keep = "seq < (SELECT max(seq) FROM behind)"
    db.execute(f"DELETE FROM behind WHERE at_ms < ? AND {keep}", (before_ms,))  # noqa: S608  our own text
    return db.execute("DELETE FROM reading WHERE at_ms < ?", (before_ms,)).rowcount
