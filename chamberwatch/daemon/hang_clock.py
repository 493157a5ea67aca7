"""Hours of hanging against the calendar: a piece that was taken down for a while dries on where it stopped.

Between two stays a piece is bagged in the cold to even out its moisture: it is taken to lose nothing then.
What evens out inside it meanwhile is left out, and said so where a date is told.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.model import MS_PER_H

if TYPE_CHECKING:
    from collections.abc import Sequence

    from chamberwatch.journal.stays import Stay


class Span(NamedTuple):
    """One stay, up to the time that is asked about, and the hour of hanging with which it begins."""

    chamber: str
    from_ms: int
    to_ms: int
    first_h: int
    hours: int


class HangClock:
    """The hours a piece has hung up to a time."""

    def __init__(self, stays: Sequence[Stay], until_ms: int) -> None:
        """`stays` oldest first, at least one that began before `until_ms` [ms UTC]."""
        self.until_ms = until_ms
        self.spans: list[Span] = []
        first_h = 0
        for stay in stays:
            if stay.from_ms > until_ms:
                break
            to_ms = until_ms if stay.to_ms is None else min(stay.to_ms, until_ms)
            hours = (to_ms - stay.from_ms) // MS_PER_H
            self.spans.append(Span(stay.chamber, stay.from_ms, to_ms, first_h, hours))
            first_h += hours
        self.hours = first_h
        """All of them, whole ones."""

    def at_h(self, at_ms: int) -> float:
        """Return the hours of hanging at a time [h]; while it hung nowhere they stand still."""
        reached = 0.0
        for span in self.spans:
            if at_ms <= span.from_ms:
                break
            reached = span.first_h + min((min(at_ms, span.to_ms) - span.from_ms) / MS_PER_H, span.hours)
        return reached

    def at_ms(self, hour: float) -> int:
        """Return when so many hours of hanging were or will be reached, if it hangs on from now [ms UTC]."""
        for span in self.spans:
            if hour <= span.first_h + span.hours:
                return span.from_ms + round((hour - span.first_h) * MS_PER_H)
        return self.until_ms + round((hour - self.hours) * MS_PER_H)
