"""What the owner says, into the journal: pieces, stays, weigh-ins, remarks, requests to the watch.

Each method is one short transaction beside the watch's own, and either records the whole fact or raises
FactRefused with what cannot be, and why. Facts may be late: any time from 2000 on to 5 min ahead.
"""

from __future__ import annotations

import json
from datetime import UTC
from typing import TYPE_CHECKING

from chamberwatch.errors import FactRefused
from chamberwatch.journal import away, plans
from chamberwatch.journal import fact_checks as checks
from chamberwatch.journal.connection import transaction
from chamberwatch.journal.fact_results import (
    Acknowledged,
    Discarded,
    Hung,
    Moved,
    Noted,
    Rested,
    Shelved,
    TakenDown,
    Tended,
    Weighed,
)
from chamberwatch.journal.pieces import Piece, WeighIn, add_piece, load_pieces
from chamberwatch.journal.schema import open_journal
from chamberwatch.journal.telling import load_alarms, load_resting
from chamberwatch.model import MS_PER_DAY
from chamberwatch.rules import rest, shelf

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable, Mapping
    from datetime import tzinfo
    from pathlib import Path
    from types import TracebackType
    from typing import Self

    from chamberwatch.journal.away import Away
    from chamberwatch.journal.stays import Stay
    from chamberwatch.model import Kind, PieceFacts, ProbePlan


