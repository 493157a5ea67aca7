"""The cast of the labelled weekends: every fault with what must be told, by when, and what may be told besides.

A case is a table row; sizes are drawn per seed between the two numbers given. What is told and stands in
neither `must` nor `may` is a wrong alarm. `within` says by when the first of `must` has to be told:
minutes after the onset, or CYCLES (two of the plant's own compressor cycles and 15 min; later if the true air
is not yet 0.5 °C above what it was, and not at all if it never is), or AIR (an hour after
the true air's mean over a cycle, one hour at least, left the band by more than a probe's accuracy; if it never
does there is nothing to tell), DRY20 (10 min after the true air is 20 %RH outside), or SHOWN (half an hour
after a door shows: the true air has been outside what it was in the half day before by 0.5 °C or 5 %RH for
half an hour on end; a gap that compressor and humidifier outrun shows in no air, and nothing is due; a door
session ends first), or OFF5 (when a creeping probe is off by 5 %RH).
"""

from __future__ import annotations

from dataclasses import dataclass

from simulator.faults import Trouble

T = Trouble

CYCLES, AIR, DRY20, SHOWN, OFF5 = "cycles", "air", "dry20", "shown", "off5"

WARM = frozenset({"temperature-high", "temperature-drift"})
CHILL = frozenset({"temperature-low", "temperature-drift"})
DAMP = frozenset({"humidity-high", "humidity-drift"})
DRY = frozenset({"humidity-low", "humidity-drift"})
SWING = frozenset({"humidity-swing"})
DEW = frozenset({"condensation-risk"})
COOL = frozenset({"cooling-lost"})
DOOR = frozenset({"door-open"})
AIR_KINDS = WARM | CHILL | DAMP | DRY | SWING | DEW
BAND = frozenset({"temperature-high", "temperature-low", "humidity-high", "humidity-low"})
DRIFT = frozenset({"temperature-drift", "humidity-drift"})
NOTHING: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Part:
    """One fault of a case: from `after_h` after the onset on for `hours`, its sizes between two numbers."""

    what: T
    hours: tuple[float, float]
    far: tuple[float, float] = (1.0, 1.0)
    amount: tuple[float, float] = (0.0, 0.0)
    ramp_h: tuple[float, float] = (0.0, 0.0)
    after_h: float = 0.0
    probe: str | None = None
    """"rear", "front" or "all"."""
    halves_h: float = 12.0


@dataclass(frozen=True, slots=True)
class Case:
    """One labelled fault."""

    name: str
    parts: tuple[Part, ...]
    must: frozenset[str] = NOTHING
    within: float | str = AIR
    may: frozenset[str] = NOTHING
    slow: bool = False
    """It may be slow; whether it is, the air says (SLOW_H)."""
    lone: bool = False
    """Only one probe hangs in the chamber."""
    over_broker: bool = False
    tail_h: float = 2.0
    hangs: bool = False
    """A new piece is hung at the onset, and the monitor is told."""
    tends: tuple[float, ...] = ()
    """Door sessions, hours after the onset."""
    onset_hour: tuple[float, float] = (8.0, 30.0)
    causes: int = 1
    """How many first causes it may be told as: a swing that leaves the band each half day is told each time,
    and on the first day a step up and one down are as good as drifts."""
    offset: float = 1.0
    """How much of their accuracy the probes are off by."""
    humidity_pct: tuple[float, float] = (73.5, 76.0)
    """Where the humidifier is set."""


def _p(what: T, lo: float, hi: float, **more: object) -> Part:
    return Part(what, (lo, hi), **more)  # type: ignore[arg-type]


_COOLING = WARM | COOL
_ALL = AIR_KINDS | COOL
_CREEP = frozenset({"probes-disagree"})
_STUCK = frozenset({"probe-stuck"})
_SILENT = frozenset({"probe-silent"})
_BAD = frozenset({"probe-implausible"})

