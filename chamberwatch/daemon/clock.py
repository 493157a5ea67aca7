"""The daemon's time: the machine's in normal use, the readings' own in rehearsal and replay.

Between corrections the machine's clock runs on CLOCK_BOOTTIME, so that an interval is never bent by a step
of the wall clock; a step is noticed by `check` and then taken over whole.
"""

from __future__ import annotations

import ctypes
import time
from pathlib import Path
from typing import Protocol

MS_PER_NS = 1_000_000
STEP_MS = 2_000
_SYNC_FILE = Path("/run/systemd/timesync/synchronized")
_TIME_ERROR = 5


class Clock(Protocol):
    """What the daemon asks."""

    def now_ms(self) -> int:
        """Return UTC, ms since 1970."""
        ...

    def see(self, at_ms: int) -> int:
        """Take notice of a reading's time; return its arrival time."""
        ...

    def check(self) -> int:
        """Return by how many ms the wall clock was stepped since last asked (0: it was not)."""
        ...


class MachineClock:
    """UTC of this machine."""

    def __init__(self) -> None:
        self._offset_ms = self._wall_offset_ms()

    @staticmethod
    def _wall_offset_ms() -> int:
        return (time.time_ns() - time.clock_gettime_ns(time.CLOCK_BOOTTIME)) // MS_PER_NS

    def now_ms(self) -> int:
        """Return UTC, ms since 1970."""
        return time.clock_gettime_ns(time.CLOCK_BOOTTIME) // MS_PER_NS + self._offset_ms

    def see(self, at_ms: int) -> int:
        """Return now: an arrival has nothing to do with the reading's own time."""
        del at_ms
        return self.now_ms()

    def check(self) -> int:
        """Take over a step of the wall clock and return its size in ms; small slews are followed silently."""
        offset_ms = self._wall_offset_ms()
        change_ms, self._offset_ms = offset_ms - self._offset_ms, offset_ms
        return change_ms if abs(change_ms) > STEP_MS else 0


class ReadingsClock:
    """Time is the newest reading's: for rehearsal and replay, where a weekend passes in seconds."""

    def __init__(self, start_ms: int = 0) -> None:
        self._newest_ms = start_ms

    def now_ms(self) -> int:
        """Return the newest reading's time; before the first, the start given."""
        return self._newest_ms

    def see(self, at_ms: int) -> int:
        """Let time pass up to this reading, never back."""
        self._newest_ms = max(self._newest_ms, at_ms)
        return self._newest_ms

    def check(self) -> int:
        """Return 0: this clock is never stepped."""
        return 0


def synced() -> bool:
    """Return whether this machine's clock is known to be right: systemd's mark, or the kernel's own flag."""
    if _SYNC_FILE.exists():
        return True
    # struct timex is 208 bytes on 64-bit Linux; modes = 0 asks without changing anything.
    buffer = ctypes.create_string_buffer(256)
    try:
        state = ctypes.CDLL(None).adjtimex(buffer)
    except (OSError, AttributeError):
        return False
    return 0 <= int(state) < _TIME_ERROR
