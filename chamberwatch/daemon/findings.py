"""What `check` found of one part, and the patience to wait for it."""

from __future__ import annotations

import time
from collections.abc import Callable
from enum import StrEnum
from typing import NamedTuple


class State(StrEnum):
    """How a part is."""

    WELL = "well"
    REMARK = "remark"
    FAULT = "fault"


SIGNS = {State.WELL: "ok  ", State.REMARK: "look", State.FAULT: "MEND"}


class Finding(NamedTuple):
    """What was looked at, how it is, and what to do."""

    state: State
    about: str
    text: str


def await_(condition: Callable[[], bool], longest_s: float) -> bool:
    """Return whether the condition comes about within `longest_s` [s]."""
    deadline_s = time.monotonic() + longest_s
    while not condition():
        if time.monotonic() >= deadline_s:
            return False
        time.sleep(0.05)
    return True