AWAY_LONGEST_MS = 90 * MS_PER_DAY
"""Longer, and somebody else keeps the chamber. Our choice."""


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
        self._chambers.update(chambers or ())
        self._probes: dict[str, ProbePlan] = {p.name: p for p in plan.probes} if plan else {}
        self._voice = checks.Voice(now_ms, zone, plans.read_units(self._db))

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

        The name of a known piece is taken only with the same kind and green weight: then it hangs again.
        """
        facts = checks.check_piece(facts)
        if facts.name in self._chambers:
            raise FactRefused(f"{facts.name!r} is a chamber; give the piece another name")
        self._check_place(chamber, at_ms, until_ms)
        with transaction(self._db, self._path):
            known = self._known(facts.name)
            if known is not None:
                checks.check_same(facts, known, self._voice)
                return self._hang_known(known, chamber, at_ms, until_ms)
            if until_ms is not None and until_ms <= at_ms:
                checks.check_stay(_new(facts), at_ms, until_ms, self._voice)
            self._add_stay(add_piece(self._db, facts), chamber, at_ms, until_ms)
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
            self._end_stay(piece, stay, at_ms)
            self._add_stay(piece.id, chamber, at_ms, stay.to_ms)
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
            self._end_stay(piece, stay, at_ms)
        return TakenDown(piece.name, stay.chamber, stay.from_ms, at_ms)

    def discard(self, name: str, why: str, at_ms: int) -> Discarded:
        """Record that the piece was thrown away, and why; a stay it is in ends. It can never hang again."""
        why = checks.tidy("the reason", why, checks.TEXT_CHARS)
        checks.check_time(at_ms, self._voice)
        with transaction(self._db, self._path):
            piece = self._piece(name)
            checks.check_discard(piece, at_ms, self._voice)
            stay = piece.stays[-1] if piece.stays[-1].to_ms is None else None
            if stay is not None:
                self._end_stay(piece, stay, at_ms)
            query = "UPDATE piece SET discarded_ms = ?, discarded_why = ? WHERE id = ?"
            self._db.execute(query, (at_ms, why, piece.id))
        return Discarded(piece.name, at_ms, stay.chamber if stay else None)

    # -- weights and words

    def weigh(
        self,
        name: str,
        mass_g: float,
        at_ms: int,
        tare_g: float | None = None,
        remark: str = "",
        *,
        anyway: bool = False,
    ) -> Weighed:
        """Record what the scale showed [g]; the tare is that of the last weigh-in unless given.

        `anyway` takes a gain in weight for true (re-netted, larded, washed).
        """
        checks.check_time(at_ms, self._voice)
        remark = checks.tidy("the remark", remark, checks.TEXT_CHARS) if remark else ""
        with transaction(self._db, self._path):
            piece = self._piece(name)
            tare = piece.tare_at(at_ms) if tare_g is None else tare_g
            checks.check_mass(mass_g, tare, self._voice)
            new = WeighIn(at_ms, mass_g, tare, remark)
            checks.check_weigh_in(piece, new, self._voice, anyway=anyway)
            self._db.execute("INSERT INTO weigh_in VALUES (?, ?, ?, ?, ?)", (piece.id, *new))
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

    # -- requests to the watch

    def tend(self, chamber: str, from_ms: int, until_ms: int) -> Tended:
        """Record a door session and tell the watch of it."""
        checks.check_chamber(chamber, self._chambers)
        checks.check_tend(from_ms, until_ms, self._voice)
        args = {"chamber": chamber, "from_ms": from_ms, "until_ms": until_ms}
        with transaction(self._db, self._path):
            self._db.execute(
                "INSERT INTO tend(chamber, from_ms, until_ms) VALUES (?, ?, ?)", [*args.values()]
            )
            request_id = self._ask(from_ms, "tend", args)
        return Tended(request_id, chamber, from_ms, until_ms)

    def acknowledge(
        self, at_ms: int, *, chamber: str | None = None, kind: Kind | None = None, by: str = ""
    ) -> Acknowledged:
        """Tell the watch that someone is on it: one alarm, all of a chamber, or (None, None) all."""
        if chamber is not None:
            checks.check_chamber(chamber, self._chambers)
        with transaction(self._db, self._path):
            alarms = tuple(
                alarm
                for alarm in load_alarms(self._db)
                if chamber in (None, alarm.chamber) and kind in (None, alarm.kind) and not alarm.acknowledged
            )
            args = {"chamber": chamber, "kind": kind.value if kind else None, "by": by}
            return Acknowledged(self._ask(at_ms, "acknowledge", args), alarms)

    def shelve(
        self, at_ms: int, chamber: str, kind: Kind | None, until_ms: int | None, *, by: str = ""
    ) -> Shelved:
        """Ask the watch for quiet about one kind, or all that stands in a chamber; None: not any more."""
        checks.check_chamber(chamber, self._chambers)
        checks.check_shelf(kind, at_ms, until_ms, shelf.LONGEST_MS, self._voice)
        end_ms = at_ms if until_ms is None else until_ms
        with transaction(self._db, self._path):
            stand = tuple(a.kind for a in load_alarms(self._db) if a.chamber == chamber)
            if kind is None and not stand and until_ms is not None:
                raise FactRefused(
                    f"nothing stands in {chamber} now; name the kind that is meant (`rules` lists them)"
                )
            args = {"chamber": chamber, "kind": kind, "until_ms": end_ms, "by": by}
            kinds = stand if kind is None else (kind,)
            return Shelved(self._ask(at_ms, "shelve", args), chamber, kinds, until_ms)

    def rest(self, at_ms: int, probe: str, until_ms: int | None, *, by: str = "") -> Rested:
        """Ask the watch to leave a probe out of all judging for a time; None: it counts again."""
        plan = self._probes.get(probe)
        if plan is None:
            known = ", ".join(sorted(self._probes)) or "none yet"
            raise FactRefused(f"there is no probe {probe!r}; the probes are: {known}")
        checks.check_ahead("a probe's rest", at_ms, until_ms, rest.LONGEST_MS, self._voice)
        end_ms = at_ms if until_ms is None else until_ms
        with transaction(self._db, self._path):
            out = {probe, *load_resting(self._db, at_ms)}
            there = sorted(p.name for p in self._probes.values() if p.chamber == plan.chamber)
            others = tuple(name for name in there if name not in out)
            asked = self._ask(at_ms, "rest", {"probe": probe, "until_ms": end_ms, "by": by})
        return Rested(asked, probe, plan.chamber, until_ms, others)

    # -- away and back

    def go_away(self, going: Away) -> Away:
        """Record that the owner is away, and whose channel stands in; one absence takes another's place."""
        checks.check_ahead("away", going.from_ms, going.until_ms, AWAY_LONGEST_MS, self._voice)
        remark = checks.tidy("the remark", going.remark, checks.TEXT_CHARS) if going.remark else ""
        going = going._replace(remark=remark)
        with transaction(self._db, self._path):
            away.go(self._db, going)
        return going

    def come_back(self, at_ms: int) -> Away:
        """Record that the owner is back; refused when they were not away."""
        with transaction(self._db, self._path):
            was = away.away_at(self._db, at_ms)
            if was is None:
                raise FactRefused("you were not away, as far as I know: alarms are yours already")
            away.end(self._db, at_ms)
            away.hand_back(self._db, was.stand_in)
        return was._replace(until_ms=at_ms)

    # -- inside a transaction

    def _ask(self, at_ms: int, verb: str, args: Mapping[str, object]) -> int:
        query = "INSERT INTO request(at_ms, verb, args) VALUES (?, ?, ?)"
        return self._db.execute(query, (at_ms, verb, json.dumps(args))).lastrowid or 0

    def _check_place(self, chamber: str, at_ms: int, until_ms: int | None) -> None:
        checks.check_chamber(chamber, self._chambers)
        checks.check_time(at_ms, self._voice)
        if until_ms is not None:
            checks.check_time(until_ms, self._voice, "the end")

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
        last = piece.stays[-1]
        when = self._voice.when
        if at_ms <= piece.hung_ms:
            told = f"it was first hung {when(piece.hung_ms)}, in {piece.stays[0].chamber}"
        elif last.to_ms is not None and at_ms >= last.to_ms:
            told = f"it was taken down from {last.chamber} {when(last.to_ms)}"
        else:
            told = "its stays: " + ", ".join(f"{s.chamber} from {when(s.from_ms)}" for s in piece.stays)
        raise FactRefused(f"{piece.name} cannot have been {verb} {when(at_ms)}: {told}")

    def _hang_known(self, piece: Piece, chamber: str, at_ms: int, until_ms: int | None) -> Hung:
        checks.check_stay(piece, at_ms, until_ms, self._voice)
        self._add_stay(piece.id, chamber, at_ms, until_ms)
        return Hung(piece.name, chamber, at_ms, until_ms, again=True)

    def _add_stay(self, piece_id: int, chamber: str, from_ms: int, to_ms: int | None) -> None:
        query = "INSERT INTO stay(piece_id, chamber, from_ms, to_ms) VALUES (?, ?, ?, ?)"
        self._db.execute(query, (piece_id, chamber, from_ms, to_ms))

    def _end_stay(self, piece: Piece, stay: Stay, at_ms: int) -> None:
        query = "UPDATE stay SET to_ms = ? WHERE piece_id = ? AND from_ms = ?"
        self._db.execute(query, (at_ms, piece.id, stay.from_ms))


def _new(facts: PieceFacts) -> Piece:
    return Piece(0, facts, (), (), None, "")


def _weighed(piece: Piece, new: WeighIn) -> Weighed:
    last = next((w for w in reversed(piece.weigh_ins) if w.at_ms < new.at_ms), None)
    return Weighed(
        piece.name,
        new.at_ms,
        new.mass_g,
        new.tare_g,
        new.net_g,
        piece.loss_pct(new.net_g),
        piece.facts.target_loss_pct,
        last.at_ms if last else None,
        last.net_g - new.net_g if last else None,
    )
