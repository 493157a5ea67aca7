"""What the journal holds, for whoever only looks: commands, page, report.

Short reads on a connection that cannot write. Every answer is whole in memory when it is given, because a
reader that lingers would keep the write-ahead log from being reused.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from chamberwatch.journal import plans
from chamberwatch.journal.away import Away, away_at
from chamberwatch.journal.connection import explained, named, reading
from chamberwatch.journal.hourly import Hour, hours
from chamberwatch.journal.pieces import Piece, Remark, load_pieces
from chamberwatch.journal.records import Snapshot
from chamberwatch.journal.schema import open_readable
from chamberwatch.journal.stays import hanging, hanging_times, load_stays
from chamberwatch.journal.telling import load_alarms, load_resting
from chamberwatch.journal.views import (
    ChamberAir,
    ProbeState,
    RefusedRow,
    Rollup,
    chamber_air,
    event_line,
    rollup_row,
    whole,
)
from chamberwatch.model import MS_PER_MIN, Reading

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path
    from types import TracebackType
    from typing import Self

    from chamberwatch.model import Alarm, Hanging, HangingTime, Plan

# A probe may send its two quantities in two messages: how far back the other one is looked for.
HALF_MS = 5 * MS_PER_MIN

PROBES = f"""
    SELECT name, chamber, newest_ms, readings, refused, repeated, merged, late,
        (SELECT temp_centi FROM reading r WHERE r.at_ms BETWEEN newest_ms - {HALF_MS} AND newest_ms
            AND r.probe_id = p.id AND temp_centi IS NOT NULL ORDER BY r.at_ms DESC LIMIT 1),
        (SELECT rh_centi FROM reading r WHERE r.at_ms BETWEEN newest_ms - {HALF_MS} AND newest_ms
            AND r.probe_id = p.id AND rh_centi IS NOT NULL ORDER BY r.at_ms DESC LIMIT 1)
    FROM probe p WHERE id > 0 ORDER BY id
"""  # noqa: S608  HALF_MS is our own number
REFUSALS = """
    SELECT p.name, reason, n, last_at_ms, last_detail FROM refused JOIN probe p ON p.id = probe_id
    ORDER BY p.id, n DESC, reason
"""
EVENTS = """
    SELECT * FROM event
    WHERE (?1 IS NULL OR at_ms >= ?1) AND (?2 IS NULL OR at_ms < ?2) AND (?3 IS NULL OR kind = ?3)
        AND (?4 IS NULL OR chamber = ?4)
    ORDER BY at_ms, seq
"""
READINGS = """
    SELECT p.name, r.at_ms, r.temp_centi, r.rh_centi FROM reading r JOIN probe p ON p.id = r.probe_id
    WHERE r.at_ms >= ?1 AND r.at_ms < ?2 AND (?3 IS NULL OR p.name = ?3) ORDER BY r.at_ms, r.probe_id
"""
ROLLUPS = """
    SELECT b.at_ms, p.name, n_temp, sum_temp_centi, min_temp_centi, max_temp_centi,
        n_rh, sum_rh_centi, min_rh_centi, max_rh_centi
    FROM rollup b JOIN probe p ON p.id = b.probe_id
    WHERE b.at_ms >= ?1 AND b.at_ms < ?2 AND (?3 IS NULL OR p.name = ?3) ORDER BY b.at_ms, b.probe_id
