"""No thread dies unseen: one that does ends the process, and the service manager starts it afresh.

Why so harsh: when a callback raises, the broker library's network thread is gone while its client still
says "connected". Half a monitor that looks whole is worse than a restart, which loses nothing (the journal
is committed, the broker still holds what was not acknowledged).
"""

from __future__ import annotations

import logging
import os
import sys
import threading
from collections.abc import Callable

EXIT_CODE = 70  # sysexits.h EX_SOFTWARE, as in chamberwatch.errors

_log = logging.getLogger(__name__)


def end_process(why: str) -> None:
    """Say `why` on standard error and end the process at once with exit code 70."""
    sys.stderr.write(f"chamberwatch stops: {why}\n")
    sys.stderr.flush()
    logging.shutdown()
    # Not sys.exit: from any thread but the first it would end only that thread.
    os._exit(EXIT_CODE)


def install_thread_guard(on_death: Callable[[str], None] = end_process) -> Callable[[], None]:
    """From now on log the traceback of a thread that dies, then call `on_death` with one line about it.

    Returns:
        A function that puts the former hook back.
    """
    former = threading.excepthook

    def hook(args: threading.ExceptHookArgs) -> None:
        name = args.thread.name if args.thread is not None else "unknown"
        why = f"thread {name!r} died: {args.exc_type.__name__}: {args.exc_value}"
        _log.critical("%s", why, exc_info=args.exc_value)
        on_death(why)

    threading.excepthook = hook

    def restore() -> None:
        threading.excepthook = former

    return restore
