"""The spine: one commit holds all or nothing, and nothing stored is ever overwritten."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

import pytest
from journal_parts import PLAN, T0, alarm, at, event, reading, rows

from chamberwatch.errors import JournalError
from chamberwatch.journal.integrity import unclean
from chamberwatch.journal.store import Batch, Journal, Notice, RequestRow, Snapshot, Written
from chamberwatch.journal.telling import load_alarms
from chamberwatch.model import AlarmState, Kind, Priority, Reason, Refusal

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

STORED = (
    "SELECT p.name, at_ms, temp_centi, rh_centi FROM reading JOIN probe p ON p.id = probe_id ORDER BY 2, 1"
)
COUNTERS = "SELECT name, readings, repeated, merged, late, refused FROM probe ORDER BY id"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the journal is."""
    return tmp_path / "cellar.db"


@pytest.fixture
def journal(path: Path) -> Iterator[Journal]:
    """An empty journal that knows the house."""
    opened = Journal.open(path)
    opened.remember_plan(PLAN, "metric")
    yield opened
    opened.close()


def counters(path: Path) -> dict[str, tuple[int, ...]]:
    """Return (readings, repeated, merged, late, refused) by probe."""
    return {name: tuple(numbers) for name, *numbers in rows(path, COUNTERS)}


# -- readings


def test_readings_are_stored_to_a_hundredth(journal: Journal, path: Path) -> None:
    """12.34 °C and 75.06 %RH come back as exactly that, below zero too, and a missing half stays missing."""
    batch = Batch([reading(0, 12.34, 75.06), reading(10, -10.5, None), reading(20, None, 0.0)])
    assert journal.commit(batch) == Written(stored=3, repeated=0, merged=0, late=0)
    assert rows(path, STORED) == [
        ("rear", at(0), 1234, 7506),
        ("rear", at(10), -1050, None),
        ("rear", at(20), None, 0),
    ]


@pytest.mark.parametrize("apart", [False, True], ids=["one commit", "two commits"])
def test_two_halves_of_one_time_become_one_row(journal: Journal, path: Path, *, apart: bool) -> None:
    """T and RH in two messages of one time are merged, whether or not a commit lies between them."""
    halves = [reading(0, 12.5, None), reading(0, None, 74.0)]
    batches = [Batch([half]) for half in halves] if apart else [Batch(halves)]
    written = [journal.commit(batch) for batch in batches]
    assert (sum(w.stored for w in written), sum(w.merged for w in written)) == (1, 1)
    assert rows(path, STORED) == [("rear", at(0), 1250, 7400)]
    assert counters(path)["rear"] == (1, 0, 1, 0, 0)


def test_what_is_stored_is_never_overwritten(journal: Journal, path: Path) -> None:
    """A second reading of one probe and time is counted as repeated, also when it says something else."""
    journal.commit(Batch([reading(0, 12.5, 74.0)]))
    assert journal.commit(Batch([reading(0, 12.5, 74.0), reading(0, 19.0, None)])).repeated == 2
    assert rows(path, STORED) == [("rear", at(0), 1250, 7400)]
    assert counters(path)["rear"] == (1, 2, 0, 0, 0)


def test_a_half_fills_only_what_is_missing(journal: Journal, path: Path) -> None:
    """A whole reading over a stored half adds the other half and leaves the first as it was."""
    journal.commit(Batch([reading(0, 12.5, None)]))
    journal.commit(Batch([reading(0, 19.0, 74.0)]))
    assert rows(path, STORED) == [("rear", at(0), 1250, 7400)]


def test_older_than_its_probe_is_stored_as_late(journal: Journal, path: Path) -> None:
    """Late is told by each probe's own newest reading, within a commit and across commits."""
    journal.commit(
        Batch([reading(100, 12.0, 70.0), reading(50, 12.0, 70.0), reading(60, 12.0, 70.0, "front")])
    )
    written = journal.commit(Batch([reading(70, 12.0, 70.0), reading(80, 12.0, 70.0, "front")]))
    assert written == Written(stored=2, repeated=0, merged=0, late=1)
    assert counters(path)["rear"] == (3, 0, 0, 2, 0)
    assert counters(path)["front"] == (2, 0, 0, 0, 0)
    assert journal.newest_ms() == {"rear": at(100), "front": at(80)}


