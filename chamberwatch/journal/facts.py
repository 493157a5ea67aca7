"""What the owner says, into the journal: pieces, stays, weigh-ins, remarks, requests to the watch.

Each method is one short transaction beside the watch's own, and either records the whole fact or raises
FactRefused with what cannot be, and why. Facts may be late: any time from 2000 on to 5 min ahead.
"""

from __future__ import annotations

from datetime import UTC
from typing import TYPE_CHECKING

from chamberwatch.errors import FactRefused
from chamberwatch.journal import fact_checks as checks
from chamberwatch.journal import plans
from chamberwatch.journal.asks import Asks
from chamberwatch.journal.connection import transaction
from chamberwatch.journal.fact_results import (
    Cut,
    Discarded,
    Hung,
    Moved,
    Noted,
    Staged,
    Started,
    TakenDown,
    Weighed,
)
from chamberwatch.journal.pieces import CutOpen, Piece, WeighIn, add_piece, change_piece, load_pieces
from chamberwatch.journal.schema import open_journal
from chamberwatch.journal.stage_facts import (
    add_stay,
    check_before_hang,
    enter,
    forget_after,
    leave,
    record_cut,
)
from chamberwatch.model import ChamberKind, Stage

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable
    from datetime import tzinfo
    from pathlib import Path
    from types import TracebackType
    from typing import Self

    from chamberwatch.journal.stays import Stay
    from chamberwatch.model import PieceFacts


