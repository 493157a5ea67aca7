"""A weekend as a file: chamber, probes, pieces, the cast of faults, what must and must not be told.

`read` turns the TOML into a `Weekend`, or raises `WeekendError` with the file, the place and what is taken.
Times are the story's own local time, written "Sat 23:40" (the first such moment of the weekend) or as a full
date and time with an offset; the story's zone is UTC, so that nothing depends on the machine it runs on.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, fields
from pathlib import Path

from chamberwatch.model import MS_PER_MIN, EventState, Kind, Priority
from simulator.cabinet import CABINETS, Cabinet
from simulator.faults import Fault, Trouble
from simulator.probes import ProbeBuild
from simulator.table import Misunderstood, Table, one_of
from simulator.weather import Climate

_NATURE = tuple(f.name for f in fields(ProbeBuild) if f.name != "name")
EVERY_S = range(5, 65, 5)
WEEKENDS = Path(__file__).parent / "weekends"

class WeekendError(Misunderstood):
    """A weekend's file cannot be played; the text says where and what is taken."""


@dataclass(frozen=True, slots=True)
class Expected:
    """An event that must (or may) be told: its kind, between when, and by when it must be over."""

    kind: Kind
    from_ms: int
    to_ms: int
    over_by_ms: int | None = None
    state: EventState = EventState.ACTIVE
    priority: Priority | None = None
    probe: str | None = None


