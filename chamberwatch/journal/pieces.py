"""The pieces and what was recorded of each: stays, stages, weigh-ins, remarks, the cut."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.errors import FactRefused
from chamberwatch.journal.connection import named
from chamberwatch.journal.stays import Stay, load_stays
from chamberwatch.model import MS_PER_DAY, PieceFacts, Stage

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable, Iterator

FACT_NAMES = tuple(field.name for field in fields(PieceFacts))
ADD_PIECE = (
    f"INSERT INTO piece({', '.join(FACT_NAMES)}) "  # noqa: S608  the names are our own fields
    f"VALUES ({', '.join('?' for _ in FACT_NAMES)})"
)
CHANGE_PIECE = f"UPDATE piece SET {', '.join(f'{name} = ?' for name in FACT_NAMES)} WHERE id = ?"  # noqa: S608  as above
ORDER = tuple(Stage)


class WeighIn(NamedTuple):
    """One weighing: what the scale showed, and what of that is casing, net and hook.

    `removed_g` was cut off since the weighing before (a trial slice); `kept` is the share of the piece that
    all slices up to now have left.
    """

    at_ms: int
    mass_g: float
    tare_g: float
    remark: str
    removed_g: float = 0.0
    kept: float = 1.0

    @property
    def net_g(self) -> float:
        """The meat alone."""
        return self.mass_g - self.tare_g

    @property
    def whole_g(self) -> float:
        """What the meat alone would weigh had nothing been cut off."""
        return self.net_g / self.kept


class Remark(NamedTuple):
    """Something the owner wrote down."""

    at_ms: int
    text: str


class Entered(NamedTuple):
    """A stage and when it began."""

    stage: Stage
    from_ms: int


class CutOpen(NamedTuple):
    """What was seen when the piece was cut: crust mm; `pace`: see `meat.prior.members`, None if not known."""

    at_ms: int
    crust_mm: float | None
    centre: str
    salt: str
    verdict: str
    pace: float | None


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece with all its stays, weigh-ins and stages told, oldest first."""

    id: int
    facts: PieceFacts
    stays: tuple[Stay, ...]
    weigh_ins: tuple[WeighIn, ...]
    discarded_ms: int | None
    discarded_why: str
    told: tuple[Entered, ...] = ()
    """Stages as they were told; those that stays and the end tell are in `stages`."""
    cut: CutOpen | None = None

    @property
    def name(self) -> str:
        """Its name as first written."""
        return self.facts.name

    @property
    def hangs(self) -> tuple[Stay, ...]:
        """Its stays in which it hung."""
        return tuple(stay for stay in self.stays if stay.hanging)

    @property
    def ever_hung(self) -> bool:
        """Whether it was hung yet."""
        return any(stay.hanging for stay in self.stays)

    @property
    def hung_ms(self) -> int:
        """When it was first hung.

        Raises:
            FactRefused: it never was.
        """
        for stay in self.hangs:
            return stay.from_ms
        stage = f": it is at {self.stages[-1].stage}" if self.stages else ""
        raise FactRefused(f"{self.name} was not hung yet{stage}; before the hang nothing dries")

    @property
    def begun_ms(self) -> int:
        """When it began: the first stay or stage; 0 while a new one is being written down."""
        begins = [stay.from_ms for stay in self.stays] + [one.from_ms for one in self.told]
        return min(begins, default=0)

    @property
    def size_mm(self) -> float | None:
        """Its diameter or thickness."""
        return self.facts.diameter_mm if self.facts.diameter_mm is not None else self.facts.thickness_mm

    @property
    def stages(self) -> tuple[Entered, ...]:
        """Every stage with its beginning, oldest first, the same one never twice in a row."""
        known = [*self.told, *(Entered(Stage.HANGING, stay.from_ms) for stay in self.hangs)]
        if self.cut is not None:
            known.append(Entered(Stage.DONE, self.cut.at_ms))
        if self.discarded_ms is not None:
            known.append(Entered(Stage.DISCARDED, self.discarded_ms))
        known.sort(key=lambda entered: (entered.from_ms, ORDER.index(entered.stage)))
        return tuple(one for n, one in enumerate(known) if not n or known[n - 1].stage is not one.stage)

    def stage_at(self, at_ms: int) -> Entered | None:
        """Return its stage at that time, None before it began."""
        return next((one for one in reversed(self.stages) if one.from_ms <= at_ms), None)

    def stay_at(self, at_ms: int) -> Stay | None:
        """Return where it was at that time, None if nowhere."""
        return next((stay for stay in self.stays if stay.covers(at_ms)), None)

    def day_at(self, at_ms: int) -> int:
        """Return the day of its hang, or before that of its stage: 1 for the first 24 h."""
        if self.ever_hung and at_ms >= self.hung_ms:
            return (at_ms - self.hung_ms) // MS_PER_DAY + 1
        entered = self.stage_at(at_ms)
        return (at_ms - (entered.from_ms if entered is not None else self.begun_ms)) // MS_PER_DAY + 1

    def tare_at(self, at_ms: int) -> float:
        """Return the tare [g] that holds then: the last weigh-in's, else the one it was hung with."""
        known = [w.tare_g for w in self.weigh_ins if w.at_ms <= at_ms]
        return known[-1] if known else self.facts.tare_g

    def kept_at(self, at_ms: int) -> float:
        """Return the share of the piece that slices up to that time left."""
        known = [w.kept for w in self.weigh_ins if w.at_ms <= at_ms]
        return known[-1] if known else 1.0

    def loss_pct(self, whole_g: float) -> float:
        """Return the loss [% of green weight] at a mass without tare of the whole piece."""
        return 100.0 * (1.0 - whole_g / self.facts.green_weight_g)


