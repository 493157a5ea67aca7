"""The file as a file: lock, checks, setting aside, backup, and old readings dropped."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from typing import TYPE_CHECKING

import pytest
from journal_parts import PLAN, T0, at, event, reading, rows

from chamberwatch.errors import JournalError, JournalHeld
from chamberwatch.journal import backup as backup_module
from chamberwatch.journal.backup import backup
from chamberwatch.journal.connection import JournalDamaged
from chamberwatch.journal.integrity import quick_check, set_aside, unclean
from chamberwatch.journal.lock import hold
from chamberwatch.journal.reader import Reader
from chamberwatch.journal.retention import prune
from chamberwatch.journal.store import Batch, Journal
from chamberwatch.journal.tail import Tail
from chamberwatch.model import MS_PER_DAY

if TYPE_CHECKING:
    from pathlib import Path

COUNT = "SELECT count(*) FROM reading"
HOLDER = """
import pathlib, sys
from chamberwatch.journal.lock import hold
held = hold(pathlib.Path(sys.argv[1]))
print("held", flush=True)
sys.stdin.read()
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A journal of 2,000 readings, closed."""
    place = tmp_path / "cellar.db"
    journal = Journal.open(place)
    journal.remember_plan(PLAN, "metric")
    journal.commit(Batch([reading(10 * n, 12.0 + n % 7, 70.0 + n % 5) for n in range(2000)]))
    journal.commit(Batch(events=[(event("a"), "text")], alive_ms=at(1)))
    journal.close()
    return place


# -- lock


def test_a_second_holder_is_refused_and_told_by_whom(path: Path) -> None:
    """The refusal names the process; once released, the lock can be taken."""
    with (
        hold(path),
        pytest.raises(JournalHeld, match=rf"held by another watch or replay \(process {os.getpid()}\)"),
    ):
        hold(path)
    hold(path).release()


def test_releasing_twice_is_harmless(path: Path) -> None:
    """The second release lets go of nothing that someone else took meanwhile."""
    first = hold(path)
    first.release()
    with hold(path):
        first.release()
        with pytest.raises(JournalHeld):
            hold(path)


def test_the_lock_ends_with_its_process(path: Path) -> None:
    """A killed watch leaves no stale lock behind."""
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(JournalHeld, match=rf"process {holder.pid}\)"):
            hold(path)
        holder.send_signal(signal.SIGKILL)
        holder.wait()
    hold(path).release()


def test_a_lock_without_a_folder_is_a_clear_fault(tmp_path: Path) -> None:
    """Not an OSError with a number."""
    with pytest.raises(JournalError, match=r"lock file .* cannot be opened: No such file"):
        hold(tmp_path / "nowhere" / "cellar.db")


# -- integrity


def test_a_whole_journal_has_no_faults(path: Path) -> None:
    """Also while a watch has it open."""
    journal = Journal.open(path)
    journal.commit(Batch([reading(100_000, 12.0, 70.0)]))
    assert quick_check(path) == []
    journal.close()


@pytest.mark.parametrize(
    "harm",
    [
        lambda size: (0, b"\0" * 100),
        lambda size: (size // 2 // 1024 * 1024, b"\xa5" * 4096),
        lambda size: (1024, b"\0" * 1024),
    ],
    ids=["header", "noise in the middle", "zeroed page"],
)
def test_a_damaged_journal_is_found_out(path: Path, harm) -> None:
    """Broken structure comes back as text, never as an exception."""
    where, what = harm(path.stat().st_size)
    with path.open("r+b") as file:
        file.seek(where)
        file.write(what)
    faults = quick_check(path)
    assert faults
    assert all(isinstance(fault, str) and fault for fault in faults)


def test_a_cut_off_journal_is_found_out(path: Path) -> None:
    """Half a file is damaged."""
    os.truncate(path, path.stat().st_size // 2)
    assert quick_check(path)


def test_damage_met_in_use_is_told_as_damage(path: Path) -> None:
    """Reading into a broken page raises JournalDamaged, for whoever reads, not an SQLite error."""
    with path.open("r+b") as file:
        file.seek(4 * 1024)
        file.write(b"\xa5" * (path.stat().st_size - 5 * 1024))
    with pytest.raises(JournalDamaged, match="damaged"), Reader(path) as reader:
        reader.readings(0, at(1e6))


def test_a_journal_is_set_aside_whole(path: Path) -> None:
    """Name, time and the parts beside it; a second one of the same second gets a number; nothing is lost."""
    path.with_name("cellar.db-wal").write_bytes(b"wal")
    moved = set_aside(path, T0)
    assert moved.name == "cellar.db.damaged-20261031T000000Z"
    assert sorted(p.name for p in path.parent.iterdir()) == [moved.name, moved.name + "-wal"]
    path.write_bytes(b"again")
    assert set_aside(path, T0).name == moved.name + "-2"
    with pytest.raises(JournalError, match="cannot be set aside"):
        set_aside(path, T0)


# -- backup


def test_a_backup_is_the_whole_journal_in_one_file(path: Path, tmp_path: Path) -> None:
    """It opens as a journal, holds every row, and is not taken for the leftovers of a crash."""
    journal = Journal.open(path)
    journal.begin_watch()
    journal.commit(Batch([reading(50_000, 13.0, 71.0)]))
    target = tmp_path / "copy.db"
    assert backup(path, target) == target.stat().st_size
    assert sorted(p.name for p in tmp_path.glob("copy*")) == ["copy.db"]
    assert quick_check(target) == []
    assert (unclean(path), unclean(target)) == (True, False)
    copy = Journal.open(target)
    assert (copy.newest_ms(), copy.plan()) == (journal.newest_ms(), PLAN)
    assert copy.commit(Batch([reading(50_010, 13.0, 71.0)])).stored == 1
    copy.close()
    journal.close()
    assert rows(target, COUNT) == [(2002,)]


def test_a_backup_under_writing_is_the_journal_of_one_commit(path: Path, tmp_path: Path) -> None:
    """Every batch brings two readings, so a copy with an odd number would be a torn one; ten copies, none is."""
    stop = threading.Event()

    def write() -> None:
        writer = Journal.open(path)
        second = 100_000
        while not stop.is_set():
            second += 10
            writer.commit(Batch([reading(second, 12.0, 70.0), reading(second, 12.0, 70.0, "front")]))
        writer.close()

    thread = threading.Thread(target=write)
    thread.start()
    try:
        counts = []
        for _ in range(10):
            backup(path, tmp_path / "copy.db", overwrite=True)
            counts.append(rows(tmp_path / "copy.db", COUNT)[0][0])
    finally:
        stop.set()
        thread.join()
    assert all(count % 2 == 0 for count in counts)
    assert counts == sorted(counts)
    assert counts[-1] > counts[0]


def test_a_backup_does_not_overwrite_unless_told(path: Path, tmp_path: Path) -> None:
    """The file that is there stays as it is; told to, it is replaced by a whole copy."""
    target = tmp_path / "copy.db"
    target.write_text("precious")
    with pytest.raises(JournalError, match="exists already; name another file"):
        backup(path, target)
    assert target.read_text() == "precious"
    backup(path, target, overwrite=True)
    assert rows(target, COUNT) == [(2000,)]


@pytest.mark.parametrize(
    ("target", "why"),
    [
        ("nowhere/copy.db", "there is no folder"),
        (".", "is a folder; name a file"),
        ("cellar.db", "is the journal itself"),
    ],
)
def test_a_backup_to_a_wrong_place_is_refused(path: Path, tmp_path: Path, target: str, why: str) -> None:
    """What is wrong with the place, before anything is written."""
    with pytest.raises(JournalError, match=why):
        backup(path, tmp_path / target, overwrite=True)
    assert rows(path, COUNT) == [(2000,)]


def test_a_backup_that_fails_leaves_no_trace(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A copy that does not check out is thrown away and the old backup stays."""
    target = tmp_path / "copy.db"
    backup(path, target)
    old = target.read_bytes()
    monkeypatch.setattr(backup_module, "quick_check", lambda _path: ["row 3 missing from index"])
    with pytest.raises(JournalError, match="is not whole: row 3 missing"):
        backup(path, target, overwrite=True)
    assert target.read_bytes() == old
    assert [p.name for p in tmp_path.glob("*partial*")] == []


