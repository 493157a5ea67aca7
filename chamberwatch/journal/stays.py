"""Which pieces hang where and when: the join of events with pieces, made on event time at read time."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.model import MS_PER_DAY, Hanging, HangingTime

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Sequence


class Stay(NamedTuple):
    """One piece in one chamber from `from_ms` up to, not including, `to_ms` (None: it still hangs)."""

    piece: str
    chamber: str
    from_ms: int
    to_ms: int | None

    def covers(self, at_ms: int) -> bool:
        """Return whether the piece hung there at `at_ms`."""
        return self.from_ms <= at_ms and (self.to_ms is None or at_ms < self.to_ms)


def load_stays(db: sqlite3.Connection, piece_id: int | None = None) -> tuple[Stay, ...]:
    """Return the stays of one piece or of all, oldest first."""
    return tuple(
        Stay(*row)
        for row in db.execute(
            "SELECT piece.name, chamber, from_ms, to_ms FROM stay JOIN piece ON piece.id = piece_id "
            "WHERE ?1 IS NULL OR piece_id = ?1 ORDER BY from_ms, stay.id",
            (piece_id,),
        )
    )


def hanging_times(stays: Sequence[Stay], chamber: str) -> tuple[HangingTime, ...]:
    """Return every stay in `chamber` with the time its piece was first hung anywhere."""
    first_ms: dict[str, int] = {}
    for stay in stays:
        first_ms[stay.piece] = min(stay.from_ms, first_ms.get(stay.piece, stay.from_ms))
    return tuple(HangingTime(first_ms[s.piece], s.from_ms, s.to_ms) for s in stays if s.chamber == chamber)


def hanging(stays: Sequence[Stay], chamber: str, at_ms: int) -> tuple[Hanging, ...]:
    """Return the pieces that hung in `chamber` ("" = anywhere in the house), the longest-hanging first.

    Day 1 is the first 24 h after the piece was first hung, whichever chamber that was in.
    """
    first_ms: dict[str, int] = {}
    for stay in stays:
        first_ms[stay.piece] = min(stay.from_ms, first_ms.get(stay.piece, stay.from_ms))
    names = {s.piece for s in stays if chamber in ("", s.chamber) and s.covers(at_ms)}
    return tuple(
        Hanging(name, (at_ms - first_ms[name]) // MS_PER_DAY + 1)
        for name in sorted(names, key=lambda name: (first_ms[name], name))
    )