def load_pieces(db: sqlite3.Connection, name: str | None = None) -> list[Piece]:
    """Return the piece of that name (capitals or not), or all, the first begun first."""
    rows = named(db, "SELECT * FROM piece WHERE ?1 IS NULL OR name = ?1", (name,))
    pieces = [
        Piece(
            row["id"],
            PieceFacts(**{key: row[key] for key in FACT_NAMES}),
            load_stays(db, row["id"]),
            load_weigh_ins(db, row["id"]),
            row["discarded_ms"],
            row["discarded_why"],
            _load_told(db, row["id"]),
            _load_cut(db, row["id"]),
        )
        for row in rows
    ]
    return sorted(pieces, key=lambda piece: (piece.begun_ms, piece.name))


def load_weigh_ins(db: sqlite3.Connection, piece_id: int) -> tuple[WeighIn, ...]:
    """Return a piece's weigh-ins, oldest first."""
    query = "SELECT at_ms, mass_g, tare_g, remark, removed_g FROM weigh_in WHERE piece_id = ? ORDER BY at_ms"
    return tuple(with_kept(WeighIn(*row) for row in db.execute(query, (piece_id,))))


def with_kept(weigh_ins: Iterable[WeighIn]) -> Iterator[WeighIn]:
    """Yield weigh-ins, oldest first, with the share of the piece that all slices so far have left."""
    kept = 1.0
    for weighed in weigh_ins:
        kept *= weighed.net_g / (weighed.net_g + weighed.removed_g)
        yield weighed._replace(kept=kept)


def _load_told(db: sqlite3.Connection, piece_id: int) -> tuple[Entered, ...]:
    query = "SELECT stage, from_ms FROM stage WHERE piece_id = ? ORDER BY from_ms"
    return tuple(Entered(Stage(stage), from_ms) for stage, from_ms in db.execute(query, (piece_id,)))


def _load_cut(db: sqlite3.Connection, piece_id: int) -> CutOpen | None:
    query = "SELECT at_ms, crust_mm, centre, salt, verdict, pace FROM cut WHERE piece_id = ?"
    return next((CutOpen(*row) for row in db.execute(query, (piece_id,))), None)


def add_piece(db: sqlite3.Connection, facts: PieceFacts) -> int:
    """Record a new piece; return its id. The caller holds the transaction."""
    row = db.execute(ADD_PIECE, tuple(getattr(facts, name) for name in FACT_NAMES))
    return row.lastrowid or 0


def change_piece(db: sqlite3.Connection, piece_id: int, facts: PieceFacts) -> None:
    """Replace what is said of a piece. The caller holds the transaction."""
    db.execute(CHANGE_PIECE, (*(getattr(facts, name) for name in FACT_NAMES), piece_id))
