"""One-minute means of one probe: what the slow rules look at. A bounded, exact reduction of the readings.

Missing input: a minute without a reading does not exist (no filling). Late input never comes here.
"""

from __future__ import annotations

from typing import NamedTuple

from chamberwatch.model import MS_PER_MIN


class Minute(NamedTuple):
    """The mean air [°C, %RH] of one minute that ended at `at_ms`; a half that was not measured is None.

    Rounded to 0.001, finer than any probe: what is kept of it stays short.
    """

    at_ms: int
    temp_c: float | None
    rh_pct: float | None


class Accumulator:
    """The minute under way. Mutable, since it moves with every reading; a fold all the same."""

    __slots__ = ("_length_ms", "number", "rh_sum", "rhs", "temp_sum", "temps")

    def __init__(self, length_ms: int = MS_PER_MIN) -> None:
        self._length_ms = length_ms
        self.number = -1
        self.temp_sum = self.rh_sum = 0.0
        self.temps = self.rhs = 0

    def add(self, at_ms: int, temp_c: float | None, rh_pct: float | None) -> Minute | None:
        """Add one reading; return the minute it closed, if it did.

        Args:
            at_ms: the reading's time; one of a minute that is closed already (the gate held it back while the
            other half went on) counts in the minute under way.
            temp_c: [°C] or None.
            rh_pct: [%RH] or None.
        """
        number = max(at_ms // self._length_ms, self.number)
        closed = None
        if number != self.number:
            closed = self.mean()
            self.number, self.temp_sum, self.rh_sum, self.temps, self.rhs = number, 0.0, 0.0, 0, 0
        if temp_c is not None:
            self.temp_sum += temp_c
            self.temps += 1
        if rh_pct is not None:
            self.rh_sum += rh_pct
            self.rhs += 1
        return closed

    def mean(self) -> Minute | None:
        """Return the minute as if it closed now; None if it holds nothing."""
        if self.temps == 0 and self.rhs == 0:
            return None
        temp_c = round(self.temp_sum / self.temps, 3) if self.temps else None
        rh_pct = round(self.rh_sum / self.rhs, 3) if self.rhs else None
        return Minute((self.number + 1) * self._length_ms, temp_c, rh_pct)

    def to_json(self) -> list[float]:
        """Return the state as JSON values."""
        return [self.number, self.temp_sum, self.temps, self.rh_sum, self.rhs]

    def from_json(self, body: list[float]) -> None:
        """Restore what `to_json` returned."""
        self.number, self.temps, self.rhs = int(body[0]), int(body[2]), int(body[4])
        self.temp_sum, self.rh_sum = body[1], body[3]
