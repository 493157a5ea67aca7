"""What a hanging piece wants of its owner, and when: weighing, tying again, a look for mold. Pure.

Weigh at day 3 or 4, day 7, then weekly; tie again about day 5 to 7, once the piece has shrunk in its string.
Common practice, no source.
"""

from __future__ import annotations

from typing import NamedTuple

from chamberwatch.model import MS_PER_DAY

FIRST_WEIGH_DAYS = (3, 7)
WEEK_DAYS = 7
NEAR_DAYS = 1.5
"""A weigh-in so shortly before its day counts for it."""
TIE_FROM_DAY, TIE_TO_DAY = 5, 7


class Duty(NamedTuple):
    """Something to do about a piece, from when on."""

    at_ms: int
    what: str


def next_weighing_ms(hung_ms: int, weighed_ms: int | None) -> int:
    """Return when the next weigh-in is due, whether or not that is past."""
    last_days = ((weighed_ms or hung_ms) - hung_ms) / MS_PER_DAY + (NEAR_DAYS if weighed_ms else 0.0)
    for day in FIRST_WEIGH_DAYS:
        if day > last_days:
            return hung_ms + day * MS_PER_DAY
    return (weighed_ms or hung_ms) + WEEK_DAYS * MS_PER_DAY


def duties(hung_ms: int, weighed_ms: int | None, from_ms: int, until_ms: int) -> list[Duty]:
    """Return what falls due up to `until_ms`, in order; what is overdue at `from_ms` as well."""
    found = []
    weigh_ms = next_weighing_ms(hung_ms, weighed_ms)
    if weigh_ms <= until_ms:
        found.append(Duty(weigh_ms, "weigh it, look for mold and wipe it"))
    # Day 1 is the first 24 h.
    tie_from_ms, tie_to_ms = hung_ms + (TIE_FROM_DAY - 1) * MS_PER_DAY, hung_ms + TIE_TO_DAY * MS_PER_DAY
    if tie_from_ms <= until_ms and tie_to_ms > from_ms:
        found.append(Duty(tie_from_ms, "tie it again: it has shrunk in its string or net"))
    return sorted(found)
