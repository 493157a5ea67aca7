"""The messages owed, for the notifier: each call one short transaction on a connection of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.journal.connection import explained, transaction
from chamberwatch.journal.schema import open_journal

if TYPE_CHECKING:
    from pathlib import Path

DUE = """
    SELECT n.id, n.channel, n.event_id, n.repeat, n.due_ms, n.headline, n.body, n.priority, n.attempt,
        coalesce(e.kind, ''), coalesce(e.state, ''), coalesce(e.note, ''), coalesce(e.chamber, ''),
        coalesce(e.at_ms, n.due_ms)
    FROM notice n LEFT JOIN event e ON e.id = n.event_id
    WHERE n.state = 'owed' AND n.channel = ? AND n.due_ms <= ? ORDER BY n.id LIMIT ?
"""
# The event is the one that opened the alarm which stands now, or a later one about it (priority raised); when
# a quiet time has ended since, that end repeats in its place.
STANDS = """
    SELECT EXISTS(
        SELECT 1 FROM event e JOIN alarm a ON a.chamber = e.chamber AND a.kind = e.kind
        JOIN event opening ON opening.id = a.event_id
        WHERE e.id = ? AND e.seq >= opening.seq AND NOT a.acknowledged AND a.returned_ms IS NULL
        AND a.shelved_until_ms IS NULL
        AND NOT EXISTS(SELECT 1 FROM event later WHERE later.seq > e.seq AND later.note = 'unshelved'
            AND later.chamber = e.chamber AND later.kind = e.kind))
"""
REPEAT = """
    INSERT OR IGNORE INTO notice(channel, event_id, repeat, due_ms, headline, body, priority)
    VALUES (?, ?, ?, ?, ?, ?, ?)
"""


class OwedNotice(NamedTuple):
    """A message to send, with what it is about (`kind` … `at_ms` are its event's)."""

    id: int
    channel: str
    event_id: str
    repeat: int
    due_ms: int
    headline: str
    body: str
    priority: str
    attempt: int
    kind: str
    state: str
    note: str
    chamber: str
    at_ms: int


class Outbox:
    """The outbox of all channels. Used by the thread that opened it; JournalError when it cannot be used."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._db = open_journal(path)

    def close(self) -> None:
        """Let go of the journal."""
        self._db.close()

    def due(self, channel: str, now_ms: int, limit: int) -> list[OwedNotice]:
        """Return at most `limit` notices the channel owes by now, oldest first."""
        with explained(self._path):
            return [OwedNotice(*row) for row in self._db.execute(DUE, (channel, now_ms, limit))]

    def next_due_ms(self, channel: str) -> int | None:
        """Return when the next notice is due, None if the channel owes none."""
        query = "SELECT min(due_ms) FROM notice WHERE state = 'owed' AND channel = ?"
        with explained(self._path):
            (due_ms,) = self._db.execute(query, (channel,)).fetchone()
        return None if due_ms is None else int(due_ms)

    def sent(self, notice_id: int, at_ms: int) -> None:
        """Note that the channel took the message."""
        self._write("UPDATE notice SET state = 'sent', sent_ms = ? WHERE id = ?", (at_ms, notice_id))

    def failed(self, notice_id: int, retry_ms: int, why: str) -> None:
        """Count a failed try; the notice is due again at `retry_ms`."""
        query = "UPDATE notice SET attempt = attempt + 1, due_ms = ?, why = ? WHERE id = ?"
        self._write(query, (retry_ms, why, notice_id))

    def dropped(self, notice_id: int, why: str) -> None:
        """Note that the message is not to be sent any more, and why."""
        self._write("UPDATE notice SET state = 'dropped', why = ? WHERE id = ?", (why, notice_id))

    def schedule_repeat(self, notice: OwedNotice, due_ms: int) -> None:
        """Owe the same message once more at `due_ms`, as the next repeat; nothing if that is owed already."""
        again = (notice.channel, notice.event_id, notice.repeat + 1, due_ms)
        self._write(REPEAT, (*again, notice.headline, notice.body, notice.priority))

    def alarm_open_unacknowledged(self, event_id: str) -> bool:
        """Return whether the alarm that event opened or raised still stands and nobody is on it."""
        with explained(self._path):
            return bool(self._db.execute(STANDS, (event_id,)).fetchone()[0])

    def _write(self, query: str, args: tuple[object, ...]) -> None:
        with transaction(self._db, self._path):
            self._db.execute(query, args)
