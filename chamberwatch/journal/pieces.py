"""The pieces and what was recorded of each: stays, weigh-ins, remarks."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.journal.connection import named
from chamberwatch.journal.stays import Stay, load_stays
from chamberwatch.model import MS_PER_DAY, PieceFacts

if TYPE_CHECKING:
    import sqlite3

FACT_NAMES = tuple(field.name for field in fields(PieceFacts))
ADD_PIECE = (
    f"INSERT INTO piece({', '.join(FACT_NAMES)}) "  # noqa: S608  the names are our own fields
    f"VALUES ({', '.join('?' for _ in FACT_NAMES)})"
)


class WeighIn(NamedTuple):
    """One weighing: what the scale showed, and what of that is casing, net and hook."""

    at_ms: int
    mass_g: float
    tare_g: float
    remark: str

    @property
    def net_g(self) -> float:
        """The meat alone."""
        return self.mass_g - self.tare_g


class Remark(NamedTuple):
    """Something the owner wrote down."""

    at_ms: int
    text: str


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece with all its stays and weigh-ins, oldest first."""

    id: int
    facts: PieceFacts
    stays: tuple[Stay, ...]
    weigh_ins: tuple[WeighIn, ...]
    discarded_ms: int | None
    discarded_why: str

    @property
    def name(self) -> str:
        """Its name as first written."""
        return self.facts.name

    @property
    def hung_ms(self) -> int:
        """When it was first hung."""
        return self.stays[0].from_ms

    def stay_at(self, at_ms: int) -> Stay | None:
        """Return where it hung at that time, None if nowhere."""
        return next((stay for stay in self.stays if stay.covers(at_ms)), None)

    def day_at(self, at_ms: int) -> int:
        """Return the day of its hang: 1 for the first 24 h."""
        return (at_ms - self.hung_ms) // MS_PER_DAY + 1

    def tare_at(self, at_ms: int) -> float:
        """Return the tare [g] that holds then: the last weigh-in's, else the one it was hung with."""
        known = [w.tare_g for w in self.weigh_ins if w.at_ms <= at_ms]
        return known[-1] if known else self.facts.tare_g

    def loss_pct(self, net_g: float) -> float:
        """Return the loss [% of green weight] at a mass without tare."""
        return 100.0 * (1.0 - net_g / self.facts.green_weight_g)


def load_pieces(db: sqlite3.Connection, name: str | None = None) -> list[Piece]:
    """Return the piece of that name (capitals or not), or all, the first hung first."""
    rows = named(db, "SELECT * FROM piece WHERE ?1 IS NULL OR name = ?1", (name,))
    pieces = [
        Piece(
            row["id"],
            PieceFacts(**{key: row[key] for key in FACT_NAMES}),
            load_stays(db, row["id"]),
            load_weigh_ins(db, row["id"]),
            row["discarded_ms"],
            row["discarded_why"],
        )
        for row in rows
    ]
    return sorted(pieces, key=lambda piece: (piece.hung_ms, piece.name))


def load_weigh_ins(db: sqlite3.Connection, piece_id: int) -> tuple[WeighIn, ...]:
    """Return a piece's weigh-ins, oldest first."""
    query = "SELECT at_ms, mass_g, tare_g, remark FROM weigh_in WHERE piece_id = ? ORDER BY at_ms"
    return tuple(WeighIn(*row) for row in db.execute(query, (piece_id,)))


def add_piece(db: sqlite3.Connection, facts: PieceFacts) -> int:
    """Record a new piece; return its id. The caller holds the transaction."""
    row = db.execute(ADD_PIECE, tuple(getattr(facts, name) for name in FACT_NAMES))
    return row.lastrowid or 0
