"""Opening the journal's file, one transaction at a time, and SQLite's faults in plain words."""

from __future__ import annotations

import os
import sqlite3
import stat
import time
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from chamberwatch.errors import JournalError, NotPermitted

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

BUSY_S = 5.0
_RETRY_S = 0.005
# Small pages: a commit of eight readings then writes 8.8 kB instead of 16 (measured); flash wears by bytes.
PAGE_BYTES = 1024
# Members of the daemon's group write facts beside it, so the file, its -wal and its -shm are theirs too.
FILE_MODE = 0o660
_ASK = "this user may not {}; those in its group may: ask the administrator to be added to it"
OLDEST_SQLITE = (3, 37, 0)  # STRICT tables


class JournalDamaged(JournalError):  # noqa: N818  it is a state of the file
    """The file is there but cannot be read as a database: set it aside, then restore a backup."""


def explain(err: sqlite3.Error, path: Path) -> JournalError:
    """Return `err` as an exception whose text says what is wrong with `path` and what to do."""
    code = getattr(err, "sqlite_errorname", None) or ""
    if code.startswith(("SQLITE_NOTADB", "SQLITE_CORRUPT")):
        return JournalDamaged(f"the journal {path} is damaged or is no SQLite database ({err})")
    if code.startswith("SQLITE_FULL"):
        return JournalError(f"no room left on the disk that holds the journal {path}")
    if _is_busy(err):
        return JournalError(f"another program has kept the journal {path} locked for over {BUSY_S:g} s")
    if code.startswith(("SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM")):
        return JournalError(f"the journal {path} cannot be written ({err}); is its disk read-only?")
    return JournalError(f"the journal {path} cannot be used: {err}")


def _permitted(path: Path, *, write: bool) -> None:
    try:
        mode = path.stat().st_mode
    except PermissionError as err:
        raise NotPermitted(_ASK.format(f"look into the folder of the journal {path}")) from err
    except OSError as err:
        raise JournalError(f"the journal {path} does not exist ({err.strerror})") from err
    if not stat.S_ISREG(mode):
        raise JournalError(f"the journal {path} is a folder or a device, not a file")
    if not _may(path, os.R_OK | (os.W_OK if write else 0)):
        raise NotPermitted(_ASK.format(f"{'write' if write else 'read'} the journal {path}"))
    if write and not _may(path.parent, os.W_OK | os.X_OK):
        raise NotPermitted(_ASK.format(f"write in the folder {path.parent}"))


def _may(place: Path, mode: int) -> bool:
    return os.access(place, mode, effective_ids=True)


def connect(path: Path, *, mode: str) -> sqlite3.Connection:
    """Open the existing file; `mode` is SQLite's "rw" or "ro". Faults come as ChamberwatchError."""
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        raise JournalError(f"SQLite {sqlite3.sqlite_version} is too old; 3.37 or newer is needed")
    _permitted(path, write=mode == "rw")
    uri = f"file:{quote(str(path.absolute()))}?mode={mode}"
    with explained(path):
        db = sqlite3.connect(uri, uri=True, isolation_level=None, timeout=BUSY_S)
        try:
            _patiently(lambda: _set_up(db, writable=mode == "rw"))
        except BaseException:
            db.close()
            raise
    return db


def _patiently(set_up: Callable[[], None]) -> None:
    """Repeat `set_up` while the file is busy, for as long as a transaction would wait.

    SQLite answers at once, its timeout unheeded, while another connection turns the file to WAL or, as the
    last to close, clears that away.
    """
    until = time.monotonic() + BUSY_S
    while True:
        try:
            return set_up()
        except sqlite3.OperationalError as err:
            if not _is_busy(err) or time.monotonic() >= until:
                raise
        time.sleep(_RETRY_S)


def _is_busy(err: sqlite3.Error) -> bool:
    return (getattr(err, "sqlite_errorname", None) or "").startswith(("SQLITE_BUSY", "SQLITE_LOCKED"))


def _set_up(db: sqlite3.Connection, *, writable: bool) -> None:
    if writable:
        db.execute(f"PRAGMA page_size={PAGE_BYTES}")  # heeded only while the file is still empty
        db.execute("PRAGMA journal_mode=WAL")
        db.execute("PRAGMA synchronous=FULL")  # an acknowledgement promises that a power cut takes nothing
        db.execute("PRAGMA journal_size_limit=4194304")
        db.execute("PRAGMA foreign_keys=ON")
    db.execute("SELECT count(*) FROM sqlite_master").fetchone()  # a file of another kind shows only when read


def create_file(path: Path) -> None:
    """Make an empty group-writable file at `path` unless there is one; its folder must exist."""
    try:
        handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR | os.O_CLOEXEC, FILE_MODE)
    except FileExistsError:
        return
    except FileNotFoundError as err:
        raise JournalError(f"there is no folder {path.parent} to keep the journal {path.name} in") from err
    except PermissionError as err:
        raise NotPermitted(_ASK.format(f"make the journal {path}")) from err
    except OSError as err:
        raise JournalError(f"the journal {path} cannot be made: {err.strerror}") from err
    os.fchmod(handle, FILE_MODE)  # the umask of whoever came first must not lock the group out
    os.close(handle)


@contextmanager
def explained(path: Path) -> Iterator[None]:
    """Let SQLite's errors out of the body as JournalError, the original as `__cause__`."""
    try:
        yield
    except sqlite3.Error as err:
        raise explain(err, path) from err


@contextmanager
def transaction(db: sqlite3.Connection, path: Path) -> Iterator[None]:
    """Run the body as one write transaction: all of it or, on any exception, nothing.

    SQLite's errors come out as by `explained`; other exceptions pass unchanged.
    """
    with explained(path):
        db.execute("BEGIN IMMEDIATE")
        try:
            yield
            db.execute("COMMIT")
        except BaseException:
            if db.in_transaction:
                db.execute("ROLLBACK")
            raise


@contextmanager
def reading(db: sqlite3.Connection, path: Path) -> Iterator[None]:
    """Run the body's queries on one unchanging view of the journal, and end it with the body."""
    with explained(path):
        db.execute("BEGIN")
        try:
            yield
        finally:
            if db.in_transaction:
                db.execute("ROLLBACK")


def named(db: sqlite3.Connection, query: str, args: tuple[Any, ...] = ()) -> Iterator[dict[str, Any]]:
    """Yield the rows of a query as dictionaries by column name."""
    cursor = db.execute(query, args)
    names = [column[0] for column in cursor.description]
    for row in cursor:
        yield dict(zip(names, row, strict=True))
