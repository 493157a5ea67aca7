"""One writer of the air: an exclusive lock beside the file, which the kernel lets go with its holder.

It is a lock file of its own: locks on the database itself are SQLite's business.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
from typing import TYPE_CHECKING

from chamberwatch.errors import JournalError, JournalHeld, NotPermitted
from chamberwatch.journal.connection import FILE_MODE

if TYPE_CHECKING:
    from pathlib import Path
    from types import TracebackType
    from typing import Self

_PID_BYTES = 32


class Lock:
    """A held lock; let go by `release`, at the end of a `with`, or when the process ends however it ends."""

    def __init__(self, path: Path, handle: int) -> None:
        self.path = path
        self._handle: int | None = handle

    def release(self) -> None:
        """Let the next one in; harmless when done twice."""
        handle, self._handle = self._handle, None
        if handle is not None:
            os.close(handle)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.release()


def hold(path: Path) -> Lock:
    """Take the lock of the journal at `path`.

    Raises:
        JournalHeld: another process (or another `Lock` of this one) has it; the text names its process id.
        NotPermitted: this user may not open the lock file.
        JournalError: the folder is not there.
    """
    place = path.with_name(path.name + ".lock")
    handle = _open(place)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as err:
        holder = os.read(handle, _PID_BYTES).decode("ascii", "replace").strip() or "unknown"
        os.close(handle)
        raise JournalHeld(
            f"the journal {path} is held by another watch or replay (process {holder}); "
            "stop that one first, or name another journal"
        ) from err
    os.ftruncate(handle, 0)
    os.write(handle, f"{os.getpid()}\n".encode())
    return Lock(path, handle)


def _open(place: Path) -> int:
    try:
        handle = os.open(place, os.O_CREAT | os.O_RDWR | os.O_CLOEXEC, FILE_MODE)
    except PermissionError as err:
        raise NotPermitted(f"this user may not open {place}; members of its group may") from err
    except OSError as err:
        raise JournalError(f"the lock file {place} cannot be opened: {err.strerror}") from err
    with contextlib.suppress(PermissionError):  # made by another member of the group: theirs to change
        os.fchmod(handle, FILE_MODE)
    return handle
