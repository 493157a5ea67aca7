"""One probe's slow rules, on one-minute means: cycle, cooling, door, drifts, swing, condensation.

Mutable, but a fold, like `lane`, whose part it is. Rules for this file: the rules' order is their events'
order; each sees the norm as it was learnt before this minute; while `frozen` nothing is learnt.
"""

from __future__ import annotations

from typing import Any

from chamberwatch.model import MS_PER_H, MS_PER_MIN, Band, Kind
from chamberwatch.rules import blocks, condensation, cooling, cycle, door, drift, frozen_state, planned, swing
from chamberwatch.rules.edge import Edge
from chamberwatch.rules.minute import Accumulator, Minute

AFTER_TEND_MS = 15 * MS_PER_MIN
"""So long after a door session the air is still settling: the drifts are not fed."""
UNLIMITED_PCT = 1_000.0
LEAST_C = 0.5
LEAST_PCT = 2.5
HOURS = 4

STATES: dict[str, Any] = {
    "cycle": cycle.State,
    "cooling": cooling.State,
    "door": door.State,
    "swing": swing.State,
    "condensation": condensation.State,
    "temperature_drift": drift.State,
    "humidity_drift": drift.State,
    "temperature_blocks": blocks.State,
    "humidity_blocks": blocks.State,
}
"""What a snapshot of one probe's slow rules holds, in this order."""


class Hour:
    """One hour of a probe: number since 1970, sums, counts and extremes. Mutable while it is under way."""

    __slots__ = ("number", "rh_max", "rh_min", "rh_sum", "rhs", "temp_max", "temp_min", "temp_sum", "temps")

    def __init__(self, number: int) -> None:
        self.number = number
        self.temp_sum = self.rh_sum = 0.0
        self.temps = self.rhs = 0
        self.temp_min = self.rh_min = 999.0
        self.temp_max = self.rh_max = -999.0

    def add(self, minute: Minute) -> None:
        """Add one minute."""
        temp_c, rh_pct = minute.temp_c, minute.rh_pct
        if temp_c is not None:
            self.temp_sum += temp_c
            self.temps += 1
            self.temp_min, self.temp_max = min(self.temp_min, temp_c), max(self.temp_max, temp_c)
        if rh_pct is not None:
            self.rh_sum += rh_pct
            self.rhs += 1
            self.rh_min, self.rh_max = min(self.rh_min, rh_pct), max(self.rh_max, rh_pct)

    def to_json(self) -> list[float]:
        """Return the state as JSON values."""
        return [getattr(self, name) for name in self.__slots__]

    @classmethod
    def from_json(cls, body: list[float]) -> Hour:
        """Restore what `to_json` returned."""
        hour = cls(0)
        for name, value in zip(cls.__slots__, body, strict=True):
            setattr(hour, name, value)
        return hour


