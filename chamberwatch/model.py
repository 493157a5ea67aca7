"""What every layer speaks: readings, refusals, events, pieces, the plan of a house.

Rules for this file: immutable values only; no behaviour beyond construction checks; a unit in every
physical name; time is integer milliseconds of UTC since 1970 (`at_ms`), one form everywhere inside.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

MS_PER_S = 1_000
MS_PER_MIN = 60_000
MS_PER_H = 3_600_000
MS_PER_DAY = 86_400_000

# What a probe in a cure chamber can honestly report: the datasheet span of common digital T/RH elements.
PROBE_TEMP_MIN_C, PROBE_TEMP_MAX_C = -40.0, 85.0
PROBE_RH_MIN_PCT, PROBE_RH_MAX_PCT = 0.0, 100.0


class Reading(NamedTuple):
    """One probe's air at one time. A tuple, not a dataclass: tens of thousands a second are made.

    `temp_c` and `rh_pct` are rounded to 0.01, the journal's resolution, so that a restarted engine judges
    exactly the stored values. One of them may be missing (None), never both.
    """

    probe: str
    at_ms: int
    temp_c: float | None
    rh_pct: float | None
    arrived_ms: int
    timed: bool = True
    """False: the payload carried no time and `at_ms` is its arrival."""


class Reason(StrEnum):
    """Why input was refused; the value is what a person reads."""

    NOT_TEXT = "not UTF-8 text"
    NOT_JSON = "not whole JSON"
    NOT_A_PACK = "not a SenML pack"
    VERSION = "SenML version not understood"
    MUST_UNDERSTAND = "a SenML field that must be understood is not"
    BAD_NAME = "bad name"
    NO_VALUE = "no value"
    NOT_A_NUMBER = "not a number"
    WRONG_UNIT = "wrong unit"
    OUT_OF_RANGE = "outside what a probe can measure"
    NO_QUANTITY = "neither temperature nor humidity"
    WRONG_PROBE = "wrong probe"
    UNKNOWN_PROBE = "unknown probe"
    NO_PROBE = "no probe named"
    TOO_LONG = "too long"
    BAD_TIME = "bad time"
    FUTURE = "time in the future"


class Refusal(NamedTuple):
    """One piece of input that did not become a reading."""

    probe: str | None
    reason: Reason
    detail: str
    arrived_ms: int


class Kind(StrEnum):
    """What an event is about. The names are a contract with whoever reads the event lines."""

    TEMPERATURE_HIGH = "temperature-high"
    TEMPERATURE_LOW = "temperature-low"
    HUMIDITY_HIGH = "humidity-high"
    HUMIDITY_LOW = "humidity-low"
    PROBE_SILENT = "probe-silent"
    PROBE_IMPLAUSIBLE = "probe-implausible"
    MONITOR_GAP = "monitor-gap"
    BROKER_LOST = "broker-lost"
    TEMPERATURE_DRIFT = "temperature-drift"
    HUMIDITY_DRIFT = "humidity-drift"
    HUMIDITY_SWING = "humidity-swing"
    CONDENSATION_RISK = "condensation-risk"
    COOLING_LOST = "cooling-lost"
    DOOR_OPEN = "door-open"
    PROBE_STUCK = "probe-stuck"
    PROBES_DISAGREE = "probes-disagree"
    CLOCK_STEP = "clock-step"
    DISK_LOW = "disk-low"
    CHANNEL_FAILING = "channel-failing"


class EventState(StrEnum):
    """One `active` and one `returned` an occurrence; everything else is `noted`."""

    ACTIVE = "active"
    RETURNED = "returned"
    NOTED = "noted"


class Priority(StrEnum):
    """ISA-18.2's three common levels."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


