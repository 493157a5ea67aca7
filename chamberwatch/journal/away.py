"""When the owner is away, and who stands in; one absence at a time."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    import sqlite3


class Away(NamedTuple):
    """From when to when, the stand-in's channel ('': nobody's), and what the owner wants them to know."""

    from_ms: int
    until_ms: int
    stand_in: str
    remark: str


def away_at(db: sqlite3.Connection, at_ms: int) -> Away | None:
    """Return the absence that covers that time, None if the owner is there."""
    query = (
        "SELECT from_ms, until_ms, stand_in, remark FROM away WHERE from_ms <= ?1 AND until_ms > ?1 "
        "ORDER BY id DESC LIMIT 1"
    )
    row = db.execute(query, (at_ms,)).fetchone()
    return None if row is None else Away(*row)


def go(db: sqlite3.Connection, away: Away) -> None:
    """Record an absence; one that lasts still ends where it begins. The caller holds the transaction."""
    end(db, away.from_ms)
    db.execute("INSERT INTO away(from_ms, until_ms, stand_in, remark) VALUES (?, ?, ?, ?)", away)


def hand_back(db: sqlite3.Connection, channel: str) -> None:
    """Owe a stand-in nothing any more: the owner is back. The caller holds the transaction."""
    query = "UPDATE notice SET state = 'dropped', why = ? WHERE state = 'owed' AND channel = ?"
    db.execute(query, ("the owner is back", channel))


def end(db: sqlite3.Connection, at_ms: int) -> None:
    """End whatever lasts; one that would begin later is not begun. The caller holds the transaction."""
    db.execute("UPDATE away SET until_ms = max(from_ms, ?1) WHERE until_ms > ?1", (at_ms,))
