"""Puts events into words and into the outbox: what was hanging then, what the neighbours say, who is told."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from datetime import tzinfo
from typing import NamedTuple

from chamberwatch.journal.records import Notice
from chamberwatch.model import Event, Hanging, Note, Plan, Reading, Refusal
from chamberwatch.rules.silence import patience_ms
from chamberwatch.words import Message, Scene, say

TOLD_NOTES = frozenset({Note.EDGE, Note.RAISED, Note.STILL, Note.FACT})
"""What becomes a message. That a second probe joined, or that someone is on it, is recorded but not sent."""
REASONS_SHOWN = 3

HangingAt = Callable[[str, int], tuple[Hanging, ...]]


class Air(NamedTuple):
    """A probe's newest values and the time of its newest reading."""

    temp_c: float | None
    rh_pct: float | None
    at_ms: int


class Teller:
    """Knows the newest air of every probe and why input was refused; words an event from that."""

    def __init__(
        self,
        plan: Plan,
        hanging: HangingAt,
        channels: Iterable[str],
        zone: tzinfo,
        units: str,
        *,
        rehearsal: bool = False,
    ) -> None:
        self._plan = plan
        self._hanging = hanging
        self._channels = tuple(channels)
        self._zone = zone
        self._units = units
        self._rehearsal = rehearsal
        self._air: dict[str, Air] = {}
        self._refused: dict[str, Counter[str]] = {}

    def see(self, reading: Reading) -> None:
        """Remember a probe's newest air."""
        old = self._air.get(reading.probe)
        if old is None:
            self._air[reading.probe] = Air(reading.temp_c, reading.rh_pct, reading.at_ms)
        elif reading.at_ms >= old.at_ms:
            temp_c = old.temp_c if reading.temp_c is None else reading.temp_c
            rh_pct = old.rh_pct if reading.rh_pct is None else reading.rh_pct
            self._air[reading.probe] = Air(temp_c, rh_pct, reading.at_ms)

    def see_refusal(self, refusal: Refusal) -> None:
        """Remember why a probe's input was refused."""
        reasons = self._refused.setdefault(refusal.probe or "", Counter())
        reasons[f"{refusal.reason}: {refusal.detail}" if refusal.detail else str(refusal.reason)] += 1
        if len(reasons) > REASONS_SHOWN * 10:
            self._refused[refusal.probe or ""] = Counter(dict(reasons.most_common(REASONS_SHOWN)))

    def word(self, event: Event) -> Message:
        """Return an event's message."""
        return say(event, self._scene(event))

    def notices(self, event: Event, message: Message, now_ms: int) -> list[Notice]:
        """Return what each channel owes its reader for this event."""
        if event.note not in TOLD_NOTES:
            return []
        return [
            Notice(channel, event.id, now_ms, message.headline, message.body, event.priority)
            for channel in self._channels
        ]

    def _scene(self, event: Event) -> Scene:
        own = self._air.get(event.probes[0]) if event.probes else None
        other = self._other(event)
        air = self._air[other] if other is not None else None
        reasons: Counter[str] = sum((self._refused.get(p, Counter()) for p in event.probes), Counter())
        return Scene(
            self._plan.chamber(event.chamber),
            self._hanging(event.chamber, event.at_ms),
            self._zone,
            self._units,
            other,
            air.temp_c if air else None,
            air.rh_pct if air else None,
            own.temp_c if own else None,
            own.rh_pct if own else None,
            own.at_ms if own else None,
            tuple(text for text, _ in reasons.most_common(REASONS_SHOWN)),
            self._rehearsal,
            event.detail,
        )

    def _other(self, event: Event) -> str | None:
        """Return the working probe of that chamber, not named by the event, that spoke last."""
        fresh = [
            (self._air[p.name].at_ms, p.name)
            for p in self._plan.probes
            if p.chamber == event.chamber
            and p.name not in event.probes
            and p.name in self._air
            and event.at_ms - self._air[p.name].at_ms <= patience_ms(p.every_s)
        ]
        return max(fresh)[1] if fresh else None