@dataclass(frozen=True, slots=True)
class Act:
    """One fault of the cast with what it must and may bring about. `why` says it to a person."""

    fault: Fault
    why: str
    must: tuple[Expected, ...]
    may: tuple[Expected, ...]


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece: what the owner says of it (`facts`, words of the `hang` command), and what it really is."""

    name: str
    facts: dict[str, str]
    hung_ms: int
    told_ms: int
    weighs_kg: float
    sheds_g_per_day: float


@dataclass(frozen=True, slots=True)
class WeighIn:
    """A weighing, and when the owner enters it."""

    piece: str
    weight: str
    at_ms: int
    told_ms: int


@dataclass(frozen=True, slots=True)
class Weekend:
    """A whole weekend, checked."""

    name: str
    title: str
    chamber: str
    cabinet: Cabinet
    climate: Climate
    seed: int
    start_ms: int
    end_ms: int
    every_s: int
    probes: tuple[ProbeBuild, ...]
    pieces: tuple[Piece, ...]
    weigh_ins: tuple[WeighIn, ...]
    visits: tuple[Fault, ...]
    acts: tuple[Act, ...]
    never: tuple[Expected, ...]

    @property
    def faults(self) -> tuple[Fault, ...]:
        """All that happens to plant and probes, visits with the door open included."""
        return (*self.visits, *(a.fault for a in self.acts))

    def hanging_at(self, at_ms: int) -> frozenset[str]:
        """Return the names of the pieces that hang at that time."""
        return frozenset(p.name for p in self.pieces if p.hung_ms <= at_ms)


def find(name: str) -> Path:
    """Return the file of a weekend: one of ours by name, or any path."""
    ours = WEEKENDS / f"{name}.toml"
    path = ours if ours.is_file() else Path(name)
    if not path.is_file():
        known = ", ".join(sorted(p.stem for p in WEEKENDS.glob("*.toml")))
        raise WeekendError(f"there is no weekend {name!r}; known: {known}; or give a file's path")
    return path


def read(path: Path) -> Weekend:
    """Return the weekend of a file; WeekendError if it cannot be played, OSError if it cannot be read."""
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise WeekendError(f"{path.name}: not TOML: {fault}") from fault
    try:
        return _weekend(path.stem, Table(table, ""))
    except ValueError as fault:
        raise WeekendError(f"{path.name}: {fault}") from fault


def _weekend(name: str, t: Table) -> Weekend:
    t.start_ms = start_ms = t.when("start")
    end_ms = t.when("end")
    if end_ms <= start_ms:
        raise ValueError("end is not after start")
    every_s = t.take("every", int, 10)
    if every_s not in EVERY_S:
        raise ValueError(f"every = {every_s} should be {EVERY_S[0]} to {EVERY_S[-1]} s, in fives")
    weekend = Weekend(
        name=name,
        title=t.take("title", str),
        chamber=t.take("chamber", str),
        cabinet=CABINETS[one_of(t.take("plant", str, "fridge"), CABINETS, "plant")],
        climate=_climate(t.table("room")),
        seed=t.take("seed", int),
        start_ms=start_ms,
        end_ms=end_ms,
        every_s=every_s,
        probes=tuple(_probe(row) for row in t.tables("probe")),
        pieces=tuple(_piece(row, start_ms) for row in t.tables("piece")),
        weigh_ins=tuple(_weigh_in(row) for row in t.tables("weigh")),
        visits=tuple(_visit(row) for row in t.tables("visit")),
        acts=tuple(_act(row, end_ms) for row in t.tables("fault")),
        never=tuple(_expected(row, start_ms, end_ms) for row in t.tables("never")),
    )
    t.done()
    _check_names(weekend)
    return weekend


def _check_names(weekend: Weekend) -> None:
    probes = [p.name for p in weekend.probes]
    pieces = [p.name for p in weekend.pieces]
    if not probes:
        raise ValueError("there is no probe")
    for names, what in ((probes, "probes"), (pieces, "pieces")):
        if len(set(names)) < len(names):
            raise ValueError(f"two {what} have one name")
    for fault in weekend.faults:
        if fault.probe is not None and fault.probe not in probes:
            raise ValueError(f"fault {fault.what}: there is no probe {fault.probe!r}")
        if fault.from_ms < weekend.start_ms or fault.to_ms > weekend.end_ms:
            raise ValueError(f"fault {fault.what}: it is not within the weekend")
    for weighed in weekend.weigh_ins:
        if weighed.piece not in pieces:
            raise ValueError(f"weigh: there is no piece {weighed.piece!r}")


def _climate(t: Table) -> Climate:
    usual = Climate()
    mean_c, daily_c = t.take("mean_c", float, usual.mean_c), t.take("daily_c", float, usual.daily_c)
    t.done()
    return Climate(mean_c=mean_c, daily_c=daily_c)


def _probe(t: Table) -> ProbeBuild:
    name = t.take("name", str)
    nature = t.rest(float)
    for key in nature:
        one_of(key, _NATURE, f"probe {name}:")
    return ProbeBuild(name=name, **nature)


def _piece(t: Table, start_ms: int) -> Piece:
    name = t.take("name", str)
    hung_ms = t.when("hung")
    told_ms = t.when("told", start_ms)
    weighs_kg, sheds = t.take("weighs_kg", float), t.take("sheds_g_a_day", float)
    return Piece(name, t.rest(str), hung_ms, told_ms, weighs_kg, sheds)


def _weigh_in(t: Table) -> WeighIn:
    at_ms = t.when("at")
    made = WeighIn(t.take("piece", str), t.take("weight", str), at_ms, t.when("told", at_ms))
    t.done()
    return made


def _visit(t: Table) -> Fault:
    at_ms, minutes = t.when("at"), t.take("minutes", float)
    t.take("why", str, "")
    t.done()
    return Fault(Trouble.DOOR_AJAR, at_ms, at_ms + round(minutes * MS_PER_MIN))


def _act(t: Table, end_ms: int) -> Act:
    what = Trouble(one_of(t.take("what", str), list(Trouble), "what"))
    probe = t.take("probe", str, "") or None
    size = (t.take("how_far", float, 1.0), t.take("amount", float, 0.0), t.take("ramp_h", float, 0.0))
    fault = Fault(what, t.when("from"), t.when("to"), probe, *size)
    why = t.take("why", str, str(what))
    must = tuple(_expected(row, fault.from_ms, end_ms) for row in t.tables("must"))
    may = tuple(_expected(row, fault.from_ms, end_ms) for row in t.tables("may"))
    t.done()
    return Act(fault, why, must, may)


def _expected(t: Table, from_ms: int, to_ms: int) -> Expected:
    kind = Kind(one_of(t.take("kind", str), list(Kind), "kind"))
    over_by_ms = t.when("over_by", 0) or None
    priority = t.take("priority", str, "")
    made = Expected(
        kind=kind,
        from_ms=t.when("after", from_ms),
        to_ms=t.when("before", to_ms),
        over_by_ms=over_by_ms,
        state=EventState(one_of(t.take("state", str, "active"), list(EventState), "state")),
        priority=Priority(one_of(priority, list(Priority), "priority")) if priority else None,
        probe=t.take("probe", str, "") or None,
    )
    t.done()
    return made