"""


class Reader:
    """The journal, read-only, also while a watch writes; one thread each.

    Raises:
        JournalError: there is no journal, it is damaged, or a newer version wrote it.
        NotPermitted: this user may not read it.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._db = open_readable(path)

    def close(self) -> None:
        """Let go of the journal."""
        self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # -- the house

    def plan(self) -> Plan | None:
        """Return the plan of the last watch or replay."""
        with explained(self.path):
            return plans.read_plan(self._db)

    def units(self) -> str:
        """Return "metric" or "us"."""
        with explained(self.path):
            return plans.read_units(self._db)

    def alive_ms(self) -> int | None:
        """Return when a watch last committed, None if none ever did."""
        rows = self._all("SELECT alive_ms FROM probe WHERE id = 0 AND alive_ms IS NOT NULL")
        return rows[0][0] if rows else None

    def alarms(self) -> list[Alarm]:
        """Return the open alarms, oldest first."""
        with explained(self.path):
            return load_alarms(self._db)

    def resting(self, now_ms: int) -> dict[str, int]:
        """Return the probes that are out of service now, and until when."""
        with explained(self.path):
            return load_resting(self._db, now_ms)

    def away(self, at_ms: int) -> Away | None:
        """Return the owner's absence at that time, None if they are there."""
        with explained(self.path):
            return away_at(self._db, at_ms)

    def snapshot(self) -> Snapshot | None:
        """Return the engine's last snapshot, None if there never was one."""
        rows = self._all("SELECT at_ms, version, settings_hash, body FROM snapshot")
        return Snapshot(*rows[0]) if rows else None

    # -- the air

    def probes(self) -> list[ProbeState]:
        """Return every probe that is planned or ever spoke; those no longer planned come last."""
        with reading(self._db, self.path):
            plan, rows = plans.read_plan(self._db), self._db.execute(PROBES).fetchall()
        every_s = {p.name: p.every_s for p in plan.probes} if plan else {}
        states = [
            ProbeState(
                name,
                chamber,
                name in every_s,
                every_s.get(name),
                at_ms,
                whole(temp),
                whole(rh),
                *counters,
            )
            for name, chamber, at_ms, *counters, temp, rh in rows
        ]
        return sorted(states, key=lambda state: not state.planned)

    def air(self) -> list[ChamberAir]:
        """Return the air of every chamber of the plan: the median of its probes.

        Left out are probes that had fallen silent (max(3 × every, 90 s)) when the newest of them spoke.
        """
        plan, probes = self.plan(), self.probes()
        return [chamber_air(chamber.name, probes) for chamber in plan.chambers] if plan else []

    def refusals(self) -> list[RefusedRow]:
        """Return what was refused, by probe and reason, the most frequent first."""
        return [RefusedRow(*row) for row in self._all(REFUSALS)]

    def readings(self, from_ms: int, to_ms: int, probe: str | None = None) -> list[Reading]:
        """Return the stored readings with from <= time < to, in order of (time, probe)."""
        rows = self._all(READINGS, (from_ms, to_ms, probe))
        return [Reading(name, at_ms, whole(temp), whole(rh), at_ms) for name, at_ms, temp, rh in rows]

    def rollups(self, from_ms: int, to_ms: int, probe: str | None = None) -> list[Rollup]:
        """Return the closed five-minute bins that begin with from <= time < to."""
        return [rollup_row(row) for row in self._all(ROLLUPS, (from_ms, to_ms, probe))]

    def hours(self, chamber: str, from_ms: int, to_ms: int) -> list[Hour]:
        """Return the chamber's mean air by the hour from `from_ms`, of what was measured up to `to_ms`."""
        with reading(self._db, self.path):
            return hours(self._db, chamber, from_ms, to_ms)

    # -- events and pieces

    def events(
        self,
        *,
        since_ms: int | None = None,
        until_ms: int | None = None,
        kind: str | None = None,
        chamber: str | None = None,
        piece: str | None = None,
    ) -> Iterator[dict[str, Any]]:
        """Yield the events with since <= time < until, oldest first, each as its contract line's object.

        `pieces` are those that hung in the event's chamber at its time, as known now.
        """
        with reading(self._db, self.path):
            rows = list(named(self._db, EVENTS, (since_ms, until_ms, kind, chamber)))
            stays = load_stays(self._db) if rows else ()
        for row in rows:
            pieces = [p.name for p in hanging(stays, row["chamber"], row["at_ms"])]
            if piece is None or piece in pieces:
                yield event_line(row, pieces)

    def hanging(self, chamber: str, at_ms: int) -> tuple[Hanging, ...]:
        """Return the pieces in `chamber` ("" = the whole house) at that time, the longest-hanging first."""
        with explained(self.path):
            return hanging(load_stays(self._db), chamber, at_ms)

    def hanging_times(self, chamber: str) -> tuple[HangingTime, ...]:
        """Return every stay in `chamber`, with the time its piece was first hung anywhere."""
        with explained(self.path):
            return hanging_times(load_stays(self._db), chamber)

    def pieces(self) -> list[Piece]:
        """Return every piece with its stays and weigh-ins, the first hung first."""
        with reading(self._db, self.path):
            return load_pieces(self._db)

    def piece(self, name: str) -> Piece | None:
        """Return the piece of that name (capitals or not), None if there is none."""
        with reading(self._db, self.path):
            return next(iter(load_pieces(self._db, name)), None)

    def remarks(self, piece: Piece) -> list[Remark]:
        """Return what was noted of a piece, oldest first."""
        query = "SELECT at_ms, text FROM remark WHERE piece_id = ? ORDER BY at_ms, id"
        return [Remark(*row) for row in self._all(query, (piece.id,))]

    def chamber_remarks(self, chamber: str) -> list[Remark]:
        """Return what was noted of a chamber, oldest first."""
        query = "SELECT at_ms, text FROM remark WHERE chamber = ? ORDER BY at_ms, id"
        return [Remark(*row) for row in self._all(query, (chamber,))]

    def _all(self, query: str, args: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        with explained(self.path):
            return self._db.execute(query, args).fetchall()
