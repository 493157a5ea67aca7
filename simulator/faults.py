"""The cast of faults: what can go wrong, with the plant or with a probe, from when to when."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from chamberwatch.model import MS_PER_H
from simulator.air import sat_pressure_pa
from simulator.plant import Hands
from simulator.weather import RoomAir

if TYPE_CHECKING:
    from collections.abc import Iterable


class Trouble(StrEnum):
    """The names a weekend's file uses. What `how_far` and `amount` mean for each stands in `MEANT`."""

    COMPRESSOR_DEAD = "compressor dead"
    COMPRESSOR_WEAK = "compressor weak"
    COMPRESSOR_STUCK_ON = "compressor stuck on"
    THERMOSTAT_MOVED = "thermostat moved"
    COIL_ICED = "coil iced"
    FAN_DEAD = "fan dead"
    DEFROST = "defrost"
    HEATER_STUCK = "heater stuck"
    HUMIDIFIER_EMPTY = "humidifier empty"
    HUMIDIFIER_WEAK = "humidifier weak"
    HUMIDIFIER_JAMMED_ON = "humidifier jammed on"
    HYGROSTAT_MOVED = "hygrostat moved"
    HYGROSTAT_BREATHES = "hygrostat breathes"
    HYGROSTAT_SET_BACK = "hygrostat set back"
    DRYER_MOVED = "dryer moved"
    DRYER_STUCK_ON = "dryer stuck on"
    WET_THING = "wet thing"
    SEAL_WORN = "seal worn"
    DOOR_AJAR = "door ajar"
    POWER_OFF = "power off"
    HOT_DAYS = "hot days"
    HUMID_DAYS = "humid days"
    UNPLUGGED = "unplugged"
    FROZEN = "frozen"
    FROZEN_HUMIDITY = "frozen humidity"
    CREEPING = "creeping"
    NOISY = "noisy"
    PINNED_DAMP = "pinned damp"
    MOVED_OUT = "moved out"
    SWAPPED = "swapped"
    GLITCHES = "glitches"
    HALF_LINES = "half lines"
    GARBAGE = "garbage"
    CLOCK_OFF = "clock off"
    HELD_UP = "held up"
    OUT_OF_ORDER = "out of order"
    TWICE = "twice"


MEANT: dict[Trouble, str] = {
    Trouble.COMPRESSOR_WEAK: "how_far: share of its power that is lost",
    Trouble.THERMOSTAT_MOVED: "amount: K warmer",
    Trouble.COIL_ICED: "how_far: share of the coil's exchange that is lost",
    Trouble.HUMIDIFIER_WEAK: "how_far: share of the mist that is lost",
    Trouble.HYGROSTAT_MOVED: "amount: %RH damper",
    Trouble.HYGROSTAT_BREATHES: "amount: %RH, half of its daily swing",
    Trouble.HYGROSTAT_SET_BACK: "amount: %RH, half the step between 12 damp hours and 12 dry",
    Trouble.DRYER_MOVED: "amount: %RH damper (below 0: it dries sooner)",
    Trouble.WET_THING: "amount: g/h that evaporate at first; they halve every `halves_h`",
    Trouble.SEAL_WORN: "amount: times its usual leak",
    Trouble.DOOR_AJAR: "how_far: how wide it stands open",
    Trouble.HOT_DAYS: "amount: K the room is warmer",
    Trouble.HUMID_DAYS: "amount: Pa of vapour more in the room",
    Trouble.CREEPING: "amount: %RH an hour",
    Trouble.NOISY: "amount: standard deviation, °C; five times that in %RH",
    Trouble.SWAPPED: "amount: °C of the other chamber it was hung back into",
    Trouble.GLITCHES: "how_far: share of readings",
    Trouble.HALF_LINES: "how_far: share of lines",
    Trouble.CLOCK_OFF: "amount: s that the probe's clock is ahead",
    Trouble.OUT_OF_ORDER: "amount: s by which a line may be late",
    Trouble.TWICE: "how_far: share of lines that come twice",
}

