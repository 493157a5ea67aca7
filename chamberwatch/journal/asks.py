"""What the owner asks of the watch: a door session, "I'm on it", quiet, a probe's rest, a stand-in.

Each is one short transaction that records the request, or FactRefused says what cannot be. The watch looks
for requests within a second.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from chamberwatch.errors import FactRefused
from chamberwatch.journal import away
from chamberwatch.journal import fact_checks as checks
from chamberwatch.journal.connection import transaction
from chamberwatch.journal.fact_results import Acknowledged, Rested, Shelved, Tended
from chamberwatch.journal.telling import load_alarms, load_resting
from chamberwatch.model import MS_PER_DAY
from chamberwatch.rules import rest, shelf

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from chamberwatch.journal.away import Away
    from chamberwatch.model import Kind, ProbePlan

AWAY_LONGEST_MS = 90 * MS_PER_DAY
"""Longer, and somebody else keeps the chamber. Our choice."""


class Asks:
    """Requests, on the connection of the facts."""

    def __init__(
        self,
        db: sqlite3.Connection,
        path: Path,
        chambers: set[str],
        probes: Iterable[ProbePlan],
        voice: checks.Voice,
    ) -> None:
        self._db = db
        self._path = path
        self._chambers = chambers
        self._probes = {p.name: p for p in probes}
        self._voice = voice

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

    def _ask(self, at_ms: int, verb: str, args: Mapping[str, object]) -> int:
        query = "INSERT INTO request(at_ms, verb, args) VALUES (?, ?, ?)"
        return self._db.execute(query, (at_ms, verb, json.dumps(args))).lastrowid or 0
