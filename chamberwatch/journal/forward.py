"""The roll-forward: what the engine judged after its last snapshot, given again after a restart.

A row in `behind` marked late was older than its probe's newest when it came, so the engine did not judge it
and must not now; a half filled in later is given as that half. All else is given in order of (time, probe),
which for each probe is the order it was judged in.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.journal.intake import RH, ROW, TEMP
from chamberwatch.model import Reading

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator

LATE = """
    SELECT b.at_ms, probe_id, part FROM behind b, snapshot s WHERE seq > behind_seq AND late
"""
ROWS = """
    SELECT r.at_ms, r.probe_id, p.name, r.temp_centi, r.rh_centi, 0 AS part
    FROM reading r JOIN probe p ON p.id = r.probe_id, snapshot s WHERE r.at_ms > s.horizon_ms
    UNION ALL
    SELECT b.at_ms, b.probe_id, p.name, r.temp_centi, r.rh_centi, b.part
    FROM snapshot s JOIN behind b ON b.seq > s.behind_seq AND b.at_ms <= s.horizon_ms AND NOT b.late
    JOIN reading r ON r.at_ms = b.at_ms AND r.probe_id = b.probe_id JOIN probe p ON p.id = b.probe_id
    ORDER BY 1, 2, 6
"""


class _Late(NamedTuple):
    at_ms: int
    probe_id: int
    part: int


def readings_after(db: sqlite3.Connection) -> Iterator[Reading]:
    """Yield the readings judged after the kept snapshot, as if each had arrived when it was taken."""
    late = {_Late(*row) for row in db.execute(LATE)}
    whole: tuple[int, int] | None = None  # the row given last, if as a row: its halves are given with it
    for at_ms, key, name, temp, rh, part in db.execute(ROWS):
        if _Late(at_ms, key, ROW) in late or (at_ms, key) == whole:
            continue
        whole = (at_ms, key) if part == ROW else None
        temp_lost = part == RH or _Late(at_ms, key, TEMP) in late
        rh_lost = part == TEMP or _Late(at_ms, key, RH) in late
        temp_c = None if temp is None or temp_lost else temp / 100
        rh_pct = None if rh is None or rh_lost else rh / 100
        if temp_c is not None or rh_pct is not None:
            yield Reading(name, at_ms, temp_c, rh_pct, at_ms)


def readings_from(db: sqlite3.Connection, from_ms: int) -> Iterator[Reading]:
    """Yield the readings of that time or later as if each had arrived when it was taken."""
    rows = db.execute(
        "SELECT p.name, r.at_ms, r.temp_centi, r.rh_centi FROM reading r JOIN probe p ON p.id = r.probe_id "
        "WHERE r.at_ms >= ? ORDER BY r.at_ms, r.probe_id",
        (from_ms,),
    )
    for name, at_ms, temp, rh in rows:
        temp_c, rh_pct = (None if v is None else v / 100 for v in (temp, rh))
        yield Reading(name, at_ms, temp_c, rh_pct, at_ms)