OF_PROBES = frozenset(
    {
        Trouble.UNPLUGGED, Trouble.FROZEN, Trouble.FROZEN_HUMIDITY, Trouble.CREEPING, Trouble.NOISY,
        Trouble.PINNED_DAMP, Trouble.MOVED_OUT, Trouble.SWAPPED, Trouble.GLITCHES, Trouble.HALF_LINES,
        Trouble.GARBAGE, Trouble.CLOCK_OFF, Trouble.HELD_UP, Trouble.OUT_OF_ORDER, Trouble.TWICE,
    }
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault, active from `from_ms` up to, not including, `to_ms`.

    `how_far`: how wide the door stands open, or what share is lost (0..1); `amount`: a size in the fault's
    own unit; see `MEANT`. `ramp_h`: hours over which it grows from nothing to that, evenly.
    """

    what: Trouble
    from_ms: int
    to_ms: int
    probe: str | None = None
    how_far: float = 1.0
    amount: float = 0.0
    ramp_h: float = 0.0
    halves_h: float = 12.0

    def __post_init__(self) -> None:
        if self.to_ms <= self.from_ms:
            raise ValueError(f"{self.what}: it ends before it begins")
        if not 0.0 < self.how_far <= 1.0:
            raise ValueError(f"{self.what}: how_far {self.how_far:g} is not above 0 and at most 1")
        if not (self.ramp_h >= 0.0 and self.halves_h > 0.0):
            raise ValueError(f"{self.what}: ramp_h must not be below 0, and halves_h must be above 0")
        if (self.probe is not None) != (self.what in OF_PROBES):
            wants = "needs a probe" if self.what in OF_PROBES else "is the chamber's and takes no probe"
            raise ValueError(f"{self.what}: {wants}")

    def hours(self, at_ms: int) -> float:
        """Return how long it has lasted [h]."""
        return (at_ms - self.from_ms) / MS_PER_H

    def grown(self, at_ms: int) -> float:
        """Return how much of it is there by then, 0..1."""
        return min(self.hours(at_ms) / self.ramp_h, 1.0) if self.ramp_h else 1.0

    def on(self, at_ms: int) -> bool:
        """Return whether the fault is there at that time."""
        return self.from_ms <= at_ms < self.to_ms


def hands_at(faults: Iterable[Fault], at_ms: int) -> Hands:
    """Return what the chamber's own faults do to the plant at that time."""
    hands = Hands()
    for fault in faults:
        if fault.on(at_ms) and fault.what not in OF_PROBES:
            _lay_on(hands, fault, at_ms)
    return hands


SWITCHES = {
    Trouble.COMPRESSOR_DEAD: ("compressor_works", False),
    Trouble.COMPRESSOR_STUCK_ON: ("stuck_on", True),
    Trouble.FAN_DEAD: ("fan_works", False),
    Trouble.DEFROST: ("defrosting", True),
    Trouble.HEATER_STUCK: ("heater_stuck", True),
    Trouble.HUMIDIFIER_EMPTY: ("tank_runs_dry", True),
    Trouble.HUMIDIFIER_JAMMED_ON: ("mist_stuck", True),
    Trouble.DRYER_STUCK_ON: ("dryer_stuck", True),
    Trouble.POWER_OFF: ("powered", False),
}
LOST = {
    Trouble.COMPRESSOR_WEAK: "cooling_part",
    Trouble.COIL_ICED: "coil_part",
    Trouble.HUMIDIFIER_WEAK: "mist_part",
}
ADDED = {
    Trouble.THERMOSTAT_MOVED: "thermostat_c",
    Trouble.HYGROSTAT_MOVED: "hygrostat_pct",
    Trouble.DRYER_MOVED: "dryer_pct",
}
HALF_DAY_H = 12.0


def _lay_on(hands: Hands, fault: Fault, at_ms: int) -> None:
    what, grown = fault.what, fault.grown(at_ms)
    if what in SWITCHES:
        name, value = SWITCHES[what]
        setattr(hands, name, value)
    elif what in LOST:
        setattr(hands, LOST[what], getattr(hands, LOST[what]) * (1.0 - fault.how_far * grown))
    elif what in ADDED:
        setattr(hands, ADDED[what], getattr(hands, ADDED[what]) + fault.amount * grown)
    elif what is Trouble.HYGROSTAT_BREATHES:
        hands.hygrostat_pct += fault.amount * math.sin(math.tau * fault.hours(at_ms) / 24.0)
    elif what is Trouble.HYGROSTAT_SET_BACK:
        hands.hygrostat_pct += fault.amount * (1.0 if fault.hours(at_ms) % 24.0 < HALF_DAY_H else -1.0)
    elif what is Trouble.WET_THING:
        hands.wet_kg_per_s += fault.amount * 0.5 ** (fault.hours(at_ms) / fault.halves_h) / 3.6e6
    elif what is Trouble.SEAL_WORN:
        hands.leak_times *= 1.0 + (fault.amount - 1.0) * grown
    elif what is Trouble.DOOR_AJAR:
        hands.door = max(hands.door, fault.how_far * grown)


def room_at(faults: Iterable[Fault], room: RoomAir, at_ms: int) -> RoomAir:
    """Return the room's air with hot and humid days on top; no damper than 95 %RH."""
    temp_c, vapour_pa = room
    for fault in faults:
        if fault.on(at_ms) and fault.what is Trouble.HOT_DAYS:
            temp_c += fault.amount * fault.grown(at_ms)
        elif fault.on(at_ms) and fault.what is Trouble.HUMID_DAYS:
            vapour_pa += fault.amount * fault.grown(at_ms)
    return RoomAir(temp_c, min(vapour_pa, 0.95 * sat_pressure_pa(temp_c)))


def probe_faults(faults: Iterable[Fault], probe: str, at_ms: int) -> dict[Trouble, Fault]:
    """Return the faults one probe has at that time."""
    return {f.what: f for f in faults if f.probe == probe and f.on(at_ms)}
