"""Puts events into words and into the outbox: what was hanging then, what the neighbours say, who is told."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from datetime import tzinfo
from pathlib import Path
from typing import NamedTuple

from chamberwatch.daemon.telling import Telling
from chamberwatch.journal.away import Away
from chamberwatch.journal.reader import Reader
from chamberwatch.journal.records import Notice
from chamberwatch.model import Event, EventState, Hanging, Plan, Priority, Reading, Refusal
from chamberwatch.rules.silence import patience_ms
from chamberwatch.words import Message, Scene, say
from chamberwatch.words.away import page
from chamberwatch.words.kinds import HOUSE_KINDS
from chamberwatch.words.times import format_local

REASONS_SHOWN = 3

AwayAt = Callable[[int], Away | None]
HangingAt = Callable[[str, int], tuple[Hanging, ...]]


class Air(NamedTuple):
    """A probe's newest values and the time of its newest reading."""

    temp_c: float | None
    rh_pct: float | None
    at_ms: int | None


def newest_air(path: Path) -> list[Reading]:
    """Return the newest values of each probe in the journal at `path`."""
    with Reader(path) as reader:
        return [
            Reading(p.probe, p.at_ms, p.temp_c, p.rh_pct, p.at_ms)
            for p in reader.probes()
            if p.at_ms is not None
        ]


class Look(NamedTuple):
    """What stood around an event when it happened; a batch may hold much that came after it."""

    other: str | None
    other_air: Air
    own_air: Air
    refusals: tuple[str, ...]


NO_AIR = Air(None, None, None)
NEVER = (NO_AIR, NO_AIR)


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
        stand_ins: Iterable[str] = (),
        away: AwayAt = lambda _at_ms: None,
    ) -> None:
        self._plan = plan
        self._hanging = hanging
        self._channels = tuple(channels)
        self._zone = zone
        self._units = units
        self._rehearsal = rehearsal
        self._stand_ins, self._away = frozenset(stand_ins), away
        self._telling = Telling()
        self._air: dict[str, tuple[Air, Air]] = {}
        self._refused: dict[str, Counter[str]] = {}

    def see(self, reading: Reading) -> None:
        """Remember a probe's newest air, and the one before."""
        old, before = self._air.get(reading.probe, NEVER)
        if old.at_ms is None or reading.at_ms >= old.at_ms:
            temp_c = old.temp_c if reading.temp_c is None else reading.temp_c
            rh_pct = old.rh_pct if reading.rh_pct is None else reading.rh_pct
            kept = before if reading.at_ms == old.at_ms else old
            self._air[reading.probe] = Air(temp_c, rh_pct, reading.at_ms), kept

    def _air_at(self, probe: str, at_ms: int) -> Air:
        """Return the last air known by then: the newest may be what let a deadline fall due."""
        newest, before = self._air.get(probe, NEVER)
        return newest if newest.at_ms is None or newest.at_ms <= at_ms else before

    def remember(self, readings: Iterable[Reading]) -> None:
        """Take up what was last known of each probe before this process began."""
        for reading in readings:
            self.see(reading)

    def see_refusal(self, refusal: Refusal) -> None:
        """Remember why a probe's input was refused."""
        reasons = self._refused.setdefault(refusal.probe or "", Counter())
        reasons[f"{refusal.reason}: {refusal.detail}" if refusal.detail else str(refusal.reason)] += 1
        if len(reasons) > REASONS_SHOWN * 10:
            self._refused[refusal.probe or ""] = Counter(dict(reasons.most_common(REASONS_SHOWN)))

    def look(self, event: Event) -> Look:
        """Return what stands around an event; call it as the event happens."""
        other = self._other(event)
        reasons: Counter[str] = sum((self._refused.get(p, Counter()) for p in event.probes), Counter())
        return Look(
            other,
            self._air_at(other, event.at_ms) if other is not None else NO_AIR,
            self._air_at(event.probes[0], event.at_ms) if event.probes else NO_AIR,
            tuple(text for text, _ in reasons.most_common(REASONS_SHOWN)),
        )

    def word(self, event: Event, look: Look) -> Message:
        """Return an event's message; which pieces hang there is asked of the journal now."""
        return say(event, self._scene(event, look))

    def notices(self, event: Event, message: Message, now_ms: int) -> list[Notice]:
        """Return what each channel owes its reader for this event."""
        if not self._telling.wanted(event):
            return []
        away = self._away(now_ms)
        absent = away if away is not None and away.stand_in in self._stand_ins else None
        urgent = event.priority is Priority.HIGH or event.kind in HOUSE_KINDS
        owed = []
        if absent is None or urgent:
            owed = [self._notice(channel, event, now_ms, message) for channel in self._channels]
        if absent is not None:
            body = "\n".join([message.body, *self._page(event, absent, now_ms)])
            owed.append(self._notice(absent.stand_in, event, now_ms, message._replace(body=body)))
        return owed

    def _notice(self, channel: str, event: Event, now_ms: int, message: Message) -> Notice:
        return Notice(channel, event.id, now_ms, message.headline, message.body, event.priority)

    def _page(self, event: Event, away: Away, now_ms: int) -> list[str]:
        """Return what a stand-in needs with what wakes them: nothing that is over, or can wait."""
        if event.priority is not Priority.HIGH or event.state is EventState.RETURNED or not event.chamber:
            return []
        until = format_local(away.until_ms, now_ms, self._zone)
        return page(self._plan.chamber(event.chamber), away.remark, self._units, until=until)

    def _scene(self, event: Event, look: Look) -> Scene:
        return Scene(
            # What concerns the whole house names no chamber, and its words use none.
            self._plan.chamber(event.chamber) if event.chamber else self._plan.chambers[0],
            self._hanging(event.chamber, event.at_ms),
            self._zone,
            self._units,
            look.other,
            look.other_air.temp_c,
            look.other_air.rh_pct,
            look.own_air.temp_c,
            look.own_air.rh_pct,
            look.own_air.at_ms,
            look.refusals,
            self._rehearsal,
            event.detail,
        )

    def _other(self, event: Event) -> str | None:
        """Return the working probe of that chamber, not named by the event, that spoke last."""
        fresh = [
            (at_ms, p.name)
            for p in self._plan.probes
            if p.chamber == event.chamber
            and p.name not in event.probes
            and (at_ms := self._air_at(p.name, event.at_ms).at_ms) is not None
            and event.at_ms - at_ms <= patience_ms(p.every_s)
        ]
        return max(fresh)[1] if fresh else None
