"""What the journal needs now and then, beside the watch: old raw rows pruned, and a check after a bad end.

A thread of its own, on elapsed time; nothing here delays a reading. Failures are logged and tried again.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from pathlib import Path

from chamberwatch.errors import JournalError
from chamberwatch.journal.integrity import quick_check
from chamberwatch.journal.retention import prune

EVERY_S = 3_600.0
SLICE_ROWS = 5_000

_log = logging.getLogger(__name__)


class Housekeeping:
    """Owns the thread."""

    def __init__(self, path: Path, keep_days: int, now_ms: Callable[[], int]) -> None:
        self._path = path
        self._keep_days = keep_days
        self._now_ms = now_ms
        self._ending = threading.Event()
        self._check = False
        self._thread = threading.Thread(target=self._run, name="housekeeping", daemon=True)

    def start(self, *, check: bool) -> None:
        """Begin; `check`: the last watch did not end cleanly, so read the whole file once."""
        self._check = check
        self._thread.start()

    def stop(self) -> None:
        """End after the slice under way."""
        self._ending.set()
        if self._thread.ident is not None:
            self._thread.join(5.0)

    def _run(self) -> None:
        if self._check:
            self._look()
        while not self._ending.wait(EVERY_S):
            self._prune()

    def _look(self) -> None:
        try:
            for fault in quick_check(self._path):
                _log.error("the journal is damaged: %s", fault)
        except JournalError as error:
            _log.error("the journal could not be checked: %s", error)

    def _prune(self) -> None:
        try:
            while prune(self._path, self._now_ms(), self._keep_days, SLICE_ROWS) == SLICE_ROWS:
                if self._ending.wait(1.0):
                    return
        except JournalError as error:
            _log.warning("old readings could not be pruned: %s", error)