def test_a_backup_of_nothing_says_so(tmp_path: Path) -> None:
    """No journal, no copy, no empty file."""
    with pytest.raises(JournalError, match="does not exist"):
        backup(tmp_path / "none.db", tmp_path / "copy.db")
    assert list(tmp_path.iterdir()) == []


# -- retention

OLD_S = -420 * 86_400


def aged(path: Path) -> None:
    """Add 1,000 readings of 420 days ago, and one that landed behind them."""
    journal = Journal.open(path)
    journal.commit(Batch([reading(OLD_S + 10 * n, 15.0, 80.0, "front") for n in range(1000)]))
    journal.commit(Batch([reading(OLD_S + 5, 15.0, 80.0, "front")]))
    journal.close()


def test_old_readings_go_in_slices_and_rollups_stay(path: Path) -> None:
    """Each call deletes at most its slice; rollups, events and newer readings stay, counters follow."""
    aged(path)
    bins = rows(path, "SELECT * FROM rollup")
    gone = [prune(path, T0, max_rows=400) for _ in range(4)]
    assert gone == [400, 400, 201, 0]
    assert rows(path, COUNT) == [(2000,)]
    assert rows(path, "SELECT * FROM rollup") == bins
    assert len([at_ms for at_ms, *_ in bins if at_ms < T0]) == 34
    assert rows(path, "SELECT name, readings FROM probe WHERE readings") == [("rear", 2000)]
    assert rows(path, "SELECT id FROM event") == [("a",)]


