"""Readings and refusals into their tables, inside the caller's transaction.

Readings newer than all their probe has (nearly all) go in by one `executemany`. The rest go row by row: a new
late row, a missing half filled in, or a repetition. What is stored is never overwritten.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from operator import itemgetter
from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.journal.records import Written
from chamberwatch.journal.rollup import roll

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable, Sequence

    from chamberwatch.model import Reading, Refusal

NEVER_MS = -(2**62)
NOBODY = 0  # the `probe` row of input that names no known probe
DETAIL_CHARS = 200
ROW, TEMP, RH = 0, 1, 2  # `behind.part`

INSERT = "INSERT INTO reading(at_ms, probe_id, temp_centi, rh_centi) VALUES (?, ?, ?, ?)"
HELD = "SELECT temp_centi, rh_centi FROM reading WHERE at_ms = ? AND probe_id = ?"
FILL = (
    "UPDATE reading SET temp_centi = coalesce(temp_centi, ?), rh_centi = coalesce(rh_centi, ?) "
    "WHERE at_ms = ? AND probe_id = ?"
)
BEHIND = "INSERT INTO behind(at_ms, probe_id, part, late, landed_ms) VALUES (?, ?, ?, ?, ?)"
COUNT = (
    "UPDATE probe SET readings = readings + ?, repeated = repeated + ?, merged = merged + ?, "
    "late = late + ?, refused = refused + ?, newest_ms = ? WHERE id = ?"
)
REFUSE = (
    "INSERT INTO refused VALUES (?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET n = n + excluded.n, "
    "last_at_ms = excluded.last_at_ms, last_detail = excluded.last_detail"
)


@dataclass(slots=True)
class Marks:
    """How far the committed journal has come; a commit works on a copy and keeps it only if it held."""

    ids: dict[str, int]
    newest: dict[str, int]
    """Newest time per probe; NEVER_MS before its first reading."""
    horizon_ms: int
    """Newest time of all probes."""

    def copy(self) -> Marks:
        """Return an independent copy."""
        return Marks(dict(self.ids), dict(self.newest), self.horizon_ms)


class Behind(NamedTuple):
    """A row of `behind` on its way in."""

    at_ms: int
    probe_id: int
    part: int
    late: int
    landed_ms: int


@dataclass(slots=True)
class Tally:
    """What one commit adds to the counters, by probe id."""

    stored: Counter[int] = field(default_factory=Counter)
    repeated: Counter[int] = field(default_factory=Counter)
    merged: Counter[int] = field(default_factory=Counter)
    late: Counter[int] = field(default_factory=Counter)
    refused: Counter[int] = field(default_factory=Counter)

    def written(self) -> Written:
        """Return the sums over all probes."""
        return Written(self.stored.total(), self.repeated.total(), self.merged.total(), self.late.total())


def load_marks(db: sqlite3.Connection) -> Marks:
    """Read from the journal how far it has come."""
    rows = db.execute("SELECT name, id, newest_ms FROM probe WHERE id > 0").fetchall()
    newest = {name: NEVER_MS if at_ms is None else at_ms for name, _, at_ms in rows}
    return Marks({name: key for name, key, _ in rows}, newest, max(newest.values(), default=NEVER_MS))


def take(
    db: sqlite3.Connection, before: Marks, readings: Sequence[Reading], refusals: Sequence[Refusal]
) -> tuple[Marks, Written]:
    """Store what came in and count it; return the marks that hold once this transaction is committed."""
    after, tally = before.copy(), Tally()
    if readings:
        behind = _store(db, after, tally, readings)
        roll(db, before.horizon_ms, after.horizon_ms, map(itemgetter(0), behind))
    if refusals:
        _refuse(db, after.ids, tally, refusals)
    _count(db, after, tally)
    return after, tally.written()


def _store(db: sqlite3.Connection, marks: Marks, tally: Tally, readings: Sequence[Reading]) -> list[Behind]:
    horizon_ms = marks.horizon_ms
    _know(db, marks, set(map(itemgetter(0), readings)))
    fresh, tardy = _split(marks, readings)
    db.executemany(INSERT, fresh)
    tally.stored.update(map(itemgetter(1), fresh))
    behind = [Behind(row[0], row[1], ROW, 0, horizon_ms) for row in fresh if row[0] <= horizon_ms]
    for reading, late in tardy:
        part = _add_tardy(db, marks.ids[reading.probe], reading, tally)
        if part is not None and (late or reading.at_ms <= horizon_ms):
            behind.append(Behind(reading.at_ms, marks.ids[reading.probe], part, late, horizon_ms))
    db.executemany(BEHIND, behind)
    marks.horizon_ms = max(horizon_ms, *marks.newest.values())
    return behind


def _know(db: sqlite3.Connection, marks: Marks, probes: set[str]) -> None:
    for name in sorted(probes - marks.ids.keys()):
        marks.ids[name] = db.execute("INSERT INTO probe(name) VALUES (?)", (name,)).lastrowid or NOBODY
        marks.newest[name] = NEVER_MS


_Row = tuple[int, int, int | None, int | None]


def _split(marks: Marks, readings: Iterable[Reading]) -> tuple[list[_Row], list[tuple[Reading, bool]]]:
    # The one hot loop of the journal, so `_centi` stands here written out.
    ids, newest = marks.ids, marks.newest
    fresh: list[_Row] = []
    tardy: list[tuple[Reading, bool]] = []
    for reading in readings:
        probe, at_ms, temp_c, rh_pct, _, _ = reading
        newest_ms = newest[probe]
        if at_ms > newest_ms:
            newest[probe] = at_ms
            temp = None if temp_c is None else round(temp_c * 100)
            rh = None if rh_pct is None else round(rh_pct * 100)
            fresh.append((at_ms, ids[probe], temp, rh))
        else:
            tardy.append((reading, at_ms < newest_ms))
    return fresh, tardy


def _centi(value: float | None) -> int | None:
    return None if value is None else round(value * 100)


def _add_tardy(db: sqlite3.Connection, key: int, reading: Reading, tally: Tally) -> int | None:
    """Store, fill or count as repeated; return which part of the row is new, None if none is."""
    at_ms, temp, rh = reading.at_ms, _centi(reading.temp_c), _centi(reading.rh_pct)
    held = db.execute(HELD, (at_ms, key)).fetchone()
    if held is None:
        db.execute(INSERT, (at_ms, key, temp, rh))
        tally.stored[key] += 1
        tally.late[key] += 1
        return ROW
    fills_temp = held[0] is None and temp is not None
    fills_rh = held[1] is None and rh is not None
    if not (fills_temp or fills_rh):
        tally.repeated[key] += 1
        return None
    db.execute(FILL, (temp, rh, at_ms, key))
    tally.merged[key] += 1
    return TEMP if fills_temp else RH


def _refuse(db: sqlite3.Connection, ids: dict[str, int], tally: Tally, refusals: Sequence[Refusal]) -> None:
    # Names that are no probe of ours share one row: hostile names must not grow the table.
    keyed = [(ids.get(refusal.probe or "", NOBODY), refusal) for refusal in refusals]
    last = {(key, refusal.reason): refusal for key, refusal in keyed}
    counts = Counter((key, refusal.reason) for key, refusal in keyed)
    db.executemany(
        REFUSE,
        [
            (key, reason.value, n, last[key, reason].arrived_ms, last[key, reason].detail[:DETAIL_CHARS])
            for (key, reason), n in counts.items()
        ],
    )
    tally.refused.update(key for key, _ in keyed)


def _count(db: sqlite3.Connection, marks: Marks, tally: Tally) -> None:
    newest = {marks.ids[name]: at_ms for name, at_ms in marks.newest.items() if at_ms != NEVER_MS}
    keys = tally.stored.keys() | tally.repeated.keys() | tally.merged.keys() | tally.refused.keys()
    db.executemany(
        COUNT,
        [
            (
                tally.stored[key],
                tally.repeated[key],
                tally.merged[key],
                tally.late[key],
                tally.refused[key],
                newest.get(key),
                key,
            )
            for key in sorted(keys)
        ],
    )
