"""Opening a journal: made, brought up to date, or refused with the reason in words."""

from __future__ import annotations

import os
import re
import shutil
import sqlite3
import stat
import tempfile
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from journal_parts import PLAN, T0, event, reading, rows

from chamberwatch.errors import JournalError, NotPermitted
from chamberwatch.journal import connection, schema
from chamberwatch.journal.connection import JournalDamaged
from chamberwatch.journal.facts import Facts
from chamberwatch.journal.outbox import Outbox
from chamberwatch.journal.reader import Reader
from chamberwatch.journal.store import Batch, Journal
from chamberwatch.journal.tail import Tail

if TYPE_CHECKING:
    from collections.abc import Iterator

NOBODY = 65_534
TABLES = "SELECT type, name, sql FROM sqlite_master ORDER BY type, name"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the journal is to be."""
    return tmp_path / "cellar.db"


@pytest.fixture
def elsewhere() -> Iterator[Path]:
    """A journal in a folder of its own that the test user may pass through; for root, as user `nobody`."""
    folder = Path(tempfile.mkdtemp())
    make(folder / "cellar.db")
    yield folder / "cellar.db"
    if os.getuid() == 0:
        os.seteuid(0)
    folder.chmod(0o700)
    shutil.rmtree(folder)


def make(path: Path) -> None:
    """Make a journal of today with one reading in it."""
    journal = Journal.open(path)
    journal.remember_plan(PLAN, "metric")
    journal.commit(Batch([reading(0, 12.0, 70.0)]))
    journal.close()


# -- migrations


@pytest.mark.parametrize("steps", range(1, len(schema.MIGRATIONS) + 1))
def test_a_journal_of_any_earlier_version_becomes_one_of_today(
    path: Path, steps: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whichever step it stopped at: the same tables as a new one, and what was in it still is."""
    with monkeypatch.context() as then:
        then.setattr(schema, "MIGRATIONS", schema.MIGRATIONS[:steps])
        old = schema.open_journal(path, create=True)
        old.execute("INSERT INTO probe(name, readings, newest_ms) VALUES ('rear', 1, ?)", (T0,))
        old.execute("INSERT INTO reading VALUES (?, 1, 1250, 7400)", (T0,))
        old.close()
    journal = Journal.open(path)
    journal.commit(Batch([reading(10, 12.0, 70.0)], events=[(event("a"), "text")]))
    journal.close()
    new = path.with_name("new.db")
    Journal.open(new).close()
    assert rows(path, TABLES) == rows(new, TABLES)
    assert rows(path, "SELECT name FROM migration ORDER BY rowid") == [(m.name,) for m in schema.MIGRATIONS]
    assert rows(path, "SELECT temp_centi FROM reading") == [(1250,), (1200,)]


