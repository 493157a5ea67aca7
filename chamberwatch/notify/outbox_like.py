"""What a channel's thread needs of the journal's outbox, and nothing more. Times: ms UTC."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol


class OwedLike(Protocol):
    """A notice as the outbox gives it out: the message and the event it is about."""

    @property
    def id(self) -> int:
        """Its number in the outbox; grows with time."""
        ...

    @property
    def event_id(self) -> str:
        """The event's id."""
        ...

    @property
    def repeat(self) -> int:
        """0: the first message; then which repeat."""
        ...

    @property
    def attempt(self) -> int:
        """How many tries have failed."""
        ...

    @property
    def headline(self) -> str:
        """The first line: what a lock screen shows."""
        ...

    @property
    def body(self) -> str:
        """The rest, plain text."""
        ...

    @property
    def priority(self) -> str:
        """The event's priority when it was told."""
        ...

    @property
    def kind(self) -> str:
        """The event's kind."""
        ...

    @property
    def state(self) -> str:
        """The event's state."""
        ...

    @property
    def note(self) -> str:
        """What a noted event notes; '' for the two edges."""
        ...

    @property
    def chamber(self) -> str:
        """The event's chamber."""
        ...

    @property
    def at_ms(self) -> int:
        """The event's time."""
        ...


class OutboxLike(Protocol):
    """The outbox, each call its own short transaction; used by the one thread that opened it."""

    def due(self, channel: str, now_ms: int, limit: int) -> Sequence[OwedLike]:
        """Return at most `limit` notices of the channel, due by now, neither sent nor dropped."""
        ...

    def next_due_ms(self, channel: str) -> int | None:
        """When the next notice is due; None if none is owed."""
        ...

    def sent(self, notice_id: int, at_ms: int) -> None:
        """Mark a notice sent."""
        ...

    def failed(self, notice_id: int, retry_ms: int, why: str) -> None:
        """Count a failed try; the notice is due again at `retry_ms`."""
        ...

    def dropped(self, notice_id: int, why: str) -> None:
        """Mark a notice as not to be sent."""
        ...

    def schedule_repeat(self, notice: Any, due_ms: int) -> None:
        """Owe repeat `notice.repeat + 1` of the same message at `due_ms`; nothing if it is owed already."""
        ...

    def alarm_open_unacknowledged(self, event_id: str) -> bool:
        """Whether the alarm this event opened or raised is still open and nobody has said they are on it."""
        ...

    def close(self) -> None:
        """Let go of the journal."""
        ...