def test_a_probe_that_was_never_planned_gets_its_row(journal: Journal, path: Path) -> None:
    """The journal loses no reading for want of a plan."""
    journal.commit(Batch([reading(0, 12.0, 70.0, "guest")]))
    journal.commit(Batch([reading(10, 12.0, 70.0, "guest")]))
    assert counters(path)["guest"] == (2, 0, 0, 0, 0)


def test_a_thousand_probes_in_one_batch(journal: Journal, path: Path) -> None:
    """Every probe's counter is its own."""
    batch = [reading(s, 12.0, 70.0, f"p{n}") for s in (0, 1, 2) for n in range(1000)]
    assert journal.commit(Batch(batch)).stored == 3000
    counted = counters(path)
    assert {counted[f"p{n}"] for n in range(1000)} == {(3, 0, 0, 0, 0)}


# -- refusals


def test_refusals_are_counted_by_probe_and_reason(journal: Journal, path: Path) -> None:
    """The last detail is kept, cut to 200 characters; names we do not know share the row without a name."""
    journal.commit(
        Batch(
            refusals=[
                Refusal("rear", Reason.NOT_JSON, "first", at(1)),
                Refusal("rear", Reason.NOT_JSON, "x" * 1000, at(2)),
                Refusal("rear", Reason.OUT_OF_RANGE, "999 %RH", at(3)),
                Refusal(None, Reason.NO_PROBE, "", at(4)),
                Refusal("stranger", Reason.UNKNOWN_PROBE, "stranger", at(5)),
            ]
        )
    )
    journal.commit(Batch(refusals=[Refusal("rear", Reason.OUT_OF_RANGE, "-127 °C", at(9))]))
    kept = rows(
        path, "SELECT p.name, reason, n, last_at_ms, last_detail FROM refused JOIN probe p ON p.id = probe_id"
    )
    assert set(kept) == {
        ("rear", "not whole JSON", 2, at(2), "x" * 200),
        ("rear", "outside what a probe can measure", 2, at(9), "-127 °C"),
        ("", "no probe named", 1, at(4), ""),
        ("", "unknown probe", 1, at(5), "stranger"),
    }
    assert (counters(path)["rear"][4], counters(path)[""][4]) == (4, 2)


def test_hostile_names_do_not_grow_the_journal(journal: Journal, path: Path) -> None:
    """Ten thousand refusals under as many invented names make one row."""
    refusals = [Refusal(f"n{n}", Reason.UNKNOWN_PROBE, f"n{n}", at(n)) for n in range(10_000)]
    journal.commit(Batch(refusals=refusals))
    assert rows(path, "SELECT probe_id, n FROM refused") == [(0, 10_000)]


# -- all or nothing


def broken(batch: Batch) -> Batch:
    """Return the batch with an event that no table takes."""
    return Batch(batch.readings, batch.refusals, [*batch.events, (event("bad", late_ms="late"), "text")])


def test_a_commit_that_fails_leaves_nothing_and_can_be_tried_again(journal: Journal, path: Path) -> None:
    """Readings, counters and events of a failed batch are not there; the batch itself then goes in whole."""
    journal.commit(Batch([reading(0, 12.0, 70.0)]))
    batch = Batch(
        [reading(10, 12.0, 70.0), reading(5, 12.0, 70.0), reading(7, 12.0, 70.0, "new")],
        [Refusal("rear", Reason.NOT_JSON, "", at(3))],
        [(event("a"), "text")],
    )
    before = (rows(path, STORED), counters(path))
    with pytest.raises(JournalError) as caught:
        journal.commit(broken(batch))
    assert isinstance(caught.value.__cause__, sqlite3.Error)
    assert (rows(path, STORED), counters(path)) == before
    assert journal.newest_ms() == {"rear": at(0)}
    assert journal.commit(batch) == Written(stored=3, repeated=0, merged=0, late=1)
    assert counters(path)["rear"] == (3, 0, 0, 1, 1)
    assert rows(path, "SELECT id FROM event") == [("a",)]