def test_a_step_that_fails_leaves_the_journal_as_it_was(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Half a migration is no migration: tables and ledger are those of before, and the next start tries again."""
    make(path)
    before = rows(path, TABLES)
    step = schema.Migration("next", ("CREATE TABLE half(x INTEGER)", "CREATE TABLE half(x INTEGER)"))
    with monkeypatch.context() as then:
        then.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, step))
        with pytest.raises(JournalError, match="half already exists"):
            Journal.open(path)
    assert rows(path, TABLES) == before
    Journal.open(path).close()


def test_a_reader_brings_an_older_journal_up_to_date(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """After an update, looking works before the watch was ever started again."""
    with monkeypatch.context() as then:
        then.setattr(schema, "MIGRATIONS", schema.MIGRATIONS[:1])
        schema.open_journal(path, create=True).close()
    with Reader(path) as reader:
        assert reader.pieces() == []


def test_a_journal_of_a_newer_version_is_refused(path: Path) -> None:
    """An older program neither reads nor writes what it does not understand, and says what to do."""
    make(path)
    db = sqlite3.connect(path)
    with db:
        db.execute("INSERT INTO migration VALUES ('meat', 0)")
    db.close()
    for opens in (Journal.open, Reader, Outbox, Tail):
        with pytest.raises(
            JournalError, match=r"newer version of this program \(it has meat\): update the program"
        ):
            opens(path)


def test_eight_openers_at_once_make_one_journal(tmp_path: Path) -> None:
    """Whoever comes first makes the tables; the others wait and find them.

    In many rounds: one in ten met the moment in which SQLite answers "locked" without waiting.
    """
    faults: list[BaseException] = []

    def open_it(path: Path) -> None:
        try:
            Journal.open(path).close()
            Reader(path).close()
        except JournalError as fault:
            faults.append(fault)

    for turn in range(50):
        path = tmp_path / f"cellar-{turn}.db"
        threads = [threading.Thread(target=open_it, args=(path,)) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert faults == []
        assert len(rows(path, "SELECT name FROM migration")) == len(schema.MIGRATIONS)


def test_a_file_kept_locked_is_said_after_the_full_wait(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The wait ends, and its message names the journal and how long it was tried."""
    monkeypatch.setattr(connection, "BUSY_S", 0.2)
    holder = sqlite3.connect(path, isolation_level=None)
    holder.execute("CREATE TABLE meta(key TEXT)")
    holder.execute("BEGIN EXCLUSIVE")
    began = time.monotonic()
    with pytest.raises(JournalError, match=rf"journal {re.escape(str(path))} locked for over 0.2 s"):
        Journal.open(path)
    assert time.monotonic() - began >= 0.2
    holder.close()


# -- refusals


def test_a_file_that_is_no_database_is_damaged(path: Path) -> None:
    """A text file, an empty header, a cut-off database: JournalDamaged, and the file is left alone."""
    path.write_text("not a database, but long enough to be looked at\n" * 40)
    for opens in (Journal.open, Reader):
        with pytest.raises(JournalDamaged, match=r"cellar\.db is damaged or is no SQLite database"):
            opens(path)
    assert path.read_text().startswith("not a database")


def test_another_programs_database_is_refused(path: Path) -> None:
    """An SQLite file without our ledger is not ours to write in."""
    db = sqlite3.connect(path)
    with db:
        db.execute("CREATE TABLE recipe(name TEXT)")
    db.close()
    with pytest.raises(JournalError, match="not a journal of this program"):
        Journal.open(path)
    assert [name for _, name, _ in rows(path, TABLES)] == ["recipe"]


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    """The folder is not made by guesswork."""
    with pytest.raises(JournalError, match=r"there is no folder .*nowhere to keep the journal cellar\.db in"):
        Journal.open(tmp_path / "nowhere" / "cellar.db")


def test_a_journal_that_must_exist_is_not_made(path: Path) -> None:
    """Readers, facts and `create=False` say that there is none, and leave no file behind."""
    opens = (
        lambda: Journal.open(path, create=False),
        lambda: Reader(path),
        lambda: Outbox(path),
        lambda: Facts(path, now_ms=T0),
    )
    for attempt in opens:
        with pytest.raises(JournalError, match="does not exist"):
            attempt()
    assert not path.exists()


def test_a_folder_is_no_journal(tmp_path: Path) -> None:
    """Naming a folder is told apart from a damaged file."""
    with pytest.raises(JournalError, match="is a folder or a device") as caught:
        Journal.open(tmp_path)
    assert not isinstance(caught.value, JournalDamaged)


def test_an_sqlite_too_old_is_named(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The version that is here and the one that is needed."""
    make(path)
    monkeypatch.setattr(connection.sqlite3, "sqlite_version_info", (3, 34, 1))
    with pytest.raises(JournalError, match=r"too old; 3\.37 or newer is needed"):
        Journal.open(path)


@pytest.mark.parametrize(
    ("file_mode", "folder_mode", "what"),
    [
        (0o000, 0o755, "read the journal"),
        (0o444, 0o755, "write the journal"),
        (0o666, 0o555, "write in the folder"),
        (0o666, 0o000, "look into the folder"),
    ],
)
def test_a_user_outside_the_group_is_told_to_join(
    elsewhere: Path, file_mode: int, folder_mode: int, what: str
) -> None:
    """Whatever permission lacks, the text says which and what to do."""
    elsewhere.chmod(file_mode)
    elsewhere.parent.chmod(folder_mode)
    if os.getuid() == 0:
        os.seteuid(NOBODY)
    with pytest.raises(NotPermitted, match=f"this user may not {what}.*ask the administrator to be added"):
        Reader(elsewhere) if what.startswith("read") else Outbox(elsewhere)


def test_a_user_who_may_not_make_the_journal_is_told_to_join(elsewhere: Path) -> None:
    """Making a new file in a folder that is only to be looked at."""
    elsewhere.parent.chmod(0o555)
    if os.getuid() == 0:
        os.seteuid(NOBODY)
    with pytest.raises(NotPermitted, match=r"this user may not make the journal .*ask the administrator"):
        Journal.open(elsewhere.with_name("new.db"))


# -- the file


def test_the_group_may_write_whatever_the_umask(path: Path) -> None:
    """The file, its -wal and its -shm are 0660, so that members of the group can write beside the watch."""
    before = os.umask(0o077)
    try:
        journal = Journal.open(path)
    finally:
        os.umask(before)
    modes = {p.name: stat.S_IMODE(p.stat().st_mode) for p in path.parent.iterdir()}
    journal.close()
    assert modes == {"cellar.db": 0o660, "cellar.db-wal": 0o660, "cellar.db-shm": 0o660}


@pytest.mark.parametrize("name", ["with blank.db", "50% sure?.db", "käse#1.db"])
def test_any_file_name_will_do(tmp_path: Path, name: str) -> None:
    """Blanks and signs that mean something in a URI are part of the name."""
    make(tmp_path / name)
    with Reader(tmp_path / name) as reader:
        assert len(reader.readings(0, T0 + 1)) == 1
    assert {p.name.removesuffix("-wal").removesuffix("-shm") for p in tmp_path.iterdir()} == {name}
