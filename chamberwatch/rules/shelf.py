"""Quiet until a time: ANSI/ISA-18.2's shelving. A shelf always ends by itself, and outlives what stood.

Rules for this file: pure; counted on the arrival clock. What is quiet is recorded all the same.
"""

from __future__ import annotations

from typing import NamedTuple

from chamberwatch.model import MS_PER_H, Event, EventState, Kind, Note
from chamberwatch.rules.catalogue import CATALOGUE
from chamberwatch.rules.edge import event_id

LONGEST_MS = 72 * MS_PER_H
"""A long weekend. The owner's choice; the standard wants a limit and leaves it to the plant (from memory)."""


class Shelf(NamedTuple):
    """One kind's quiet in one chamber."""

    from_ms: int
    until_ms: int
    detail: str = ""
    """Who asked for it."""

    def event(self, chamber: str, kind: Kind, at_ms: int, note: Note) -> Event:
        """Return a note about this shelf where no alarm stands that could carry it."""
        return Event(
            event_id(kind, chamber, "", at_ms, note),
            at_ms,
            self.from_ms,
            kind,
            EventState.NOTED,
            CATALOGUE[kind].priority,
            chamber,
            (),
            note=note,
            detail=self.detail,
            meets_ms=self.until_ms,
        )
