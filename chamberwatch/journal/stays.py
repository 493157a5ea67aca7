"""Which pieces hang where and when: the join of events with pieces, made on event time at read time."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.model import MS_PER_DAY, Hanging, HangingTime

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Sequence


class Stay(NamedTuple):
    """One piece in one chamber from `from_ms` up to, not including, `to_ms` (None: it is still there).

    `hanging`: it dries there; else it lies cold, in salt or evening out.
    """

    piece: str
    chamber: str
    from_ms: int
    to_ms: int | None
    hanging: bool = True

    def covers(self, at_ms: int) -> bool:
        """Return whether the piece was there at `at_ms`."""
        return self.from_ms <= at_ms and (self.to_ms is None or at_ms < self.to_ms)


def load_stays(db: sqlite3.Connection, piece_id: int | None = None) -> tuple[Stay, ...]:
    """Return the stays of one piece or of all, oldest first."""
    return tuple(
        Stay(piece, chamber, from_ms, to_ms, bool(hanging))
        for piece, chamber, from_ms, to_ms, hanging in db.execute(
            "SELECT piece.name, chamber, from_ms, to_ms, hanging FROM stay JOIN piece ON piece.id = piece_id "
            "WHERE ?1 IS NULL OR piece_id = ?1 ORDER BY from_ms, stay.id",
            (piece_id,),
        )
    )


def hanging_times(stays: Sequence[Stay], chamber: str) -> tuple[HangingTime, ...]:
    """Return every stay in `chamber` in which a piece hung, with when it was first hung anywhere."""
    first_ms = _first_ms(stays)
    return tuple(
        HangingTime(first_ms[s.piece, True], s.from_ms, s.to_ms)
        for s in stays
        if s.hanging and s.chamber == chamber
    )


def _first_ms(stays: Sequence[Stay]) -> dict[tuple[str, bool], int]:
    """Return when each piece was first hung (True) and first laid in the cold (False)."""
    first_ms: dict[tuple[str, bool], int] = {}
    for stay in stays:
        key = stay.piece, stay.hanging
        first_ms[key] = min(stay.from_ms, first_ms.get(key, stay.from_ms))
    return first_ms


def hanging(stays: Sequence[Stay], chamber: str, at_ms: int) -> tuple[Hanging, ...]:
    """Return the pieces that were in `chamber` ("" = anywhere in the house), the longest there first.

    Day 1 is the first 24 h after the piece was first hung, whichever chamber that was in; of a piece that
    lies in the cold, after it was first laid there.
    """
    first_ms = _first_ms(stays)
    there = {(s.piece, s.hanging) for s in stays if chamber in ("", s.chamber) and s.covers(at_ms)}
    return tuple(
        Hanging(key[0], (at_ms - first_ms[key]) // MS_PER_DAY + 1)
        for key in sorted(there, key=lambda key: (first_ms[key], key))
    )
