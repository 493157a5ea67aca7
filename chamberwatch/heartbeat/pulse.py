"""A sign of life to an address on the web, so that somebody else notices when this board dies.

Promises:
- Only while the watch goes round and the journal can be written: a pulse is sent only if `alive` was called
  within the last FRESH_S. The loop calls it after a turn that committed or had nothing to commit.
- Never in the way: a thread of its own, a time limit on each try; `alive` does nothing but note the time.
- A failure is tried again after 5 s, then ever more slowly, but at least every `every_s` or 15 min; logged
  when it begins and when it is over. The address is a secret: no text and no log line holds any part of it.
"""

from __future__ import annotations

import logging
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass, field
from http.client import HTTPException
from typing import NamedTuple

FRESH_S = 45.0
"""Two commits of a watch with a full inbox; a healthy one goes round every second."""
FIRST_REST_S, LONGEST_REST_S = 5.0, 900.0
TIMEOUT_S = 10.0
ANSWER_BYTES = 1024

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class PulsePlan:
    """Where to (secret), and how often [s]."""

    url: str = field(repr=False)
    every_s: float = 60.0

    def __post_init__(self) -> None:
        if not self.url.startswith(("http://", "https://")) or any(c.isspace() for c in self.url):
            raise ValueError("the address must begin with http:// or https:// and hold no blank")


class PulseStatus(NamedTuple):
    """How it does. `problem`: the last failure in plain words, None once one went through."""

    sent: int = 0
    failed: int = 0
    problem: str | None = None


def ping(url: str, timeout_s: float = TIMEOUT_S) -> str | None:
    """Ask for the address once; return None if it answered with success, else why not in plain words."""
    try:
        request = urllib.request.Request(url, headers={"User-Agent": "chamberwatch"})  # noqa: S310  http(s) only, by the plan
        with urllib.request.urlopen(request, timeout=timeout_s) as answer:  # noqa: S310
            answer.read(ANSWER_BYTES)
    except urllib.error.HTTPError as fault:
        fault.close()
        return f"it answers {fault.code}, which is no success"
    except urllib.error.URLError as fault:
        # Of a library's text nothing is passed on: it may hold the address.
        return f"no connection ({type(fault.reason).__name__})"
    except TimeoutError:
        return f"no answer within {timeout_s:g} s"
    except (OSError, HTTPException, ValueError) as fault:
        return f"no proper answer ({type(fault).__name__})"
    return None


class Pulse:
    """The thread that sends it."""

    def __init__(
        self,
        plan: PulsePlan,
        *,
        send: Callable[[str], str | None] = ping,
        first_rest_s: float = FIRST_REST_S,
        fresh_s: float = FRESH_S,
    ) -> None:
        self._plan, self._send = plan, send
        self._first_rest_s, self._fresh_s = first_rest_s, fresh_s
        self._alive_s: float | None = None
        self._ending = threading.Event()
        self._failures = 0
        self._status = PulseStatus()
        self._thread = threading.Thread(target=self._run, name="heartbeat", daemon=True)

    def alive(self) -> None:
        """Note that the watch goes round and its journal can be written. From any thread, at once."""
        self._alive_s = time.monotonic()

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def stop(self, timeout_s: float) -> None:
        """Send no more; a try that is on its way is not waited for longer than `timeout_s`."""
        self._ending.set()
        if self._thread.ident is not None:
            self._thread.join(timeout_s)

    def status(self) -> PulseStatus:
        """Return how it does."""
        return self._status

    def _run(self) -> None:
        while not self._ending.wait(self._round()):
            pass

    def _round(self) -> float:
        """Send one if the watch lives; return the seconds until the next."""
        if self._alive_s is None or time.monotonic() - self._alive_s > self._fresh_s:
            return min(1.0, self._plan.every_s)  # looked at again soon: it may have come back
        try:
            why = self._send(self._plan.url)
        except Exception as fault:  # noqa: BLE001  whatever it is, it must not end the watch
            why = f"a fault of our own ({type(fault).__name__})"
        return self._went_through() if why is None else self._missed(why)

    def _went_through(self) -> float:
        if self._status.problem is not None:
            _log.info("heartbeat: goes through again")
        self._failures = 0
        self._status = self._status._replace(sent=self._status.sent + 1, problem=None)
        return self._plan.every_s

    def _missed(self, why: str) -> float:
        if self._status.problem != why:
            _log.warning("heartbeat: %s; tried again", why)
        rest_s = self._first_rest_s * 2.0 ** min(self._failures, 20)
        self._failures += 1
        self._status = self._status._replace(failed=self._status.failed + 1, problem=why)
        return min(rest_s, LONGEST_REST_S, self._plan.every_s)