CASES: tuple[Case, ...] = (
    # -- cooling ------------------------------------------------------------------------------------------
    Case("cooling-dead", (_p(T.COMPRESSOR_DEAD, 5, 8),), _COOLING, CYCLES, _ALL),
    Case("cooling-dead-lone", (_p(T.COMPRESSOR_DEAD, 5, 8),), _COOLING, CYCLES, _ALL, lone=True),
    Case("cooling-dead-heat", (_p(T.HOT_DAYS, 40, 40, amount=(8, 11), ramp_h=(6, 8), after_h=-7.9),
         _p(T.COMPRESSOR_DEAD, 4, 6)), _COOLING, CYCLES, _ALL, onset_hour=(16.0, 30.0)),
    Case("cooling-dead-cool-room", (_p(T.HOT_DAYS, 60, 60, amount=(-5, -3.5), after_h=-40),
         _p(T.COMPRESSOR_DEAD, 8, 10)), _COOLING, CYCLES, _ALL),
    Case("cooling-weak", (_p(T.COMPRESSOR_WEAK, 20, 24, far=(0.85, 0.95)),), _COOLING | DAMP, AIR, _ALL, slow=True),
    Case("cooling-leaks-away", (_p(T.COMPRESSOR_WEAK, 30, 36, far=(1, 1), ramp_h=(12, 24)),), _COOLING | DAMP, AIR,
         _ALL, slow=True),
    Case("cooling-stuck-on", (_p(T.COMPRESSOR_STUCK_ON, 4, 6),), CHILL, AIR, _ALL - COOL, tail_h=4.0),
    Case("thermostat-too-warm", (_p(T.THERMOSTAT_MOVED, 8, 10, amount=(4, 6)),), _COOLING, AIR, _ALL),
    Case("thermostat-too-cold", (_p(T.THERMOSTAT_MOVED, 8, 10, amount=(-6, -4)),), CHILL, AIR, _ALL - COOL),
    Case("thermostat-creeps-up", (_p(T.THERMOSTAT_MOVED, 26, 30, amount=(5, 6), ramp_h=(16, 20)),), _COOLING,
         AIR, _ALL, slow=True),
    Case("thermostat-creeps-down", (_p(T.THERMOSTAT_MOVED, 26, 30, amount=(-6, -5), ramp_h=(16, 20)),), CHILL,
         AIR, _ALL - COOL, slow=True),
    Case("coil-ices", (_p(T.COIL_ICED, 20, 24, far=(0.92, 0.97), ramp_h=(6, 12)),), _COOLING | DAMP, AIR, _ALL, slow=True),
    # It warms as fast as an open door does: that the door is asked for as well is no wrong alarm.
    Case("heater-stuck", (_p(T.HEATER_STUCK, 10, 14), _p(T.COMPRESSOR_DEAD, 10, 14)), _COOLING, CYCLES, _ALL | DOOR),
    Case("power-cut-long", (_p(T.POWER_OFF, 5, 9),), _COOLING, CYCLES, _ALL),
    Case("power-cut-lone", (_p(T.POWER_OFF, 5, 9),), _COOLING, CYCLES, _ALL, lone=True),
    Case("power-cut-night-heat", (_p(T.HOT_DAYS, 40, 40, amount=(8, 11), ramp_h=(6, 8), after_h=-7.9),
         _p(T.POWER_OFF, 3, 5)), _COOLING, CYCLES, _ALL, onset_hour=(16.0, 30.0)),
    # -- humidity -----------------------------------------------------------------------------------------
    Case("humidifier-empty", (_p(T.HUMIDIFIER_EMPTY, 10, 14),), DRY, AIR, DRY | SWING),
    Case("humidifier-empty-lone", (_p(T.HUMIDIFIER_EMPTY, 10, 14),), DRY, AIR, DRY | SWING, lone=True),
    Case("humidifier-fades", (_p(T.HUMIDIFIER_WEAK, 30, 36, far=(1, 1), ramp_h=(12, 24)),), DRY, AIR, DRY | SWING,
         slow=True),
    Case("humidifier-jammed", (_p(T.HUMIDIFIER_JAMMED_ON, 5, 8),), DAMP | SWING, 240.0, DAMP | SWING | DRY | DEW),
    # Its heat and drought come in as a room's air does: that the door is asked for is no wrong alarm.
    Case("dryer-stuck-on", (_p(T.DRYER_STUCK_ON, 3, 5),), DRY, DRY20, DRY | SWING | WARM | DOOR),
    Case("controls-fight", (_p(T.DRYER_MOVED, 9, 12, amount=(-19, -17.5)),), SWING, 360.0, SWING | DRY | DAMP),
    Case("humidity-breathes", (_p(T.HYGROSTAT_BREATHES, 84, 84, amount=(7, 8)),), SWING, 78 * 60.0,
         SWING | DRY | DAMP, causes=7),
    Case("humidity-set-back", (_p(T.HYGROSTAT_SET_BACK, 84, 84, amount=(4.4, 4.6)),), SWING, 78 * 60.0,
         SWING | DRY | DAMP, causes=4, offset=0.2, humidity_pct=(74.8, 75.2)),
    Case("hygrostat-creeps-down", (_p(T.HYGROSTAT_MOVED, 26, 30, amount=(-15, -12), ramp_h=(16, 24)),), DRY, AIR,
         DRY | SWING, slow=True),
    Case("hygrostat-creeps-up", (_p(T.HYGROSTAT_MOVED, 26, 30, amount=(12, 15), ramp_h=(16, 24)),), DAMP, AIR,
         DAMP | SWING | DEW, slow=True),
    Case("spill", (_p(T.WET_THING, 8, 10, amount=(60, 90), halves_h=20),), DAMP | SWING, AIR, DAMP | SWING | DRY | DEW),
    Case("water-seeps-in", (_p(T.WET_THING, 30, 34, amount=(14, 20), ramp_h=(0, 0), halves_h=60),), DAMP, AIR,
         DAMP | SWING | DRY | DEW),
    Case("dry-air-leaks-in", (_p(T.SEAL_WORN, 30, 36, amount=(25, 40), ramp_h=(12, 20)),
         _p(T.HUMIDIFIER_WEAK, 30, 36, far=(0.9, 0.95))), DRY | WARM, AIR, _ALL),
    # -- door ---------------------------------------------------------------------------------------------
    # Where the compressor runs and loses, "not cooling" is true, and its message asks for the door as well.
    Case("door-ajar", (_p(T.DOOR_AJAR, 3, 5, far=(0.35, 0.6)),), DOOR | DRY | WARM | COOL, SHOWN, _ALL | DOOR),
    Case("door-not-latched", (_p(T.DOOR_AJAR, 0.75, 1.5, far=(0.7, 1.0)),), DOOR | DRY | WARM | COOL, SHOWN, _ALL | DOOR),
    Case("door-ajar-lone", (_p(T.DOOR_AJAR, 3, 5, far=(0.35, 0.6)),), DOOR | DRY | WARM | COOL, SHOWN, _ALL | DOOR, lone=True),
    Case("door-ajar-damp-summer", (_p(T.HOT_DAYS, 40, 40, amount=(7, 9), ramp_h=(4, 6), after_h=-7.9),
         _p(T.HUMID_DAYS, 40, 40, amount=(1700, 2000), ramp_h=(4, 6), after_h=-7.9),
         _p(T.DOOR_AJAR, 2, 4, far=(0.35, 0.8))), DOOR | DAMP | WARM | DEW | COOL, SHOWN, _ALL | DOOR, onset_hour=(16.0, 30.0)),
    Case("door-left-after-weighing", (_p(T.DOOR_AJAR, 3, 4, far=(0.5, 1.0)),), DOOR | DRY | WARM | COOL, SHOWN, _ALL | DOOR,
         tends=(0.0,)),
    # -- weather ------------------------------------------------------------------------------------------
    Case("heat-wave-too-much", (_p(T.HOT_DAYS, 40, 40, amount=(10, 12), ramp_h=(6, 9)),
         _p(T.COMPRESSOR_WEAK, 40, 40, far=(0.55, 0.65))), _COOLING, AIR, _ALL),
    # -- probes -------------------------------------------------------------------------------------------
    Case("unplugged", (_p(T.UNPLUGGED, 2, 4, probe="front"),), _SILENT, 2.0),
    Case("unplugged-both", (_p(T.UNPLUGGED, 2, 4, probe="all"),), _SILENT, 2.0),
    Case("unplugged-lone", (_p(T.UNPLUGGED, 2, 4, probe="rear"),), _SILENT, 2.0, lone=True),
    Case("frozen", (_p(T.FROZEN, 8, 10, probe="front"),), _STUCK, 240.0, _CREEP),
    Case("frozen-humidity", (_p(T.FROZEN_HUMIDITY, 8, 10, probe="rear"),), _STUCK, 240.0, _CREEP),
    Case("frozen-humidity-lone", (_p(T.FROZEN_HUMIDITY, 8, 10, probe="rear"),), _STUCK, 240.0, lone=True),
    Case("creeping-up-slow", (_p(T.CREEPING, 16, 17, amount=(0.3, 0.4), probe="front"),), _CREEP, OFF5),
    Case("creeping-up", (_p(T.CREEPING, 8, 9, amount=(0.6, 0.8), probe="rear"),), _CREEP, OFF5),
    Case("creeping-up-fast", (_p(T.CREEPING, 6, 7, amount=(1.1, 1.2), probe="front"),), _CREEP, OFF5),
    Case("creeping-down", (_p(T.CREEPING, 9, 10, amount=(-0.8, -0.6), probe="front"),), _CREEP, OFF5),
    Case("pinned-damp", (_p(T.PINNED_DAMP, 6, 8, probe="front"),), _STUCK | _CREEP, 240.0, _STUCK | _CREEP),
    Case("pinned-damp-lone", (_p(T.PINNED_DAMP, 6, 8, probe="rear"),), _STUCK | DAMP, 240.0, _STUCK | DAMP | DEW, lone=True),
    Case("noisy", (_p(T.NOISY, 6, 8, amount=(8, 12), probe="front"),), _BAD, 60.0, _CREEP),
    Case("moved-out", (_p(T.MOVED_OUT, 4, 6, probe="front"),), _CREEP | WARM | DOOR, 30.0,
         _CREEP | WARM | DOOR | DRY | COOL),
    Case("swapped", (_p(T.SWAPPED, 4, 6, amount=(3.0, 5.0), probe="front"),), _CREEP | CHILL, 90.0, _CREEP | CHILL | DAMP | _STUCK),
    Case("glitches-many", (_p(T.GLITCHES, 4, 6, far=(0.35, 0.5), probe="front"),), _BAD, 60.0),
    Case("half-lines-many", (_p(T.HALF_LINES, 3, 4, far=(0.7, 0.9), probe="rear"),), _BAD | _SILENT, 10.0, _BAD | _SILENT),
    Case("garbage", (_p(T.GARBAGE, 1, 2, probe="front"),), _BAD | _SILENT, 10.0, _BAD | _SILENT),
    Case("clock-back", (_p(T.CLOCK_OFF, 2, 3, amount=(-5000, -3700), probe="front"),), _SILENT | {"clock-step"}, 5.0,
         _SILENT | {"clock-step"} | _CREEP),
    Case("backlog", (_p(T.HELD_UP, 1, 1, probe="front"),), _SILENT, 2.0, over_broker=True),
    # -- what is no fault ---------------------------------------------------------------------------------
    Case("hot-humid-days", (_p(T.HOT_DAYS, 48, 48, amount=(9, 12), ramp_h=(8, 12)),
         _p(T.HUMID_DAYS, 48, 48, amount=(1800, 2200), ramp_h=(8, 12))), tail_h=0.0),
    Case("power-cut-short", (_p(T.POWER_OFF, 0.1, 0.35),)),
    Case("defrost-first-time", (_p(T.DEFROST, 0.3, 0.5), _p(T.DEFROST, 0.3, 0.5, after_h=8))),
    Case("door-hairline", (_p(T.DOOR_AJAR, 4, 6, far=(0.02, 0.05)),)),
    Case("visits", tuple(_p(T.DOOR_AJAR, 1 / 60, 3 / 60, far=(0.6, 1), after_h=h) for h in (0, 1.5, 3, 3.4, 7))),
    Case("weigh-day", tuple(_p(T.DOOR_AJAR, 3 / 60, 10 / 60, far=(0.7, 1), after_h=h) for h in (0.05, 0.3, 0.55)),
         tends=(0.0, 0.4)),
    Case("new-wet-piece", (_p(T.DOOR_AJAR, 2 / 60, 4 / 60), _p(T.WET_THING, 70, 70, amount=(4.0, 4.5), halves_h=12)),
         hangs=True, tends=(0.0,), may=DEW),
    Case("fan-dead", (_p(T.FAN_DEAD, 8, 10),)),
    Case("glitches-few", (_p(T.GLITCHES, 8, 10, far=(0.01, 0.03), probe="front"),)),
    Case("half-lines-few", (_p(T.HALF_LINES, 8, 10, far=(0.01, 0.03), probe="rear"),)),
    Case("out-of-order", (_p(T.OUT_OF_ORDER, 8, 10, amount=(20, 45), probe="front"),), over_broker=True),
    Case("twice", (_p(T.TWICE, 8, 10, far=(0.2, 0.8), probe="rear"),), over_broker=True),
    Case("noisy-little", (_p(T.NOISY, 8, 10, amount=(0.2, 0.4), probe="front"),)),
)