class Note(StrEnum):
    """What a `noted` event notes (and '' for the two edges)."""

    EDGE = ""
    PROBE_JOINED = "probe-joined"
    PROBE_LEFT = "probe-left"
    RAISED = "raised"
    STILL = "still"
    ACKNOWLEDGED = "acknowledged"
    FACT = "fact"
    SHELVED = "shelved"
    UNSHELVED = "unshelved"
    RESTS = "rests"
    WORKS = "works"


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened in a chamber.

    `at_ms` is when the rule's condition was met, `since_ms` when it began. `value` and `limit` carry the
    kind's unit (°C, %RH, minutes; see `rules.catalogue`). `worst` is the furthest value of the occurrence.
    """

    id: str
    at_ms: int
    since_ms: int
    kind: Kind
    state: EventState
    priority: Priority
    chamber: str
    probes: tuple[str, ...]
    value: float | None = None
    limit: float | None = None
    because: str | None = None
    note: Note = Note.EDGE
    worst: float | None = None
    late_ms: int = 0
    """How much later than `at_ms` the readings arrived (a broker's backlog); 0 when told in time."""
    detail: str = ""
    """Who acknowledged; which of a kind's tests; which half of a probe."""
    meets_ms: int | None = None
    """A drift: when its line meets the limit."""
    quiet: bool = False
    """Somebody asked for quiet about this: it is recorded, but nobody is told."""


class AlarmState(StrEnum):
    """ANSI/ISA-18.2's states of an alarm that is not normal (its letters B, C, D, G, from memory)."""

    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned"
    """Back to normal before anyone had acknowledged it."""
    SHELVED = "shelved"
    """Quiet until a time that always comes."""


class ChamberKind(StrEnum):
    """What a chamber is for; the judging differs."""

    CURE_CHAMBER = "cure-chamber"
    COLD = "cold"
    ROOM = "room"


def _check(cond: bool, what: str) -> None:
    if not cond:
        raise ValueError(what)


@dataclass(frozen=True, slots=True)
class Band:
    """Planned air of one quantity: limits in its unit, patience in unit·minutes outside before the alarm."""

    low: float
    high: float
    patience: float

    def __post_init__(self) -> None:
        _check(
            all(map(math.isfinite, (self.low, self.high, self.patience))), "a band's numbers must be finite"
        )
        _check(self.low < self.high, f"low {self.low:g} must be below high {self.high:g}")
        _check(self.patience > 0, f"patience {self.patience:g} must be above 0")


@dataclass(frozen=True, slots=True)
class Phase:
    """The planned humidity of the first days of a hang: up to `until_day` (by the youngest piece), %RH."""

    until_day: float
    humidity_low_pct: float
    humidity_high_pct: float

    def __post_init__(self) -> None:
        _check(self.until_day > 0, f"until_day {self.until_day:g} must be above 0")
        _check(
            0 <= self.humidity_low_pct < self.humidity_high_pct <= PROBE_RH_MAX_PCT,
            f"humidity {self.humidity_low_pct:g} to {self.humidity_high_pct:g} %RH is not a band in 0 to 100",
        )


@dataclass(frozen=True, slots=True)
class ChamberPlan:
    """One chamber: °C, °C·min; %RH, %RH·min; °C beyond which it is urgent."""

    name: str
    kind: ChamberKind
    temperature: Band
    humidity: Band
    urgent_low_c: float = 1.0
    urgent_high_c: float = 18.0
    phases: tuple[Phase, ...] = ()


@dataclass(frozen=True, slots=True)
class ProbePlan:
    """One probe: where it hangs, how often it speaks [s], how exact it is."""

    name: str
    chamber: str
    every_s: float = 10.0
    accuracy_c: float = 0.3
    accuracy_pct: float = 2.5
    over_broker: bool = False

    def __post_init__(self) -> None:
        _check(
            0 < self.every_s * MS_PER_S <= MS_PER_DAY,
            f"every {self.every_s:g} s must be above 0 and at most 86400 s",
        )


@dataclass(frozen=True, slots=True)
class Plan:
    """The house as the engine sees it."""

    chambers: tuple[ChamberPlan, ...]
    probes: tuple[ProbePlan, ...]

    def __post_init__(self) -> None:
        names = [c.name for c in self.chambers]
        _check(len(set(names)) == len(names), "two chambers have one name")
        probes = [p.name for p in self.probes]
        _check(len(set(probes)) == len(probes), "two probes have one name")
        for p in self.probes:
            _check(p.chamber in names, f"probe {p.name}: chamber {p.chamber!r} is not planned")

    def chamber(self, name: str) -> ChamberPlan:
        """Return the chamber of that name; KeyError if there is none."""
        for c in self.chambers:
            if c.name == name:
                return c
        raise KeyError(name)


class Shape(StrEnum):
    """Round pieces are measured by diameter, flat ones by thickness."""

    ROUND = "round"
    SLAB = "slab"


class Stage(StrEnum):
    """Where a piece is on its way, in the trade's words."""

    SALTING = "salting"
    EQUALISING_SALT = "equalising salt"
    CASING = "casing and tying"
    DRIPPING = "dripping"
    HANGING = "hanging"
    EQUALISING_MOISTURE = "equalising moisture"
    DONE = "done"
    DISCARDED = "discarded"


@dataclass(frozen=True, slots=True)
class PieceFacts:
    """What the owner said of a piece. Masses g, lengths mm, parts % of green weight.

    `nitrite_pct` and `nitrate_pct` are what the bag of curing salt says, % of it; `cure_g` what was taken.
    """

    name: str
    kind: str
    green_weight_g: float
    diameter_mm: float | None = None
    thickness_mm: float | None = None
    length_mm: float | None = None
    casing: str = "none"
    salt_pct: float | None = None
    fat: str = "medium"
    target_loss_pct: float = 35.0
    tare_g: float = 0.0
    species: str = ""
    source: str = ""
    fan: str = "unknown"
    nitrite_pct: float | None = None
    nitrate_pct: float | None = None
    cure_g: float | None = None


@dataclass(frozen=True, slots=True)
class Hanging:
    """A piece as an event meets it: its name and the day of its hang (1 = the first 24 h)."""

    name: str
    day: int


class HangingTime(NamedTuple):
    """One piece's stay: first hung at `hung_ms` (wherever that was), here from `from_ms` up to `to_ms`."""

    hung_ms: int
    from_ms: int
    to_ms: int | None


@dataclass(frozen=True, slots=True)
class Alarm:
    """An open alarm as the journal keeps it and `now` shows it."""

    chamber: str
    kind: Kind
    acknowledged: bool
    since_ms: int
    at_ms: int
    priority: Priority
    probes: tuple[str, ...]
    value: float | None
    limit: float | None
    event_id: str
    """The id of the `active` event that opened it."""
    acknowledged_by: str = ""
    because: str | None = None
    detail: str = ""
    meets_ms: int | None = None
    worst: float | None = None
    returned_ms: int | None = None
    """When it went back to normal, unacknowledged; None while it stands."""
    shelved_until_ms: int | None = None
    """Until when it is to be quiet; None: it is not."""

    @property
    def state(self) -> AlarmState:
        """Where it is in its life."""
        if self.returned_ms is not None:
            return AlarmState.RETURNED
        if self.shelved_until_ms is not None:
            return AlarmState.SHELVED
        return AlarmState.ACKNOWLEDGED if self.acknowledged else AlarmState.UNACKNOWLEDGED
