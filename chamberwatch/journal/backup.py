"""A copy of the journal as it was at one commit, made while a watch writes on."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from typing import TYPE_CHECKING

from chamberwatch.errors import JournalError, NotPermitted
from chamberwatch.journal.connection import FILE_MODE, explained
from chamberwatch.journal.integrity import quick_check
from chamberwatch.journal.schema import open_readable
from chamberwatch.journal.store import RUNNING

if TYPE_CHECKING:
    from pathlib import Path


def backup(path: Path, target: Path, *, overwrite: bool = False) -> int:
    """Copy the journal at `path` to `target`; return the copy's size [bytes].

    The copy appears under its name only when it is whole, checked and on the disk. It is one file, without
    -wal, and opens as a journal.

    Raises:
        JournalError: `target` exists and `overwrite` is not set, is the journal itself, or cannot be written;
            the journal cannot be read; the copy is not whole.
        NotPermitted: this user may not write there.
    """
    _check_target(path, target, overwrite=overwrite)
    partial = target.with_name(f"{target.name}.partial-{os.getpid()}")
    try:
        _create(partial)
        _copy(path, partial)
        faults = quick_check(partial)
        if faults:
            raise JournalError(f"the copy of {path} is not whole: {faults[0]}")
        _settle(partial)
        if not overwrite:
            _check_target(path, target, overwrite=False)
        size = partial.stat().st_size
        partial.replace(target)
        _settle(target.parent)
    except OSError as err:
        raise JournalError(f"the backup {target} cannot be written: {err.strerror}") from err
    finally:
        for suffix in ("", "-wal", "-shm", "-journal"):
            with contextlib.suppress(OSError):
                partial.with_name(partial.name + suffix).unlink(missing_ok=True)
    return size


def _check_target(path: Path, target: Path, *, overwrite: bool) -> None:
    if not target.parent.is_dir():
        raise JournalError(f"there is no folder {target.parent} for the backup")
    if target.is_dir():
        raise JournalError(f"{target} is a folder; name a file for the backup")
    if target.exists() and path.exists() and target.samefile(path):
        raise JournalError(f"{target} is the journal itself; name another file for the backup")
    if target.exists() and not overwrite:
        raise JournalError(f"{target} exists already; name another file, or ask for it to be replaced")


def _create(partial: Path) -> None:
    try:
        handle = os.open(partial, os.O_CREAT | os.O_TRUNC | os.O_RDWR | os.O_CLOEXEC, FILE_MODE)
    except PermissionError as err:
        raise NotPermitted(f"this user may not write in the folder {partial.parent}") from err
    os.fchmod(handle, FILE_MODE)  # restored, it must serve the whole group again
    os.close(handle)


def _copy(path: Path, partial: Path) -> None:
    source = open_readable(path)
    copy = sqlite3.connect(partial, isolation_level=None)
    try:
        with explained(partial):
            # All pages in one step: one read transaction, so the copy is the journal of one commit.
            source.backup(copy)
            copy.execute("PRAGMA journal_mode=DELETE")
            copy.execute("DELETE FROM meta WHERE key = ?", (RUNNING,))
    finally:
        copy.close()
        source.close()


def _settle(place: Path) -> None:
    handle = os.open(place, os.O_RDONLY | os.O_CLOEXEC)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
