"""A pseudo-terminal that stands for a probe's serial adapter, reached by a symlink as by /dev/serial/by-id/.

Rules for this file: pulling the plug closes our end, so that the reader meets what a real unplugging gives
it; plugging in again makes another terminal under the same symlink. Nobody listening loses lines, as on a
real wire.
"""

from __future__ import annotations

import os
import select
import time
import tty
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

GREETING = b"\n"
GREETINGS = 4
"""A reader empties its buffer at opening (pyserial once, its user once more) and drops what is left of a
line: blank lines take the loss. Each waits until the one before is gone, so the third at the latest is read.
"""

LOOK_S = 0.0003
WRITE_S = 20.0


class NobodyListens(Exception):  # noqa: N818  it says what is the matter
    """The reader did not open the port, or stopped reading it, within the time it is given."""


class Terminal:
    """One probe's port. `link`: the path the monitor opens."""

    def __init__(self, link: Path) -> None:
        self.link = link
        self._ours = -1
        self._ears = -1

    @property
    def plugged(self) -> bool:
        """Whether the port exists now."""
        return self._ours >= 0

    def plug(self) -> None:
        """Make the terminal and point the symlink at it."""
        self._ours, theirs = os.openpty()
        try:
            tty.setraw(theirs)
            os.set_blocking(self._ours, False)
            beside = self.link.with_name(self.link.name + ".new")
            beside.unlink(missing_ok=True)
            beside.symlink_to(os.ttyname(theirs))
            beside.replace(self.link)
        finally:
            os.close(theirs)  # from now on a hangup on our end means: nobody has it open

    def unplug(self) -> None:
        """Pull the plug: the symlink goes, the reader's end hangs up."""
        self.link.unlink(missing_ok=True)
        for fd in (self._ears, self._ours):
            if fd >= 0:
                os.close(fd)
        self._ears = self._ours = -1

    def heard(self) -> bool:
        """Return whether somebody has the port open."""
        poll = select.poll()
        poll.register(self._ours, 0)
        return not any(events & select.POLLHUP for _, events in poll.poll(0))

    def wait_for_reader(self, deadline_s: float, alive: Callable[[], bool] = lambda: True) -> None:
        """Return when somebody reads the port; NobodyListens after `deadline_s`, or when `alive` says no."""
        end_s = time.monotonic() + deadline_s
        while not self.heard():
            if time.monotonic() > end_s or not alive():
                raise NobodyListens(f"nobody opened {self.link} within {deadline_s:g} s")
            time.sleep(0.01)
        self._ears = os.open(self.link.readlink(), os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
        for _ in range(GREETINGS):
            self.write(GREETING)
            self.wait_drained(alive)

    def write(self, data: bytes) -> None:
        """Put bytes on the wire; NobodyListens when the reader takes none for a long time."""
        end_s = time.monotonic() + WRITE_S
        while data:
            try:
                data = data[os.write(self._ours, data) :]
            except BlockingIOError:
                if time.monotonic() > end_s:
                    raise NobodyListens(f"nobody reads {self.link}") from None
                time.sleep(LOOK_S)

    def drained(self) -> bool:
        """Return whether the reader has taken all that was written.

        Polling the reader's end makes the kernel hand over what is still on its way there; the count of
        waiting bytes alone (FIONREAD) is 0 right after most writes (seen on Linux 6.18), which is no answer.
        """
        poll = select.poll()
        poll.register(self._ears, select.POLLIN)
        return not any(events & select.POLLIN for _, events in poll.poll(0))

    def wait_drained(self, alive: Callable[[], bool] = lambda: True) -> None:
        """Return when the reader has taken all; NobodyListens when it stops taking."""
        end_s = time.monotonic() + WRITE_S
        while not self.drained():
            if time.monotonic() > end_s or not alive():
                raise NobodyListens(f"nobody reads {self.link}")
            time.sleep(LOOK_S)
