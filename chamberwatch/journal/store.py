"""The spine: one transaction holds readings, the events they caused, alarm states and the notices owed.

Rules for this file: only a commit that held moves what is kept in memory; a batch that failed may be given
again unchanged; nothing stored is ever overwritten. One thread has one `Journal`; the lock is `lock.hold`.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from chamberwatch.errors import ChamberwatchError, JournalError
from chamberwatch.journal import intake, plans, telling
from chamberwatch.journal.away import Away, away_at
from chamberwatch.journal.connection import explained, transaction
from chamberwatch.journal.forward import readings_after, readings_from
from chamberwatch.journal.records import Batch, Notice, RequestRow, Snapshot, Written
from chamberwatch.journal.schema import open_journal
from chamberwatch.journal.stays import hanging, hanging_times, load_stays

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator
    from pathlib import Path
    from typing import Self

    from chamberwatch.model import Hanging, HangingTime, Plan, Reading

__all__ = ["Batch", "Journal", "Notice", "RequestRow", "Snapshot", "Written"]

RUNNING = "running"  # `meta` key: there while a watch runs, so found at the next start after an unclean end


class Journal:
    """The open journal of the one process that writes readings and events."""

    def __init__(self, path: Path, db: sqlite3.Connection) -> None:
        self.path = path
        self._db = db
        self._marks = intake.load_marks(db)
        self._watching = False

    @classmethod
    def open(cls, path: Path, *, create: bool = True) -> Self:
        """Open the journal, made if need be, with its tables brought up to date.

        Raises:
            JournalDamaged: the file is no database, or a broken one.
            NotPermitted: this user may not write it.
            JournalError: no such file or folder, another program's database, a newer version's, a full disk.
        """
        db = open_journal(path, create=create)
        try:
            with explained(path):
                return cls(path, db)
        except ChamberwatchError:
            db.close()
            raise

    def begin_watch(self) -> bool:
        """Note that a watch runs; return True if the last one did not end cleanly."""
        with transaction(self._db, self.path):
            unclean = plans.get_meta(self._db, RUNNING) is not None
            plans.set_meta(self._db, RUNNING, "1")
        self._watching = True
        return unclean

    def close(self) -> None:
        """Close; a watch's end is noted as a clean one."""
        try:
            if self._watching:
                with transaction(self._db, self.path):
                    self._db.execute("DELETE FROM meta WHERE key = ?", (RUNNING,))
                self._watching = False
        finally:
            self._db.close()

    # -- set up by watch and replay

    def remember_plan(self, plan: Plan, units: str) -> None:
        """Mirror the house, so that the journal alone knows chambers and probes."""
        if self.plan() == plan and self.units() == units:
            return
        with transaction(self._db, self.path):
            plans.write_plan(self._db, plan, units)
        self._marks = intake.load_marks(self._db)

    def plan(self) -> Plan | None:
        """Return the remembered plan, None before the first watch or replay."""
        with explained(self.path):
            return plans.read_plan(self._db)

    def units(self) -> str:
        """Return "metric" or "us"."""
        with explained(self.path):
            return plans.read_units(self._db)

    # -- the spine

    def commit(self, batch: Batch) -> Written:
        """Write all of `batch` durably, or nothing.

        Raises:
            JournalError: nothing was written (`__cause__`: SQLite's error); the batch can be given again.
        """
        if not batch:
            return Written(0, 0, 0, 0)
        with transaction(self._db, self.path):
            after, written = intake.take(self._db, self._marks, batch.readings, batch.refusals)
            self._tell(batch, after.horizon_ms)
        self._marks = after
        return written

    def _tell(self, batch: Batch, horizon_ms: int) -> None:
        db = self._db
        known = telling.add_events(db, batch.events)
        telling.owe(db, batch.notices, known)
        if batch.alarms is not None:
            telling.replace_alarms(db, batch.alarms)
        if batch.resting is not None:
            telling.replace_resting(db, batch.resting)
        if batch.snapshot is not None:
            telling.keep_snapshot(db, batch.snapshot, horizon_ms)
        db.executemany("UPDATE request SET done = 1 WHERE id = ?", [(key,) for key in batch.requests_done])
        if batch.alive_ms is not None:
            db.execute("UPDATE probe SET alive_ms = ? WHERE id = ?", (batch.alive_ms, intake.NOBODY))

    # -- start-up

    def newest_ms(self) -> dict[str, int]:
        """Return the time of each probe's newest reading; probes without any are left out."""
        return {name: at_ms for name, at_ms in self._marks.newest.items() if at_ms != intake.NEVER_MS}

    def load_snapshot(self) -> Snapshot | None:
        """Return the last snapshot, None if there never was one."""
        row = self._one("SELECT at_ms, version, settings_hash, body FROM snapshot")
        return None if row is None else Snapshot(*row)

    def readings_since(self, after: Snapshot) -> Iterator[Reading]:
        """Yield what was committed after the snapshot and judged then; see `forward`.

        Raises:
            JournalError: `after` is not the snapshot this journal keeps.
        """
        if self.load_snapshot() != after:
            raise JournalError(f"the journal {self.path} does not keep that snapshot")
        with explained(self.path):
            yield from readings_after(self._db)

    def readings_from(self, from_ms: int) -> Iterator[Reading]:
        """Yield every reading kept of that time or later, in order of time."""
        with explained(self.path):
            yield from readings_from(self._db, from_ms)

    def alive_ms(self) -> int | None:
        """Return when a watch last committed, None if none ever did."""
        row = self._one("SELECT alive_ms FROM probe WHERE id = 0 AND alive_ms IS NOT NULL")
        return None if row is None else int(row[0])

    # -- what the command line wrote beside us

    def data_version(self) -> int:
        """Return a number that changes whenever another connection has written."""
        row = self._one("PRAGMA data_version")
        return 0 if row is None else int(row[0])

    def open_requests(self) -> list[RequestRow]:
        """Return the requests not yet done, oldest first."""
        query = "SELECT id, at_ms, verb, args FROM request WHERE done = 0 ORDER BY id"
        with explained(self.path):
            rows = self._db.execute(query).fetchall()
        return [RequestRow(key, at_ms, verb, json.loads(args)) for key, at_ms, verb, args in rows]

    def hanging_times(self, chamber: str) -> tuple[HangingTime, ...]:
        """Return every stay in `chamber`, past and present, oldest first."""
        return hanging_times(load_stays(self._db), chamber)

    def away(self, at_ms: int) -> Away | None:
        """Return the owner's absence at that time, None if they are there."""
        with explained(self.path):
            return away_at(self._db, at_ms)

    def hanging(self, chamber: str, at_ms: int) -> tuple[Hanging, ...]:
        """Return the pieces in `chamber` ("" = the whole house) at that time, the longest-hanging first."""
        with explained(self.path):
            return hanging(load_stays(self._db), chamber, at_ms)

    def _one(self, query: str) -> tuple[Any, ...] | None:
        with explained(self.path):
            row: tuple[Any, ...] | None = self._db.execute(query).fetchone()
        return row