def test_nothing_young_is_pruned(path: Path) -> None:
    """399 days is kept, 401 is not."""
    assert prune(path, T0 + 399 * MS_PER_DAY) == 0
    assert prune(path, T0 + 401 * MS_PER_DAY) > 0


def test_what_is_not_rolled_up_yet_is_not_pruned(path: Path) -> None:
    """The open five-minute bin of an abandoned journal keeps its readings, or its mean would be lost."""
    while prune(path, T0 + 1000 * MS_PER_DAY):
        pass
    kept = rows(path, "SELECT min(at_ms), count(*) FROM reading")
    assert kept == [(at(19_800), 20)]
    journal = Journal.open(path)
    journal.commit(Batch([reading(20_400, 12.0, 70.0)]))
    journal.close()
    assert rows(path, f"SELECT n_temp FROM rollup WHERE at_ms = {at(19_800)}") == [(20,)]


def test_a_late_row_does_not_spoil_the_rollup_of_pruned_readings(path: Path) -> None:
    """A straggler of 420 days ago is kept, but the mean of its five minutes is not replaced by it."""
    aged(path)
    while prune(path, T0, max_rows=5000):
        pass
    bin_of_old = f"SELECT n_temp, sum_temp_centi FROM rollup WHERE at_ms = {at(OLD_S)}"
    assert rows(path, bin_of_old) == [(31, 46_500)]
    journal = Journal.open(path)
    assert journal.commit(Batch([reading(OLD_S + 7, 99.0, 80.0, "front")])).late == 1
    journal.close()
    assert rows(path, bin_of_old) == [(31, 46_500)]


def test_pruning_never_hides_a_row_from_the_tail(path: Path) -> None:
    """What lands behind after a pruning still gets a number that no cursor has passed."""
    aged(path)
    tail = Tail(path)
    _, cursor = tail.readings(tail.cursor("x"), 10_000)
    prune(path, T0, max_rows=5000)
    journal = Journal.open(path)
    journal.commit(Batch([reading(15, 12.0, 70.0)]))
    journal.close()
    assert [row.at_ms for row in tail.readings(cursor, 10)[0]] == [at(15)]
    tail.close()
