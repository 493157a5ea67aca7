"""After an unclean end: was it one, is the file whole, and what to do with one that is not."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from chamberwatch.errors import JournalError
from chamberwatch.journal.connection import JournalDamaged, connect, explained
from chamberwatch.journal.plans import get_meta
from chamberwatch.journal.schema import open_readable
from chamberwatch.journal.store import RUNNING

if TYPE_CHECKING:
    from pathlib import Path

FAULTS_SHOWN = 20


def unclean(path: Path) -> bool:
    """Return whether the last watch on this journal ended without closing it (or runs still)."""
    db = open_readable(path)
    try:
        with explained(path):
            return get_meta(db, RUNNING) is not None
    finally:
        db.close()


def quick_check(path: Path) -> list[str]:
    """Return what SQLite finds wrong with the file, in its words; an empty list when it is whole.

    On a connection of its own, so that it may run in the background. It finds broken structure, not a changed
    value: SQLite keeps no checksums.
    """
    try:
        db = connect(path, mode="ro")
    except JournalDamaged as err:
        return [str(err)]
    try:
        found = [str(row[0]) for row in db.execute(f"PRAGMA quick_check({FAULTS_SHOWN})")]
    except sqlite3.DatabaseError as err:
        return [str(err)]
    finally:
        db.close()
    return [] if found == ["ok"] else found


def set_aside(path: Path, now_ms: int) -> Path:
    """Move the file with its -wal and -shm out of the way; return where it went.

    It keeps its name with `.damaged-` and the time [UTC] added: what it holds may still be found in it.
    """
    stamp = datetime.fromtimestamp(now_ms // 1000, UTC).strftime("%Y%m%dT%H%M%SZ")
    target = path.with_name(f"{path.name}.damaged-{stamp}")
    count = 1
    while target.exists():
        count += 1
        target = path.with_name(f"{path.name}.damaged-{stamp}-{count}")
    try:
        path.rename(target)
        for suffix in ("-wal", "-shm"):
            part = path.with_name(path.name + suffix)
            if part.exists():
                part.rename(target.with_name(target.name + suffix))
    except OSError as err:
        raise JournalError(f"the damaged journal {path} cannot be set aside: {err.strerror}") from err
    return target
