"""Stages, stays and the cut of a piece, in the caller's transaction: what follows what, and where it lies.

Hanging is told by stays, the end by `cut` and `discard`; every other stage by a row of `stage`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from chamberwatch.errors import FactRefused
from chamberwatch.journal.fact_checks import TEXT_CHARS, last_known_ms, tidy
from chamberwatch.meat.stages import COLD, LAST, ORDER, follows
from chamberwatch.model import MS_PER_H, Stage

if TYPE_CHECKING:
    import sqlite3

    from chamberwatch.journal.fact_checks import Voice
    from chamberwatch.journal.pieces import CutOpen, Piece
    from chamberwatch.journal.stays import Stay

WRONG_STAGES = """DELETE FROM stage WHERE piece_id = ?1
    AND (stage = ?4 OR (from_ms >= ?2 AND (?3 IS NULL OR from_ms < ?3)))"""
WRONG_STAYS = """DELETE FROM stay WHERE piece_id = ?1 AND hanging = 0
    AND from_ms >= ?2 AND (?3 IS NULL OR from_ms < ?3)"""
CRUST_MM = (0.0, 30.0)
COMMANDS = {
    Stage.HANGING: "`hang`, which says in which chamber",
    Stage.DONE: "`cut`, which says how it was",
    Stage.DISCARDED: "`discard`, which says why",
}


def add_stay(
    db: sqlite3.Connection,
    piece_id: int,
    chamber: str,
    from_ms: int,
    to_ms: int | None,
    *,
    hanging: bool = True,
) -> None:
    """Record a stay."""
    query = "INSERT INTO stay(piece_id, chamber, from_ms, to_ms, hanging) VALUES (?, ?, ?, ?, ?)"
    db.execute(query, (piece_id, chamber, from_ms, to_ms, int(hanging)))


def leave(db: sqlite3.Connection, piece: Piece, stay: Stay, at_ms: int) -> None:
    """Record that a stay ended."""
    query = "UPDATE stay SET to_ms = ? WHERE piece_id = ? AND from_ms = ?"
    db.execute(query, (at_ms, piece.id, stay.from_ms))


def enter(
    db: sqlite3.Connection, piece: Piece, stage: Stage, at_ms: int, chamber: str | None, voice: Voice
) -> None:
    """Record that a piece came to a stage; a stay it was in ends with it, one in the cold may begin.

    Raises:
        FactRefused: the stage is told by another command, does not follow the one before, or the one after
            it does not follow it; the chamber is none for that stage.
    """
    if stage in COMMANDS:
        raise FactRefused(f"{stage} is recorded with {COMMANDS[stage]}")
    if chamber is not None and stage not in COLD:
        raise FactRefused(f"{stage} is done at the table and needs no chamber; leave --chamber out")
    _check_order(piece, stage, at_ms, voice)
    here = piece.stay_at(at_ms)
    if here is not None and _ends(here, stage, chamber):
        if here.from_ms == at_ms:
            raise FactRefused(f"{piece.name} came to {here.chamber} at that very time; say when it left")
        leave(db, piece, here, at_ms)
    if chamber is not None and (here is None or _ends(here, stage, chamber)):
        add_stay(db, piece.id, chamber, at_ms, _next_ms(piece, at_ms), hanging=False)
    db.execute("INSERT INTO stage(piece_id, from_ms, stage) VALUES (?, ?, ?)", (piece.id, at_ms, stage))


def _ends(here: Stay, stage: Stage, chamber: str | None) -> bool:
    """Return whether a stay ends with a stage: out of the fridge to the table, down from the hook, moved."""
    return here.hanging or stage not in COLD or chamber not in (None, here.chamber)


def _next_ms(piece: Piece, at_ms: int) -> int | None:
    """Return when the next thing known of it began: a stay entered late ends there."""
    begins = [stay.from_ms for stay in piece.stays] + [one.from_ms for one in piece.stages]
    return min((ms for ms in begins if ms > at_ms), default=None)


def _check_order(piece: Piece, stage: Stage, at_ms: int, voice: Voice) -> None:
    before = piece.stage_at(at_ms)
    after = next((one for one in piece.stages if one.from_ms > at_ms), None)
    if before is not None and before.stage in LAST:
        why = f" ({piece.discarded_why})" if piece.discarded_ms is not None else ""
        raise FactRefused(
            f"{piece.name} is {before.stage} since {voice.when(before.from_ms)}{why}: nothing follows"
        )
    if before is not None and (before.from_ms == at_ms or not follows(before.stage, stage)):
        raise FactRefused(
            f"{piece.name} is at {before.stage} since {voice.when(before.from_ms)}, and {stage} doesn't come "
            "after that; if what is recorded is a mistake, add --correct"
        )
    if after is not None and not follows(stage, after.stage):
        raise FactRefused(
            f"{piece.name} came to {after.stage} {voice.when(after.from_ms)}: it can't have come to {stage} "
            f"before, {voice.when(at_ms)}; if what is recorded is a mistake, add --correct"
        )


def check_before_hang(piece: Piece, at_ms: int, voice: Voice) -> None:
    """Refuse a hang before the salting, casing or dripping that is recorded of the piece."""
    later = [one for one in piece.told if one.from_ms > at_ms and ORDER[one.stage] < ORDER[Stage.HANGING]]
    if later:
        raise FactRefused(
            f"{piece.name} came to {later[-1].stage} {voice.when(later[-1].from_ms)}; it can't have hung "
            f"before, {voice.when(at_ms)}"
        )


def forget_after(db: sqlite3.Connection, piece: Piece, stage: Stage, at_ms: int, voice: Voice) -> None:
    """Take back what was told of this stage and of every one from `at_ms` to the next hang, or the cut.

    Raises:
        FactRefused: the piece was discarded; it hung, and the stage comes before that.
    """
    if piece.discarded_ms is not None:
        raise FactRefused(
            f"{piece.name} was discarded {voice.when(piece.discarded_ms)} ({piece.discarded_why}), for good"
        )
    late = [stay for stay in piece.hangs if stay.from_ms > at_ms]
    if ORDER[stage] < ORDER[Stage.HANGING] and (hangs := [s for s in piece.hangs if s not in late]):
        raise FactRefused(
            f"{piece.name} hung in {hangs[0].chamber} from {voice.when(hangs[0].from_ms)}: {stage} must have "
            "been before that; give --at"
        )
    first_ms = late[0].from_ms if late else None
    db.execute(WRONG_STAGES, (piece.id, at_ms, first_ms, stage))
    db.execute(WRONG_STAYS, (piece.id, at_ms, first_ms))
    if first_ms is None:
        db.execute("DELETE FROM cut WHERE piece_id = ?", (piece.id,))


def record_cut(db: sqlite3.Connection, piece: Piece, seen: CutOpen, voice: Voice) -> None:
    """Record what was seen when a piece was cut.

    Raises:
        FactRefused: it never hung, was cut or discarded already, or is known to have been whole later; a
            crust that no piece has.
    """
    if not piece.ever_hung:
        raise FactRefused(
            f"{piece.name} never hung: it is at {piece.stages[-1].stage}; there is nothing to judge"
        )
    if piece.discarded_ms is not None:
        raise FactRefused(
            f"{piece.name} was discarded {voice.when(piece.discarded_ms)} ({piece.discarded_why})"
        )
    if piece.cut is not None:
        raise FactRefused(f"{piece.name} was cut open already, {voice.when(piece.cut.at_ms)}")
    last_ms = last_known_ms(piece)
    if seen.at_ms < last_ms:
        raise FactRefused(
            f"{piece.name} was still whole {voice.when(last_ms)}; "
            f"it can't have been cut {voice.when(seen.at_ms)}"
        )
    if seen.crust_mm is not None and not CRUST_MM[0] <= seen.crust_mm <= CRUST_MM[1]:
        low, high = CRUST_MM
        raise FactRefused(f"a crust of {seen.crust_mm:g} mm; it must be from {low:g} to {high:g} mm")
    words = (("the centre", seen.centre), ("the salt", seen.salt), ("the verdict", seen.verdict))
    said = [tidy(what, text, TEXT_CHARS) if text else "" for what, text in words]
    query = (
        "INSERT INTO cut(piece_id, at_ms, crust_mm, centre, salt, verdict, pace) VALUES (?, ?, ?, ?, ?, ?, ?)"
    )
    db.execute(query, (piece.id, seen.at_ms, seen.crust_mm, *said, seen.pace))


def hung_too_early(piece: Piece, at_ms: int, least_h: float) -> float | None:
    """Return how many hours a piece was in salt before it left it by `at_ms`, if fewer than `least_h`.

    None when its salting was not recorded or was long enough. What lies cold to even out its salt goes on
    being counted: the salt still moves inwards.
    """
    salted = [one for one in piece.told if one.stage is Stage.SALTING and one.from_ms <= at_ms]
    if not salted:
        return None
    out = [one.from_ms for one in piece.stages if one.stage not in COLD and one.from_ms > salted[0].from_ms]
    hours = (min([at_ms, *out]) - salted[0].from_ms) / MS_PER_H
    return hours if hours < least_h else None
