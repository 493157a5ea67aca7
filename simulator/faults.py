"""The cast of faults: what can go wrong, with the plant or with a probe, from when to when."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from simulator.plant import Hands

if TYPE_CHECKING:
    from collections.abc import Iterable


class Trouble(StrEnum):
    """The names a weekend's file uses."""

    COMPRESSOR_DEAD = "compressor dead"
    HUMIDIFIER_EMPTY = "humidifier empty"
    DOOR_AJAR = "door ajar"
    POWER_OFF = "power off"
    UNPLUGGED = "unplugged"
    FROZEN = "frozen"
    GLITCHES = "glitches"
    HALF_LINES = "half lines"
    GARBAGE = "garbage"


OF_PROBES = frozenset(
    {Trouble.UNPLUGGED, Trouble.FROZEN, Trouble.GLITCHES, Trouble.HALF_LINES, Trouble.GARBAGE}
)


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault, active from `from_ms` up to, not including, `to_ms`.

    `how_far`: how wide the door stands open (0..1), or the share of lines that glitch or break (0..1).
    """

    what: Trouble
    from_ms: int
    to_ms: int
    probe: str | None = None
    how_far: float = 1.0

    def __post_init__(self) -> None:
        if self.to_ms <= self.from_ms:
            raise ValueError(f"{self.what}: it ends before it begins")
        if not 0.0 < self.how_far <= 1.0:
            raise ValueError(f"{self.what}: how_far {self.how_far:g} is not above 0 and at most 1")
        if (self.probe is not None) != (self.what in OF_PROBES):
            wants = "needs a probe" if self.what in OF_PROBES else "is the chamber's and takes no probe"
            raise ValueError(f"{self.what}: {wants}")

    def on(self, at_ms: int) -> bool:
        """Return whether the fault is there at that time."""
        return self.from_ms <= at_ms < self.to_ms


def hands_at(faults: Iterable[Fault], at_ms: int) -> Hands:
    """Return what the chamber's own faults do to the plant at that time."""
    hands = Hands()
    for fault in faults:
        if not fault.on(at_ms):
            continue
        if fault.what is Trouble.DOOR_AJAR:
            hands.door = max(hands.door, fault.how_far)
        elif fault.what is Trouble.COMPRESSOR_DEAD:
            hands.compressor_works = False
        elif fault.what is Trouble.HUMIDIFIER_EMPTY:
            hands.tank_runs_dry = True
        elif fault.what is Trouble.POWER_OFF:
            hands.powered = False
    return hands


def probe_faults(faults: Iterable[Fault], probe: str, at_ms: int) -> dict[Trouble, Fault]:
    """Return the faults one probe has at that time."""
    return {f.what: f for f in faults if f.probe == probe and f.on(at_ms)}