def test_a_full_disk_is_told_in_words_and_loses_nothing(journal: Journal, path: Path) -> None:
    """SQLITE_FULL names the disk; when there is room again the same batch goes in."""
    (pages,) = journal._db.execute("PRAGMA page_count").fetchone()
    journal._db.execute(f"PRAGMA max_page_count={pages + 5}")
    batch = Batch([reading(n, 12.0, 70.0) for n in range(5000)])
    with pytest.raises(JournalError, match="no room left on the disk"):
        journal.commit(batch)
    assert rows(path, STORED) == []
    journal._db.execute("PRAGMA max_page_count=1000000")
    assert journal.commit(batch).stored == 5000


def test_a_journal_locked_by_another_program_is_told_in_words(journal: Journal, path: Path) -> None:
    """A commit that cannot get the write lock in time says so; afterwards it goes in."""
    journal._db.execute("PRAGMA busy_timeout=20")
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(JournalError, match="another program has kept the journal"):
        journal.commit(Batch([reading(0, 12.0, 70.0)]))
    other.execute("ROLLBACK")
    other.close()
    assert journal.commit(Batch([reading(0, 12.0, 70.0)])).stored == 1


def test_every_commit_is_forced_to_the_disk(journal: Journal) -> None:
    """WAL and FULL: an acknowledgement that follows a commit promises that a power cut takes nothing."""
    pragma = {
        name: journal._db.execute(f"PRAGMA {name}").fetchone()[0] for name in ("journal_mode", "synchronous")
    }
    assert pragma == {"journal_mode": "wal", "synchronous": 2}


def test_an_empty_batch_writes_nothing(journal: Journal, path: Path) -> None:
    """Nothing to write costs no byte."""
    wal = path.with_name(path.name + "-wal")
    size = wal.stat().st_size
    assert journal.commit(Batch()) == Written(0, 0, 0, 0)
    assert wal.stat().st_size == size


# -- events, alarms, notices, requests


def test_an_event_is_recorded_once_and_told_once(journal: Journal, path: Path) -> None:
    """Judged twice (after a restart), the first text and the first notices stand and no new ones are owed."""
    journal.commit(
        Batch(events=[(event("a"), "first")], notices=[Notice("mail", "a", at(1), "h", "b", "high")])
    )
    again = [Notice("mail", "a", at(9), "h", "b", "high"), Notice("push", "a", at(9), "h", "b", "high")]
    journal.commit(Batch(events=[(event("a"), "second")], notices=again))
    assert rows(path, "SELECT id, text FROM event") == [("a", "first")]
    assert rows(path, "SELECT channel, due_ms FROM notice") == [("mail", at(1))]


def test_a_notice_of_an_earlier_event_is_owed(journal: Journal, path: Path) -> None:
    """Only notices of events met again are left out, not those that come without their event."""
    journal.commit(Batch(events=[(event("a"), "text")]))
    journal.commit(Batch(notices=[Notice("mail", "a", at(1), "h", "b", "high")]))
    assert rows(path, "SELECT channel, event_id, repeat, state FROM notice") == [("mail", "a", 0, "owed")]


def test_open_alarms_are_replaced_whole_or_left(journal: Journal) -> None:
    """None leaves the alarms, a list replaces them; every field comes back."""
    first = alarm("a", acknowledged=True, acknowledged_by="Ruth", worst=17.5)
    other = alarm(
        "b", chamber="salting", kind=Kind.HUMIDITY_LOW, priority=Priority.LOW, value=None, returned_ms=at(9)
    )
    journal.commit(Batch(alarms=[first, other]))
    journal.commit(Batch([reading(0, 12.0, 70.0)]))
    assert load_alarms(journal._db) == [first, other]
    assert load_alarms(journal._db)[1].state is AlarmState.RETURNED
    journal.commit(Batch(alarms=[]))
    assert load_alarms(journal._db) == []


def test_a_request_stays_open_until_a_commit_has_done_it(journal: Journal, path: Path) -> None:
    """What the command line asked is given out again and again until the batch that holds its effect."""
    before = journal.data_version()
    other = sqlite3.connect(path)
    with other:
        other.execute(
            "INSERT INTO request(at_ms, verb, args) VALUES (?, 'acknowledge', '{\"by\": \"Ruth\"}')", (T0,)
        )
    other.close()
    assert journal.data_version() != before
    asked = [RequestRow(1, T0, "acknowledge", {"by": "Ruth"})]
    assert journal.open_requests() == journal.open_requests() == asked
    journal.commit(Batch(requests_done=[1]))
    assert journal.open_requests() == []


