"""What a failed write means and what to do about it (pure)."""

from __future__ import annotations

import time
from email.utils import parsedate_to_datetime
from enum import Enum, auto
from typing import NamedTuple

SETTINGS_WAIT_S = 900.0
"""A fault of the settings does not mend itself: look again this often [s]."""
LONGEST_WAIT_S = 3_600.0
"""A server may ask for a longer pause; it is not given [s]."""


class Act(Enum):
    """What to do after a failed write."""

    SPLIT = auto()
    """A line in it is bad: halve until it is found."""
    SHRINK = auto()
    """Too much at once: smaller batches from now on."""
    WAIT = auto()
    """Try the same again later."""


class Fault(NamedTuple):
    """A failed write. `wait_s`: how long to wait, None = by the number of failures."""

    act: Act
    words: str
    wait_s: float | None = None
    shaken: bool = False
    """The server may have gone down, and with it what it took a moment before."""


def of_status(status: int, retry_after: str | None, message: str, now_s: float | None = None) -> Fault:
    """Return what an HTTP answer other than success means. `message`: its own; `now_s`: Unix time."""
    said = f": {message}" if message else ""
    if status in (400, 422):
        return Fault(Act.SPLIT, f"the server refused a row ({status}){said}")
    if status == 413:  # noqa: PLR2004
        return Fault(Act.SHRINK, "the server takes only smaller batches (413)")
    if status in (401, 403):
        words = f"the server does not accept the token ({status}): check it, and that it may write there"
        return Fault(Act.WAIT, words + said, SETTINGS_WAIT_S)
    if status == 404:  # noqa: PLR2004
        words = "the server knows no such address, org or bucket (404): check all three"
        return Fault(Act.WAIT, words + said, SETTINGS_WAIT_S)
    if 300 <= status < 400:  # noqa: PLR2004
        words = f"the server points elsewhere ({status}): set the url it points to"
        return Fault(Act.WAIT, words + said, SETTINGS_WAIT_S)
    busy = {429: "the server asks us to slow down (429)", 503: "the server is not ready (503)"}
    asked_s = _retry_after_s(retry_after, time.time() if now_s is None else now_s)
    words = busy.get(status, f"the server failed ({status}){said}")
    return Fault(Act.WAIT, words, asked_s, shaken=status >= 500)  # noqa: PLR2004


def of_network(error: Exception, where: str) -> Fault:
    """Return what it means when no answer came. `where` is the server's address."""
    known = {
        "NewConnectionError": "nothing answers there",
        "NameResolutionError": "its name is not known",
        "ConnectTimeoutError": "it does not answer in time",
        "ReadTimeoutError": "it took the rows but does not answer in time",
        "ProtocolError": "it broke the connection off",
        "SSLError": "its certificate is not accepted",
    }
    name = type(error).__name__
    return Fault(Act.WAIT, f"no answer from {where}: {known.get(name, name)}", shaken=True)


def rest_s(failures: int, chance: float, first_s: float, longest_s: float) -> float:
    """How long to wait after so many failures in a row (1 = the first) [s]; `chance` in 0..1 gives ±20 %.

    Doubles from `first_s` to `longest_s`. The exponent is capped before use: a float power overflows.
    """
    doubled_s = min(longest_s, first_s * 2.0 ** min(failures - 1, 20))
    return min(longest_s, doubled_s * (0.8 + 0.4 * chance))


def _retry_after_s(text: str | None, now_s: float) -> float | None:
    """Read a Retry-After header (RFC 9110 §10.2.3): seconds, or a date; None when there is none to read."""
    if text is None:
        return None
    try:
        asked_s = float(text) if text.strip().isdigit() else parsedate_to_datetime(text).timestamp() - now_s
    except ValueError:
        return None
    return min(LONGEST_WAIT_S, max(0.0, asked_s))
