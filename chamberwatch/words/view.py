"""An event in its scene, in the pieces a sentence is made of: names, figures, moments. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from chamberwatch.model import MS_PER_H, MS_PER_MIN, Event, Hanging, Kind
from chamberwatch.words.kinds import CLIMATE_KINDS, DEGREE_KINDS, HALF_KINDS, HOUSE_KINDS, OF_THE_HOUSE, TOO
from chamberwatch.words.times import format_clock, format_local
from chamberwatch.words.units import show_rh, show_span, show_temp, show_temp_gap, temp_number, temp_unit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from chamberwatch.model import ChamberKind
    from chamberwatch.words.scene import Scene

Wording = tuple[str, list[str]]
"""Headline and the body's lines; '' lines are dropped."""

NAME_SHOWN = 24
"""A lock screen shows about 110 characters; a longer name gives way to the figures."""
LATE_FROM_MS = 10 * MS_PER_MIN
SOON_MS = 20 * MS_PER_H
"""A moment ahead that needs no day: its hour comes only once until then."""
YOUNG_DAYS = 14
"""Up to this day of the hang the middle counts as wet (common practice, no source)."""


def cut(name: str) -> str:
    """Return a name short enough for a headline."""
    return name if len(name) <= NAME_SHOWN else name[: NAME_SHOWN - 1] + "…"


def join(words: Sequence[str]) -> str:
    """Return "a", "a and b", "a, b and c"."""
    return " and ".join(filter(None, (", ".join(words[:-1]), *words[-1:])))


def house_subject(kind: Kind, channels: Sequence[str]) -> str:
    """Return who is spoken of when no chamber is: "the board's disk", "messages by mail and push"."""
    by = f" by {join(channels)}" if channels and kind is Kind.CHANNEL_FAILING else ""
    return OF_THE_HOUSE[kind] + by


@dataclass(frozen=True, slots=True)
class View:
    """What the wordings look at. Temperatures come out in the house's units, moments in local time."""

    event: Event
    scene: Scene

    # -- names ---------------------------------------------------------------------------------------------

    @property
    def chamber(self) -> str:
        """The chamber's name, cut for a headline."""
        return cut(self.scene.chamber.name)

    @property
    def kind(self) -> ChamberKind:
        """What the chamber is for."""
        return self.scene.chamber.kind

    @property
    def too(self) -> str:
        """What the chamber is: "too dry"."""
        return TOO[self.event.kind]

    @property
    def of_the_house(self) -> bool:
        """Whether it concerns the monitor itself and no chamber."""
        return self.event.kind in HOUSE_KINDS

    def matter(self, how: str = "", *, opens: bool = False) -> str:
        """Return what it is about: "cellar too dry", "rear in cellar silent"; `how`: "still", "now".

        `opens`: it is the first word of a headline; a name keeps its own first letter all the same.
        """
        if self.of_the_house:
            who = house_subject(self.event.kind, self.event.probes)
            who = who[0].upper() + who[1:] if opens else who
        else:
            whole = self.event.kind in CLIMATE_KINDS or self.event.kind is Kind.MONITOR_GAP
            who = self.chamber if whole else f"{cut(self.probes)} in {self.chamber}"
        return " ".join(filter(None, (who, how, self.too)))

    @property
    def probes(self) -> str:
        """The event's probes by name."""
        return join(self.event.probes) or "the probe"

    @property
    def hanging(self) -> str:
        """The line that names the pieces and their day; '' where no chamber is meant."""
        if self.of_the_house:
            return ""
        if not self.scene.pieces:
            return "As far as I know nothing hangs there."
        return f"Hanging there: {', '.join(f'{p.name} (day {p.day})' for p in self.scene.pieces)}."

    @property
    def youngest(self) -> Hanging | None:
        """The piece whose middle is wettest: the one hung last."""
        return min(self.scene.pieces, key=lambda piece: piece.day, default=None)

    @property
    def has_young(self) -> bool:
        """Whether a piece hangs there whose middle must count as wet."""
        return any(piece.day <= YOUNG_DAYS for piece in self.scene.pieces)

    # -- moments -------------------------------------------------------------------------------------------

    def moment(self, at_ms: int) -> str:
        """Return a local time, with the day where it isn't the day of telling."""
        return format_local(at_ms, self.event.at_ms + self.event.late_ms, self.scene.zone)

    def ahead(self, at_ms: int) -> str:
        """Return a local time still to come; the day only where the hour alone could be another."""
        told_ms = self.event.at_ms + self.event.late_ms
        if 0 <= at_ms - told_ms <= SOON_MS:
            return format_clock(at_ms, self.scene.zone)
        return self.moment(at_ms)

    @property
    def since(self) -> str:
        """When it began."""
        return self.moment(self.event.since_ms)

    @property
    def at(self) -> str:
        """When the condition was met."""
        return self.moment(self.event.at_ms)

    @property
    def lasted(self) -> str:
        """How long from its beginning to this event."""
        return show_span(self.event.at_ms - self.event.since_ms)

    @property
    def told_late(self) -> str:
        """The line that owns up to telling late, or ''."""
        if self.event.late_ms <= LATE_FROM_MS:
            return ""
        at = format_clock(self.event.at_ms + self.event.late_ms, self.scene.zone)
        late = show_span(self.event.late_ms)
        return f"Told late: the readings reached me at {at}, {late} after they were taken."

    # -- figures -------------------------------------------------------------------------------------------

    @property
    def in_degrees(self) -> bool:
        """Whether the event's figures are temperatures; else they are per cent."""
        by_half = self.event.kind in HALF_KINDS and self.event.detail == "temperature"
        return by_half or self.event.kind in DEGREE_KINDS

    def figure(self, value: float | None, beside: float | None = None) -> str:
        """Return a value of the kind's quantity with its unit."""
        if value is None:
            return "no figure"
        if self.in_degrees:
            return show_temp(value, self.scene.units, beside_c=beside)
        return show_rh(value, beside_pct=beside)

    def gap(self, gap: float) -> str:
        """Return a difference between two values of the kind's quantity, without its sign."""
        return show_temp_gap(abs(gap), self.scene.units) if self.in_degrees else f"{abs(gap):.1f} %"

    @property
    def value(self) -> str:
        """How far it is."""
        return self.figure(self.event.value, beside=self.event.limit)

    def limit(self, value: float) -> str:
        """Return a limit as it was set: `15 °C`, not `15.0 °C`."""
        if self.in_degrees:
            return f"{temp_number(value, self.scene.units):.4g} {temp_unit(self.scene.units)}"
        return f"{value:.4g} %"

    def air(self, temp_c: float | None, rh_pct: float | None) -> str:
        """Return "13.1 °C, 76 %", or what there is of it."""
        temp = "" if temp_c is None else show_temp(temp_c, self.scene.units)
        return ", ".join(filter(None, (temp, "" if rh_pct is None else show_rh(rh_pct))))

    @property
    def other(self) -> str:
        """What the other working probe reads, or ''."""
        scene = self.scene
        return self.air(scene.other_temp_c, scene.other_rh_pct) if scene.other_probe else ""

    @property
    def last(self) -> str:
        """The newest reading of the probe in question, or ''."""
        return self.air(self.scene.last_temp_c, self.scene.last_rh_pct)