def test_our_own_commits_do_not_look_like_someone_elses(journal: Journal) -> None:
    """`data_version` stands still while only this journal writes."""
    before = journal.data_version()
    journal.commit(Batch([reading(0, 12.0, 70.0)], alive_ms=at(1)))
    assert journal.data_version() == before


# -- start-up


def test_what_was_committed_is_there_after_an_unclean_end(journal: Journal, path: Path) -> None:
    """A second opening, without the first having closed, knows newest times, plan, units and sign of life."""
    journal.begin_watch()
    journal.commit(Batch([reading(0, 12.0, 70.0)], alive_ms=at(7)))
    again = Journal.open(path)
    assert again.newest_ms() == {"rear": at(0)}
    assert (again.plan(), again.units(), again.alive_ms()) == (PLAN, "metric", at(7))
    assert again.commit(Batch([reading(0, 12.0, 70.0)])).repeated == 1
    assert again.begin_watch() is True
    again.close()
    assert unclean(path) is False


def test_a_first_watch_finds_nothing(journal: Journal) -> None:
    """No newest times, no snapshot, no sign of life, no unclean end."""
    assert journal.newest_ms() == {}
    assert journal.load_snapshot() is None
    assert journal.alive_ms() is None
    assert journal.begin_watch() is False


def test_a_clean_end_is_told_from_an_unclean_one(path: Path) -> None:
    """Only a watch that closed leaves the journal clean; a replay never marks it."""
    watch = Journal.open(path)
    watch.begin_watch()
    assert unclean(path) is True
    watch.close()
    replay = Journal.open(path)
    assert unclean(path) is False
    replay.close()


def test_the_plan_is_remembered_and_not_written_twice(journal: Journal, path: Path) -> None:
    """Remembering the same house again writes nothing; a probe that moved gets its new chamber."""
    changes = journal._db.total_changes
    journal.remember_plan(PLAN, "metric")
    assert journal._db.total_changes == changes
    moved = type(PLAN)(PLAN.chambers, (PLAN.probes[0], type(PLAN.probes[1])("front", "salting")))
    journal.remember_plan(moved, "us")
    assert (journal.plan(), journal.units()) == (moved, "us")
    placed = dict(rows(path, "SELECT name, chamber FROM probe WHERE id > 0"))
    assert placed == {"rear": "cellar", "front": "salting", "low": "salting"}


# -- snapshot and roll-forward


def snapshot(seconds: float) -> Snapshot:
    """Return a snapshot of that time."""
    return Snapshot(at(seconds), 3, "hash", bytes(range(256)))


def forward(journal: Journal, kept: Snapshot) -> list[tuple[str, float, float | None, float | None]]:
    """Return the roll-forward as (probe, seconds, °C, %RH)."""
    return [(r.probe, (r.at_ms - T0) / 1000, r.temp_c, r.rh_pct) for r in journal.readings_since(kept)]


def test_the_newest_snapshot_is_kept(journal: Journal) -> None:
    """One snapshot, byte for byte, the last one committed."""
    journal.commit(Batch(snapshot=snapshot(1)))
    journal.commit(Batch(snapshot=snapshot(2)))
    assert journal.load_snapshot() == snapshot(2)


def test_the_roll_forward_gives_what_came_after_the_snapshot(journal: Journal) -> None:
    """In order of (time, probe), without what the snapshot's own commit held."""
    journal.commit(Batch([reading(0, 12.0, 70.0), reading(1, 12.0, 70.0, "front")], snapshot=snapshot(1)))
    assert forward(journal, snapshot(1)) == []
    journal.commit(
        Batch([reading(10, 12.1, 71.0), reading(20, 12.2, None), reading(11, 12.0, 72.0, "front")])
    )
    assert forward(journal, snapshot(1)) == [
        ("rear", 10, 12.1, 71.0),
        ("front", 11, 12.0, 72.0),
        ("rear", 20, 12.2, None),
    ]


def test_the_roll_forward_gives_a_slower_probe_behind_the_snapshot(journal: Journal) -> None:
    """A reading older than the snapshot's newest, but its own probe's newest, was judged: it is given."""
    journal.commit(Batch([reading(100, 12.0, 70.0)], snapshot=snapshot(100)))
    journal.commit(Batch([reading(50, 12.5, 71.0, "front"), reading(110, 12.1, 70.0)]))
    assert forward(journal, snapshot(100)) == [("front", 50, 12.5, 71.0), ("rear", 110, 12.1, 70.0)]


