"""The store against a dictionary: whatever comes in whatever order, with failures and restarts between.

The model knows nothing of bins, tails or SQL. It keeps each reading's first values, counts, and notes what a
judge of readings in their order of arrival would have judged since the last snapshot.
"""

from __future__ import annotations

import atexit
import functools
import itertools
import shutil
import tempfile
from collections import Counter, defaultdict
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from chamberwatch.errors import JournalError
from chamberwatch.journal.reader import Reader
from chamberwatch.journal.store import Batch, Journal, Snapshot
from chamberwatch.journal.tail import Cursor, Tail
from chamberwatch.model import Event, EventState, Kind, Priority, Reading, Reason, Refusal

if TYPE_CHECKING:
    from collections.abc import Iterable

T0 = 1_793_404_800_000
BIN_MS = 300_000
PROBES = ("rear", "front", "low")

Key = tuple[str, int]
Values = tuple[float | None, float | None]

# Few times and values, so that repetitions, halves and late rows are common; about six bins wide.
values = st.tuples(
    st.one_of(st.none(), st.integers(-4000, 8500).map(lambda c: c / 100)),
    st.one_of(st.none(), st.integers(0, 10_000).map(lambda c: c / 100)),
).filter(lambda pair: pair != (None, None))
readings = st.builds(
    lambda probe, step, pair: Reading(probe, T0 + step * 50_000, *pair, 0),
    st.sampled_from(PROBES),
    st.integers(0, 36),
    values,
)
refusals = st.builds(
    Refusal,
    st.sampled_from([*PROBES, "stranger", None]),
    st.sampled_from([Reason.NOT_JSON, Reason.OUT_OF_RANGE]),
    st.just(""),
    st.integers(T0, T0 + 1000),
)


class House:
    """What ought to be in the journal."""

    def __init__(self) -> None:
        self.rows: dict[Key, Values] = {}
        self.newest: dict[str, int] = {}
        self.counts: dict[str, Counter[str]] = defaultdict(Counter)
        self.judged: dict[Key, Values] = {}
        """Since the last snapshot."""

    def take(self, reading: Reading) -> None:
        """Store, fill or count a reading, and note what of it would have been judged."""
        key, new = (reading.probe, reading.at_ms), (reading.temp_c, reading.rh_pct)
        held = self.rows.get(key, (None, None))
        fills = tuple(n if h is None else None for h, n in zip(held, new, strict=True))
        newest_ms = self.newest.get(reading.probe, -1)
        if key not in self.rows:
            self._count(reading.probe, "readings", *(["late"] if reading.at_ms < newest_ms else []))
        else:
            self._count(reading.probe, "merged" if fills != (None, None) else "repeated")
        self.rows[key] = _over(held, fills)
        self.newest[reading.probe] = max(newest_ms, reading.at_ms)
        if reading.at_ms >= newest_ms and fills != (None, None):
            self.judged[key] = _over(self.judged.get(key, (None, None)), fills)

    def refuse(self, refusal: Refusal) -> None:
        """Count a refusal, under no name if no such probe has spoken."""
        self._count(refusal.probe if refusal.probe in self.newest else "", "refused")

    def _count(self, probe: str, *names: str) -> None:
        self.counts[probe].update(names)

    def bins(self) -> dict[Key, tuple[int, float | None, int, float | None]]:
        """Return (n, mean) of both quantities for every bin that time has passed."""
        horizon_ms = max(self.newest.values(), default=0)
        found: dict[Key, list[Values]] = defaultdict(list)
        for (probe, at_ms), pair in self.rows.items():
            found[probe, at_ms - at_ms % BIN_MS].append(pair)
        return {
            key: (*_mean(t for t, _ in pairs), *_mean(r for _, r in pairs))
            for key, pairs in found.items()
            if key[1] + BIN_MS <= horizon_ms
        }


def _over(old: Values, new: Iterable[float | None]) -> Values:
    temp_c, rh_pct = (o if n is None else n for o, n in zip(old, new, strict=True))
    return temp_c, rh_pct


def _mean(found: Iterable[float | None]) -> tuple[int, float | None]:
    known = [value for value in found if value is not None]
    return len(known), pytest.approx(sum(known) / len(known)) if known else None


