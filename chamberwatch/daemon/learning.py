"""What finished pieces teach about those that still hang in the same chamber: the owner's own curve.

Each piece cut open says by how much faster or slower than supposed it dried; the mean of its kind in a
chamber, shrunk while they are few, moves what is supposed of the next one. Only what was cut counts, and only
weigh-ins tell how it dried.
"""

from __future__ import annotations

import zlib
from statistics import fmean
from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.daemon.course import course
from chamberwatch.errors import FactRefused
from chamberwatch.meat.pace import pace
from chamberwatch.meat.posterior import posterior
from chamberwatch.model import MS_PER_DAY

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from chamberwatch.journal.pieces import Piece
    from chamberwatch.journal.reader import Reader

WEIGH_INS = 2
"""Weigh-ins after the hang that a piece must have to teach anything."""
DOUBT = 2.0
"""As many finished pieces weigh as much as what was supposed before; our own choice."""
LATEST = 8
"""So many of the latest pieces count: fridges and butchers change."""


class Learnt(NamedTuple):
    """What finished pieces say: how many, their mean days on the hook and loss [%], and the pace to suppose.

    The pace is a natural logarithm of the diffusivity; see `meat.prior.members`.
    """

    pieces: int
    days: float
    loss_pct: float
    pace: float


def pace_of(reader: Reader, piece: Piece, at_ms: int, when: Callable[[int], str]) -> float | None:
    """Return by how much faster than supposed a piece dried, as a natural logarithm; None if nobody can say.

    Nobody can when it never hung, was weighed fewer than twice after its hang, or gets no date at all.
    """
    if not piece.ever_hung:
        return None
    try:
        known = course(reader, piece, at_ms, when)
    except FactRefused:
        return None
    if len(known.weighed) < WEIGH_INS:
        return None
    seed = zlib.crc32(piece.name.encode())
    left = posterior(known.piece, known.air, known.weighed, seed=seed)
    return pace(known.piece, left, seed)


def learnt(pieces: Iterable[Piece], piece: Piece, as_of_ms: int) -> Learnt | None:
    """Return what pieces of its kind say that hung in its chamber and were cut by a time; None if none do."""
    chamber = _chamber(piece, as_of_ms)
    alike = [
        other
        for other in pieces
        if other.name != piece.name
        and other.facts.kind.casefold() == piece.facts.kind.casefold()
        and other.cut is not None
        and other.cut.pace is not None
        and other.cut.at_ms <= as_of_ms
        and _chamber(other, other.cut.at_ms) == chamber
    ]
    alike = sorted(alike, key=lambda other: other.cut.at_ms if other.cut else 0)[-LATEST:]
    if not alike:
        return None
    paces = [other.cut.pace for other in alike if other.cut is not None and other.cut.pace is not None]
    count = len(paces)
    losses = [other.loss_pct(other.weigh_ins[-1].whole_g) for other in alike]
    return Learnt(count, fmean(map(_days, alike)), fmean(losses), count / (count + DOUBT) * fmean(paces))


def _chamber(piece: Piece, at_ms: int) -> str | None:
    """Return where a piece hung last by a time."""
    return next((stay.chamber for stay in reversed(piece.hangs) if stay.from_ms <= at_ms), None)


def _days(piece: Piece) -> float:
    """Return the days between its first hang and its last coming down, those between two stays left out."""
    return sum(((stay.to_ms or stay.from_ms) - stay.from_ms) / MS_PER_DAY for stay in piece.hangs)