@pytest.mark.parametrize("together", [False, True], ids=["own commit", "same commit"])
def test_the_roll_forward_leaves_out_what_was_late(journal: Journal, *, together: bool) -> None:
    """A reading older than its probe's newest was not judged then, so it is not judged now."""
    journal.commit(Batch(snapshot=snapshot(0)))
    newer, late = [reading(10, 12.0, 70.0), reading(20, 12.0, 70.0)], [reading(15, 19.0, 70.0)]
    for batch in [newer + late] if together else [newer, late]:
        journal.commit(Batch(batch))
    assert [at_s for _, at_s, _, _ in forward(journal, snapshot(0))] == [10, 20]


def test_the_roll_forward_gives_a_half_as_a_half(journal: Journal) -> None:
    """The half the snapshot holds is not judged twice; a half filled in late is not judged at all."""
    journal.commit(Batch([reading(10, 12.0, None)], snapshot=snapshot(10)))
    journal.commit(Batch([reading(10, None, 70.0), reading(20, 12.1, None), reading(30, 12.2, 70.0)]))
    journal.commit(Batch([reading(20, None, 99.0)]))
    assert forward(journal, snapshot(10)) == [
        ("rear", 10, None, 70.0),
        ("rear", 20, 12.1, None),
        ("rear", 30, 12.2, 70.0),
    ]


@pytest.mark.parametrize("together", [False, True], ids=["own commit", "same commit"])
def test_the_roll_forward_gives_a_merged_row_once(journal: Journal, *, together: bool) -> None:
    """A slower probe's row behind the snapshot, sent in halves, is one reading."""
    journal.commit(Batch([reading(100, 12.0, 70.0)], snapshot=snapshot(100)))
    halves = [reading(50, 12.5, None, "front"), reading(50, None, 71.0, "front")]
    for batch in [halves] if together else [halves[:1], halves[1:]]:
        journal.commit(Batch(batch))
    assert forward(journal, snapshot(100)) == [("front", 50, 12.5, 71.0)]


def test_a_snapshot_the_journal_does_not_keep_is_refused(journal: Journal) -> None:
    """Rolling forward from another point would skip or repeat readings."""
    journal.commit(Batch(snapshot=snapshot(2)))
    with pytest.raises(JournalError, match="does not keep that snapshot"):
        list(journal.readings_since(snapshot(1)))


# -- rollups

BINS = "SELECT (at_ms - 1793404800000) / 1000, n_temp, sum_temp_centi, min_temp_centi, max_temp_centi, n_rh FROM rollup"


def test_a_bin_is_rolled_up_when_time_passes_its_end(journal: Journal, path: Path) -> None:
    """Five minutes of readings become count, sum and extremes; the open bin is not there yet."""
    journal.commit(Batch([reading(0, 10.0, 70.0), reading(150, 14.0, None), reading(299, 12.0, 70.0)]))
    assert rows(path, BINS) == []
    journal.commit(Batch([reading(300, 20.0, 70.0)]))
    assert rows(path, BINS) == [(0, 3, 3600, 1000, 1400, 2)]


def test_a_bin_is_rolled_up_across_a_gap(journal: Journal, path: Path) -> None:
    """The bin left open before a gap of hours is closed by the first reading after it."""
    journal.commit(Batch([reading(0, 10.0, 70.0)]))
    journal.commit(Batch([reading(36_000, 11.0, 70.0)]))
    assert rows(path, BINS) == [(0, 1, 1000, 1000, 1000, 1)]


def test_a_late_row_corrects_its_bin(journal: Journal, path: Path) -> None:
    """Rows and halves that land behind change the bin they belong to, and no other."""
    journal.commit(Batch([reading(0, 10.0, None), reading(310, 11.0, 70.0), reading(700, 12.0, 70.0)]))
    journal.commit(Batch([reading(5, 30.0, 70.0), reading(0, None, 75.0)]))
    assert rows(path, BINS) == [(0, 2, 4000, 1000, 3000, 2), (300, 1, 1100, 1100, 1100, 1)]