class JournalMachine(RuleBasedStateMachine):
    """Commits, failures, restarts, snapshots and a tail read at random moments."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        self.path = self.folder / "cellar.db"
        self.house = House()
        self.numbers = itertools.count(1)
        self.snapshot: Snapshot | None = None
        self.cursor = Cursor()
        self.given: dict[Key, Values] = {}

    @initialize()
    def start(self) -> None:
        """Open a new journal: a copy of an empty one, to spare making its tables each time."""
        shutil.copy(_empty(), self.path)
        self.journal = self._open()
        self.tail = Tail(self.path)

    def _open(self) -> Journal:
        journal = Journal.open(self.path)
        # Whether the disk keeps its word is the kill test's business; here only the order of things counts.
        journal._db.execute("PRAGMA synchronous=OFF")
        return journal

    @rule(batch=st.lists(readings, min_size=1, max_size=12), bad=st.lists(refusals, max_size=3))
    def commit(self, batch: list[Reading], bad: list[Refusal]) -> None:
        """Readings and refusals in one transaction."""
        written = self.journal.commit(Batch(batch, bad))
        before = _sums(self.house)
        for reading in batch:
            self.house.take(reading)
        for refusal in bad:
            self.house.refuse(refusal)
        after = _sums(self.house)
        grown = [after[name] - before[name] for name in ("readings", "repeated", "merged", "late")]
        assert list(written) == grown

    @rule(batch=st.lists(readings, max_size=4))
    def commit_with_snapshot(self, batch: list[Reading]) -> None:
        """The snapshot holds what its own commit brought."""
        self.snapshot = Snapshot(next(self.numbers), 1, "hash", b"body")
        self.journal.commit(Batch(batch, snapshot=self.snapshot))
        for reading in batch:
            self.house.take(reading)
        self.house.judged = {}

    @rule(batch=st.lists(readings, min_size=1, max_size=12))
    def commit_that_fails(self, batch: list[Reading]) -> None:
        """An error anywhere in the transaction leaves nothing of it."""
        broken = Event("x", 0, 0, Kind.BROKER_LOST, EventState.NOTED, Priority.LOW, "", (), late_ms="no")  # type: ignore[arg-type]
        with pytest.raises(JournalError):
            self.journal.commit(Batch(batch, events=[(broken, "")], snapshot=Snapshot(0, 1, "", b"")))

    @rule(clean=st.booleans())
    def restart(self, *, clean: bool) -> None:
        """Open again, after a close or beside a connection that never closed."""
        old = self.journal
        if clean:
            old.close()
        self.journal = self._open()
        if not clean:
            old._db.close()

    @rule(limit=st.integers(1, 9))
    def read_tail(self, limit: int) -> None:
        """Take some rows and move the cursor on."""
        rows, self.cursor = self.tail.readings(self.cursor, limit)
        assert len(rows) <= limit
        self.given |= {(row.probe, row.at_ms): (row.temp_c, row.rh_pct) for row in rows}

    @rule(back_ms=st.integers(0, 600_000))
    def rewind_tail(self, back_ms: int) -> None:
        """Set the cursor back; nothing may be skipped by that."""
        self.cursor = self.cursor.rewound(back_ms)

    @invariant()
    def counters_are_those_of_the_model(self) -> None:
        """`readings` is the number of a probe's rows, and the other counters are what happened."""
        with Reader(self.path) as reader:
            for state in reader.probes():
                counts = self.house.counts[state.probe]
                assert state.readings == len([1 for probe, _ in self.house.rows if probe == state.probe])
                for name in ("readings", "repeated", "merged", "late", "refused"):
                    assert getattr(state, name) == counts[name], (state.probe, name)
            assert (
                sum(row.n for row in reader.refusals() if row.probe == "") == self.house.counts[""]["refused"]
            )

    @invariant()
    def rows_are_those_of_the_model(self) -> None:
        """The first values of every probe and time, nothing else."""
        with Reader(self.path) as reader:
            stored = {(r.probe, r.at_ms): (r.temp_c, r.rh_pct) for r in reader.readings(0, T0 * 2)}
        assert stored == self.house.rows
        assert self.journal.newest_ms() == self.house.newest

    @invariant()
    def rollups_are_those_of_the_rows(self) -> None:
        """Every bin that time has passed equals a computation from all its rows."""
        with Reader(self.path) as reader:
            bins = {
                (b.probe, b.at_ms): (b.n_temp, b.mean_temp_c, b.n_rh, b.mean_rh_pct)
                for b in reader.rollups(0, T0 * 2)
            }
        assert bins == self.house.bins()

    @precondition(lambda self: self.snapshot is not None)
    @invariant()
    def the_roll_forward_is_what_was_judged(self) -> None:
        """After a restart the engine is given exactly what it judged after the snapshot, in each probe's order."""
        assert self.snapshot is not None
        given = list(self.journal.readings_since(self.snapshot))
        judged: dict[Key, Values] = {}
        for reading in given:
            key = reading.probe, reading.at_ms
            judged[key] = _over(judged.get(key, (None, None)), (reading.temp_c, reading.rh_pct))
        assert judged == self.house.judged
        assert len(given) == len(judged)
        for probe in PROBES:
            times = [r.at_ms for r in given if r.probe == probe]
            assert times == sorted(times)

    def teardown(self) -> None:
        """Read the tail to its end: every row came, with its last values."""
        if hasattr(self, "journal"):
            rows = [None]
            while rows:
                rows, self.cursor = self.tail.readings(self.cursor, 7)
                self.given |= {(row.probe, row.at_ms): (row.temp_c, row.rh_pct) for row in rows}
            assert self.given == self.house.rows
            self.tail.close()
            self.journal.close()
        shutil.rmtree(self.folder)


@functools.cache
def _empty() -> Path:
    path = Path(tempfile.mkdtemp()) / "empty.db"
    Journal.open(path).close()
    atexit.register(shutil.rmtree, path.parent)
    return path


def _sums(house: House) -> Counter[str]:
    return sum(house.counts.values(), Counter())


TestJournalMachine = JournalMachine.TestCase
TestJournalMachine.settings = settings(max_examples=60, stateful_step_count=20, deadline=None)