class Facts:
    """Records facts in the journal at `path`; a known chamber is one of its plan or of `chambers`.

    `now_ms` judges what is in the future; refusals name times in `zone` and masses in the journal's units.
    Whoever can give `chambers` knows the settings: then a journal that is not there yet is made.
    """

    def __init__(
        self, path: Path, *, now_ms: int, chambers: Iterable[str] | None = None, zone: tzinfo = UTC
    ) -> None:
        self._path = path
        self._db: sqlite3.Connection = open_journal(path, create=chambers is not None)
        plan = plans.read_plan(self._db)
        self._chambers = {c.name for c in plan.chambers} if plan else set()
        self._warm = {c.name for c in plan.chambers if c.kind is not ChamberKind.COLD} if plan else set()
        self._chambers.update(chambers or ())
        self._voice = checks.Voice(now_ms, zone, plans.read_units(self._db))
        self.asks = Asks(self._db, path, self._chambers, plan.probes if plan else (), self._voice)
        """What is asked of the watch."""

    def close(self) -> None:
        """Let go of the journal."""
        self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # -- pieces and stays

    def hang(self, facts: PieceFacts, chamber: str, at_ms: int, *, until_ms: int | None = None) -> Hung:
        """Record a new piece and its stay from `at_ms` (to `until_ms`, if that is over).

        The name of a known piece is taken only with the same kind and green weight: then it hangs again, or
        for the first time after its salting, with what is said of it now.
        """
        facts = checks.check_piece(facts)
        if facts.name in self._chambers:
            raise FactRefused(f"{facts.name!r} is a chamber; give the piece another name")
        self._check_place(chamber, at_ms, until_ms)
        with transaction(self._db, self._path):
            known = self._known(facts.name)
            if known is not None:
                checks.check_same(facts, known, self._voice)
                if not known.ever_hung:
                    change_piece(self._db, known.id, facts)
                return self._hang_known(known, chamber, at_ms, until_ms)
            if until_ms is not None and until_ms <= at_ms:
                checks.check_stay(_new(facts), at_ms, until_ms, self._voice)
            add_stay(self._db, add_piece(self._db, facts), chamber, at_ms, until_ms)
        return Hung(facts.name, chamber, at_ms, until_ms, again=False)

    def hang_again(self, name: str, chamber: str, at_ms: int, *, until_ms: int | None = None) -> Hung:
        """Record one more stay of a known piece."""
        self._check_place(chamber, at_ms, until_ms)
        with transaction(self._db, self._path):
            return self._hang_known(self._piece(name), chamber, at_ms, until_ms)

    def move(self, name: str, chamber: str, at_ms: int) -> Moved:
        """Record that the piece hung in `chamber` from `at_ms` on, to the end of the stay it was in."""
        self._check_place(chamber, at_ms, None)
        with transaction(self._db, self._path):
            piece = self._piece(name)
            stay = self._stay(piece, at_ms, "moved")
            if stay.chamber == chamber:
                raise FactRefused(
                    f"{piece.name} hangs in {chamber} already, since {self._voice.when(stay.from_ms)}"
                )
            if not stay.hanging:
                self._check_cold(chamber)
            leave(self._db, piece, stay, at_ms)
            add_stay(self._db, piece.id, chamber, at_ms, stay.to_ms, hanging=stay.hanging)
        return Moved(piece.name, stay.chamber, chamber, at_ms)

    def take_down(self, name: str, at_ms: int) -> TakenDown:
        """Record that the piece's stay ended at `at_ms`."""
        checks.check_time(at_ms, self._voice)
        with transaction(self._db, self._path):
            piece = self._piece(name)
            stay = self._stay(piece, at_ms, "taken down")
            if stay.to_ms is not None:
                raise FactRefused(
                    f"{piece.name} was taken down from {stay.chamber} already, {self._voice.when(stay.to_ms)}"
                )
            leave(self._db, piece, stay, at_ms)
        return TakenDown(piece.name, stay.chamber, stay.from_ms, at_ms)

    def discard(self, name: str, why: str, at_ms: int) -> Discarded:
        """Record that the piece was thrown away, and why; a stay it is in ends. It can never hang again."""
        why = checks.tidy("the reason", why, checks.TEXT_CHARS)
        checks.check_time(at_ms, self._voice)
        with transaction(self._db, self._path):
            piece = self._piece(name)
            checks.check_discard(piece, at_ms, self._voice)
            stay = _open_stay(piece)
            if stay is not None:
                leave(self._db, piece, stay, at_ms)
            query = "UPDATE piece SET discarded_ms = ?, discarded_why = ? WHERE id = ?"
            self._db.execute(query, (at_ms, why, piece.id))
        return Discarded(piece.name, at_ms, stay.chamber if stay else None)

    # -- stages

    def start(self, facts: PieceFacts, at_ms: int, chamber: str | None = None) -> Started:
        """Record that a piece began to salt, in a cold chamber if one is named.

        A known piece (same kind and green weight) gets its salting entered later, with what is said now.
        """
        facts = checks.check_piece(facts)
        if facts.name in self._chambers:
            raise FactRefused(f"{facts.name!r} is a chamber; give the piece another name")
        checks.check_time(at_ms, self._voice)
        self._check_cold(chamber)
        with transaction(self._db, self._path):
            known = self._known(facts.name)
            if known is None:
                known = _new(facts, add_piece(self._db, facts))
            else:
                checks.check_same(facts, known, self._voice)
                change_piece(self._db, known.id, facts)
            enter(self._db, known, Stage.SALTING, at_ms, chamber, self._voice)
        return Started(known.name, chamber, at_ms)

    def stage(
        self, name: str, stage: Stage, at_ms: int, chamber: str | None = None, *, correct: bool = False
    ) -> Staged:
        """Record that a piece came to a stage, in a cold chamber if one is named.

        `correct` takes back what was told of this stage, and every later one, before.
        """
        checks.check_time(at_ms, self._voice)
        self._check_cold(chamber)
        with transaction(self._db, self._path):
            piece = self._piece(name)
            if correct:
                forget_after(self._db, piece, stage, at_ms, self._voice)
                piece = self._piece(name)
            before = piece.stage_at(at_ms)
            enter(self._db, piece, stage, at_ms, chamber, self._voice)
        return Staged(piece.name, stage, at_ms, before.stage if before else None, chamber)

    def cut(self, name: str, seen: CutOpen) -> Cut:
        """Record that a piece was cut open, and how it was: it is done; a stay it is in ends."""
        checks.check_time(seen.at_ms, self._voice)
        with transaction(self._db, self._path):
            piece = self._piece(name)
            stay = _open_stay(piece)
            record_cut(self._db, piece, seen, self._voice)
            if stay is not None:
                leave(self._db, piece, stay, seen.at_ms)
        loss = piece.loss_pct(piece.weigh_ins[-1].whole_g) if piece.weigh_ins else None
        days = piece.day_at(seen.at_ms) - 1
        said = (seen.crust_mm, seen.centre, seen.salt, seen.verdict)
        return Cut(piece.name, seen.at_ms, days, loss, piece.facts.target_loss_pct, *said)

    # -- weights and words

    def weigh(
        self,
        name: str,
        mass_g: float,
        at_ms: int,
        tare_g: float | None = None,
        remark: str = "",
        *,
        removed_g: float = 0.0,
        anyway: bool = False,
    ) -> Weighed:
        """Record what the scale showed [g]; the tare is that of the last weigh-in unless given.

        `removed_g` was cut off since the weighing before (a trial slice) and is not counted as dried.
        `anyway` takes a gain in weight for true (re-netted, larded, washed).
        """
        checks.check_time(at_ms, self._voice)
        remark = checks.tidy("the remark", remark, checks.TEXT_CHARS) if remark else ""
        with transaction(self._db, self._path):
            piece = self._piece(name)
            tare = piece.tare_at(at_ms) if tare_g is None else tare_g
            checks.check_mass(mass_g, tare, self._voice)
            checks.check_removed(removed_g, mass_g - tare, self._voice)
            left = (mass_g - tare) / (mass_g - tare + removed_g)
            new = WeighIn(at_ms, mass_g, tare, remark, removed_g, left * piece.kept_at(at_ms))
            checks.check_weigh_in(piece, new, self._voice, anyway=anyway)
            query = "INSERT INTO weigh_in(piece_id, at_ms, mass_g, tare_g, remark, removed_g)"
            self._db.execute(f"{query} VALUES (?, ?, ?, ?, ?, ?)", (piece.id, *new[:5]))
        return _weighed(piece, new)

    def note(self, about: str, text: str, at_ms: int) -> Noted:
        """Record a remark about a piece or a chamber."""
        checks.check_time(at_ms, self._voice)
        text = checks.tidy("the note", text, checks.TEXT_CHARS)
        with transaction(self._db, self._path):
            piece = None if about in self._chambers else self._piece(about)
            key, chamber = (piece.id, None) if piece else (None, about)
            query = "INSERT INTO remark(at_ms, piece_id, chamber, text) VALUES (?, ?, ?, ?)"
            self._db.execute(query, (at_ms, key, chamber, text))
        return Noted(piece.name if piece else about, at_ms)

    # -- inside a transaction

    def _check_place(self, chamber: str, at_ms: int, until_ms: int | None) -> None:
        checks.check_chamber(chamber, self._chambers)
        checks.check_time(at_ms, self._voice)
        if until_ms is not None:
            checks.check_time(until_ms, self._voice, "the end")

    def _check_cold(self, chamber: str | None) -> None:
        if chamber is None:
            return
        checks.check_chamber(chamber, self._chambers)
        if chamber in self._warm:
            raise FactRefused(
                f"{chamber} is no cold chamber: salting and evening out belong at 4 °C or below; name a "
                'chamber of kind "cold", or leave --chamber out if no probe watches that fridge'
            )

    def _known(self, name: str) -> Piece | None:
        return next(iter(load_pieces(self._db, " ".join(name.split()))), None)

    def _piece(self, name: str) -> Piece:
        piece = self._known(name)
        if piece is None:
            raise checks.unknown_piece(name, [other.name for other in load_pieces(self._db)])
        return piece

    def _stay(self, piece: Piece, at_ms: int, verb: str) -> Stay:
        """Return the stay that covers the time; one that begins or ends just then is not in the middle."""
        stay = piece.stay_at(at_ms)
        if stay is not None and stay.from_ms < at_ms:
            return stay
        when = self._voice.when
        if not piece.stays:
            raise FactRefused(f"{piece.name} cannot have been {verb}: it was in no chamber yet")
        first, last = piece.stays[0], piece.stays[-1]
        if at_ms <= first.from_ms:
            how = "first hung" if first.hanging else "laid down"
            told = f"it was {how} {when(first.from_ms)}, in {first.chamber}"
        elif last.to_ms is not None and at_ms >= last.to_ms:
            told = f"it was taken down from {last.chamber} {when(last.to_ms)}"
        else:
            told = "its stays: " + ", ".join(f"{s.chamber} from {when(s.from_ms)}" for s in piece.stays)
        raise FactRefused(f"{piece.name} cannot have been {verb} {when(at_ms)}: {told}")

    def _hang_known(self, piece: Piece, chamber: str, at_ms: int, until_ms: int | None) -> Hung:
        lying = piece.stay_at(at_ms)
        if lying is not None and not lying.hanging and lying.from_ms < at_ms:
            leave(self._db, piece, lying, at_ms)
            piece = self._piece(piece.name)
        checks.check_stay(piece, at_ms, until_ms, self._voice)
        check_before_hang(piece, at_ms, self._voice)
        add_stay(self._db, piece.id, chamber, at_ms, until_ms)
        return Hung(piece.name, chamber, at_ms, until_ms, again=piece.ever_hung)


def _new(facts: PieceFacts, piece_id: int = 0) -> Piece:
    return Piece(piece_id, facts, (), (), None, "")


def _open_stay(piece: Piece) -> Stay | None:
    return piece.stays[-1] if piece.stays and piece.stays[-1].to_ms is None else None


def _weighed(piece: Piece, new: WeighIn) -> Weighed:
    last = next((w for w in reversed(piece.weigh_ins) if w.at_ms < new.at_ms), None)
    return Weighed(
        piece.name,
        new.at_ms,
        new.mass_g,
        new.tare_g,
        new.net_g,
        piece.loss_pct(new.whole_g),
        piece.facts.target_loss_pct,
        last.at_ms if last else None,
        last.net_g - new.net_g - new.removed_g if last else None,
    )