class Slow:
    """The slow rules' states of one probe."""

    __slots__ = (
        "_cools",
        "_every_ms", "condensation", "cooling", "cycle", "door", "five", "hours", "humidity_blocks",
        "humidity_drift", "means", "norm", "probe", "swing", "temperature_blocks", "temperature_drift",
    )  # fmt: skip

    def __init__(self, probe: str, every_ms: int = MS_PER_MIN, *, cools: bool = True) -> None:
        self.probe = probe
        self._cools = cools
        """A room has no compressor that could fail."""
        self._every_ms = max(every_ms, blocks.BLOCK_MS)
        self.five = Accumulator(blocks.BLOCK_MS)
        """Five minutes, for the rules that look at hours."""
        self.cycle = cycle.State()
        self.norm: cycle.Learnt | None = None
        self.cooling = cooling.State()
        self.door = door.State()
        self.swing = swing.State()
        self.condensation = condensation.State()
        self.temperature_drift = drift.State()
        self.humidity_drift = drift.State()
        self.temperature_blocks = blocks.State()
        self.humidity_blocks = blocks.State()
        self.hours: tuple[Hour, ...] = ()
        self.means: tuple[float | None, float | None] = (None, None)
        """Temperature's and humidity's means over the last full cycle; None before one is learnt."""

    def take(
        self, minute: Minute, bands: tuple[Band, Band], tended: tuple[int, int], *, frozen: bool
    ) -> list[Edge]:
        """Judge one minute; `bands`: temperature's and humidity's as planned now."""
        edges = self._cooling(minute) + self._door(minute, tended) + self._swing(minute)
        block = self.five.add(minute.at_ms - 1, minute.temp_c, minute.rh_pct)
        if block is not None:
            edges += self._drifts(block, bands, tended) + self._condensation(block)
        self._learn(minute, frozen=frozen)
        if not tended[0] <= minute.at_ms < tended[1] + AFTER_TEND_MS:
            self._average(minute, tended[1], block=block is not None)
        return edges

    def _period_ms(self) -> int | None:
        return None if self.norm is None else max(self.norm.period_ms, 2 * blocks.BLOCK_MS)

    def _average(self, minute: Minute, tended_ms: int, *, block: bool) -> None:
        """Follow the means over a cycle; over what a door session hid they stay as they were."""
        at_ms, period_ms = minute.at_ms, self._period_ms()
        if minute.temp_c is not None:
            temps = self.temperature_blocks
            self.temperature_blocks = blocks.step(temps, at_ms, minute.temp_c, period_ms)
        if minute.rh_pct is not None:
            self.humidity_blocks = blocks.step(self.humidity_blocks, at_ms, minute.rh_pct, period_ms)
        if not block or period_ms is None:
            return
        temp_c = blocks.mean_of_last(self.temperature_blocks, at_ms, period_ms)
        rh_pct = blocks.mean_of_last(self.humidity_blocks, at_ms, period_ms)
        if at_ms < tended_ms + AFTER_TEND_MS + period_ms:
            temp_c = self.means[0] if temp_c is None else temp_c
            rh_pct = self.means[1] if rh_pct is None else rh_pct
        self.means = (temp_c, rh_pct)

    def day_mean(self, *, temperature: bool) -> float | None:
        """Return the mean of the last 24 h [°C or %RH], from half-hour blocks; None before 12 h were seen."""
        return drift.day_mean(self.temperature_drift if temperature else self.humidity_drift)

    def _learn(self, minute: Minute, *, frozen: bool) -> None:
        before = self.cycle
        self.cycle = cycle.step(before, minute, frozen=frozen)
        if self.cycle.loops is not before.loops or (self.norm is None and self.cycle.loops):
            self.norm = cycle.learnt(self.cycle)
        number = (minute.at_ms - 1) // MS_PER_H
        if not self.hours or self.hours[-1].number != number:
            self.hours = (*self.hours[-HOURS:], Hour(number))
        self.hours[-1].add(minute)

    def _edge(self, kind: Kind, minute: Minute, **values: Any) -> Edge:
        return Edge(kind, self.probe, at_ms=minute.at_ms, **values)

    def _cooling(self, minute: Minute) -> list[Edge]:
        if not self._cools:
            return []
        before = self.cooling
        self.cooling, rises = cooling.step(before, minute, self.norm)
        if rises is None:
            return []
        state = self.cooling if rises else before
        limit = self.norm.top_c if self.norm is not None else None
        return [
            self._edge(
                Kind.COOLING_LOST, minute, active=rises, since_ms=state.since_ms, value=minute.temp_c,
                limit=limit, worst=max(state.top_c, minute.temp_c or state.top_c),
            )
        ]  # fmt: skip

    def _door(self, minute: Minute, tended: tuple[int, int]) -> list[Edge]:
        before = self.door
        self.door, rises = door.step(before, minute, self.norm, tended, self.means[1])
        if rises is None:
            return []
        state = self.door if rises else before
        return [
            self._edge(
                Kind.DOOR_OPEN, minute, active=rises, since_ms=state.since_ms, value=minute.temp_c,
                limit=state.foot_c, worst=state.far_c,
            )
        ]  # fmt: skip

    def _drifts(self, minute: Minute, bands: tuple[Band, Band], tended: tuple[int, int]) -> list[Edge]:
        if tended[0] <= minute.at_ms < tended[1] + AFTER_TEND_MS:
            return []  # the air at an open door says nothing of where the chamber is going
        period_ms = self._period_ms()
        temp_c, rh_pct = self.means if period_ms is not None else (minute.temp_c, minute.rh_pct)
        edges = []
        if minute.temp_c is not None and temp_c is not None:
            self.temperature_drift, found = drift.step(
                self.temperature_drift, minute.at_ms, temp_c, period_ms, bands[0], LEAST_C, self._every_ms
            )
            edges += [self._drift(Kind.TEMPERATURE_DRIFT, minute, found, bands[0])] if found else []
        if minute.rh_pct is not None and rh_pct is not None:
            self.humidity_drift, found = drift.step(
                self.humidity_drift,
                minute.at_ms,
                rh_pct,
                period_ms,
                _not_new(bands[1]),
                LEAST_PCT,
                self._every_ms,
            )
            edges += [self._drift(Kind.HUMIDITY_DRIFT, minute, found, bands[1])] if found else []
        return edges

    def _drift(self, kind: Kind, minute: Minute, found: drift.Found, band: Band) -> Edge:
        limit = band.high if found.side > 0 else band.low
        return self._edge(
            kind, minute, active=found.active, since_ms=found.since_ms, value=found.value, limit=limit,
            meets_ms=found.meets_ms or None,
        )  # fmt: skip

    def _swing(self, minute: Minute) -> list[Edge]:
        was = self.swing.fast.active or self.swing.slow.active
        self.swing, found = swing.step(self.swing, minute, self.norm.saw_pct if self.norm else None)
        now = self.swing.fast.active or self.swing.slow.active
        if not found or was is now:
            return []
        cause = found[0]
        limit = swing.SLOW_RANGE_PCT if cause.meat_feels_it else swing.FAST_RANGE_PCT
        return [
            self._edge(
                Kind.HUMIDITY_SWING, minute, active=now, since_ms=cause.since_ms, value=cause.range_pct,
                limit=limit, detail="felt" if cause.meat_feels_it else "fast",
            )
        ]  # fmt: skip

    def _condensation(self, minute: Minute) -> list[Edge]:
        self.condensation, found = condensation.step(self.condensation, minute)
        if found is None:
            return []
        return [
            self._edge(
                Kind.CONDENSATION_RISK, minute, active=found.active, since_ms=found.since_ms,
                value=found.dew_c, limit=found.surface_c,
            )
        ]  # fmt: skip

    def learn_from(self, past: Slow) -> None:
        """Take over what another life of this probe learnt, and nothing that stood in it."""
        self.cycle, self.norm, self.means = past.cycle, past.norm, past.means
        self.temperature_blocks, self.humidity_blocks = past.temperature_blocks, past.humidity_blocks
        self.temperature_drift = drift.State(blocks=past.temperature_drift.blocks)
        self.humidity_drift = drift.State(blocks=past.humidity_drift.blocks)

    def to_json(self) -> list[Any]:
        """Return the state as JSON values."""
        states = tuple(getattr(self, name) for name in STATES)
        hours = [hour.to_json() for hour in self.hours]
        return [frozen_state.dump(states), [hours, list(self.means), self.five.to_json()]]

    def from_json(self, body: list[Any]) -> None:
        """Restore what `to_json` returned."""
        for (name, cls), part in zip(STATES.items(), body[0], strict=True):
            setattr(self, name, frozen_state.load(cls, part))
        self.hours = tuple(map(Hour.from_json, body[1][0]))
        self.means = (body[1][1][0], body[1][1][1])
        self.five.from_json(body[1][2])
        self.norm = cycle.learnt(self.cycle)


def _not_new(band: Band) -> Band:
    """Return the band without its upper limit while a new piece may make the air as damp as it likes."""
    return band if band.high < planned.NEW_PIECE_HIGH_PCT else Band(band.low, UNLIMITED_PCT, band.patience)
