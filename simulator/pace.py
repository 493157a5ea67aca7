"""How fast a weekend is spoken: as fast as the listener takes it, or some factor of the wall clock."""

from __future__ import annotations

import time

from simulator.table import Misunderstood

SLICE_MS = 30_000
"""At most so much of the story goes out before everybody has listened (see `speak.Ports`)."""

TURN_S = 0.2
"""At a factor, a slice is what the story covers in so much real time, so that lines still come one by one."""

SLOWEST, FASTEST = 0.01, 100_000.0


class Pace:
    """`factor` None: as fast as it goes; 1: the wall clock; 3600: an hour a second."""

    def __init__(self, factor: float | None) -> None:
        if factor is not None and not SLOWEST <= factor <= FASTEST:
            raise Misunderstood(f"a pace of {factor:g} times is not within {SLOWEST:g} to {FASTEST:g}")
        self.factor = factor
        self._from_ms = 0
        self._from_s = 0.0

    @property
    def slice_ms(self) -> int:
        """How much of the story goes out at once [ms]."""
        if self.factor is None:
            return SLICE_MS
        return max(1, min(SLICE_MS, round(self.factor * TURN_S * 1000)))

    def begin(self, at_ms: int) -> None:
        """Let the story's `at_ms` be now."""
        self._from_ms, self._from_s = at_ms, time.monotonic()

    def wait(self, at_ms: int) -> None:
        """Return when the story's `at_ms` has come; at once if it is past or there is no factor."""
        if self.factor is None:
            return
        due_s = self._from_s + (at_ms - self._from_ms) / 1000 / self.factor
        time.sleep(max(0.0, due_s - time.monotonic()))


def pace_of(text: str) -> Pace:
    """Return the pace a person wrote: "max" or a number; Misunderstood if it is neither."""
    if text == "max":
        return Pace(None)
    try:
        factor = float(text)
    except ValueError:
        raise Misunderstood(f'a pace is "max" or a number such as 1 or 600, not {text!r}') from None
    return Pace(factor)
