"""One probe's way through the rules that need only its own readings: gate, band limits, implausible input.

Mutable, but a fold. Rule time is the probe's own: a reading at or behind the newest of its quantity is
late, and judged by none. A missing half (no temperature, no humidity) leaves that half's rules as they are.
"""

from __future__ import annotations

from typing import Any

from chamberwatch.model import MS_PER_S, Band, ChamberPlan, Kind, ProbePlan, Reading
from chamberwatch.rules import gate, implausible, limit, silence
from chamberwatch.rules.catalogue import JUMP_C, JUMP_PCT
from chamberwatch.rules.edge import Edge

Window = tuple[int, int]
"""[from, until) of a door session, ms."""
NO_WINDOW: Window = (0, 0)


class Track:
    """One quantity of one probe: its gate, its two limits, the time of its newest sample."""

    __slots__ = ("_gate", "_gate_params", "_high", "_low", "last_ms", "sums")

    def __init__(self, kinds: tuple[Kind, Kind], band: Band, probe: ProbePlan, jump: float) -> None:
        every_ms = round(probe.every_s * MS_PER_S)
        hold_ms = silence.patience_ms(probe.every_s)
        self._gate_params = gate.Params(jump, hold_ms)
        self._high = limit.Params(kinds[0], +1, band.high, band.patience, every_ms, hold_ms)
        self._low = limit.Params(kinds[1], -1, band.low, band.patience, every_ms, hold_ms)
        self._gate = gate.State()
        self.sums = [limit.RESTING, limit.RESTING]
        self.last_ms: int | None = None

    def newest_ms(self) -> int:
        """Return the time of the newest reading seen, held back or not; -1 before the first."""
        pending = self._gate.pending
        return pending[0] if pending is not None else self._gate.at_ms if self.last_ms is not None else -1

    def take(self, at_ms: int, value: float, tended: Window) -> tuple[list[Edge], bool]:
        """Judge one reading newer than any before; return edges, and whether it exposed a glitch."""
        self._gate, passed = gate.step(self._gate_params, self._gate, at_ms, value)
        edges: list[Edge] = []
        for sample_ms, sample in passed.samples:
            held = tended[0] <= sample_ms < tended[1]
            for i, params in ((0, self._high), (1, self._low)):
                self.sums[i], edge = limit.step(
                    params, self.sums[i], sample, sample_ms, self.last_ms, held=held
                )
                if edge is not None:
                    edges.append(edge)
            self.last_ms = sample_ms
        return edges, passed.glitch

    def to_json(self) -> list[Any]:
        """Return the state as JSON values."""
        return [self.last_ms, list(self._gate), [list(s) for s in self.sums]]

    def from_json(self, body: list[Any]) -> None:
        """Restore what `to_json` returned."""
        last_ms, held_back, sums = body
        value, at_ms, pending = held_back
        self.last_ms = last_ms
        self._gate = gate.State(value, at_ms, None if pending is None else (pending[0], pending[1]))
        self.sums = [limit.State(*s) for s in sums]


class Lane:
    """One probe."""

    __slots__ = ("bad", "chamber", "heard_ms", "hold_ms", "humidity", "plan", "temperature", "tended")

    def __init__(self, plan: ProbePlan, chamber: ChamberPlan) -> None:
        self.plan = plan
        self.chamber = chamber.name
        self.hold_ms = silence.patience_ms(plan.every_s)
        self.temperature = Track(
            (Kind.TEMPERATURE_HIGH, Kind.TEMPERATURE_LOW), chamber.temperature, plan, JUMP_C
        )
        self.humidity = Track((Kind.HUMIDITY_HIGH, Kind.HUMIDITY_LOW), chamber.humidity, plan, JUMP_PCT)
        self.bad = implausible.RESTING
        self.tended = NO_WINDOW
        self.heard_ms: int | None = None
        """Arrival of the last good new reading (or the moment from which silence counts)."""

    def take(self, reading: Reading) -> list[Edge]:
        """Judge a reading; a late one (behind this probe's newest) gives nothing and is not heard."""
        edges: list[Edge] = []
        fresh = glitch = False
        at_ms = reading.at_ms
        for track, value in ((self.temperature, reading.temp_c), (self.humidity, reading.rh_pct)):
            if value is not None and at_ms > track.newest_ms():
                fresh = True
                found, jumped = track.take(at_ms, value, self.tended)
                glitch = glitch or jumped
                edges += found
        if fresh:
            self.heard_ms = reading.arrived_ms
            edges += self.count(at_ms, bad=glitch)
        return edges

    def count(self, at_ms: int, *, bad: bool) -> list[Edge]:
        """Count one good or bad piece of input."""
        if not bad and self.bad is implausible.RESTING:
            return []
        before = self.bad
        self.bad, rises = implausible.step(before, at_ms, bad=bad)
        if rises is None:
            return []
        since_ms = self.bad.since_ms if rises else before.since_ms
        return [
            Edge(Kind.PROBE_IMPLAUSIBLE, self.plan.name, rises, at_ms, since_ms,
                 float(self.bad.excess), float(implausible.RAISE_AT))
        ]  # fmt: skip

    def to_json(self) -> dict[str, Any]:
        """Return the state as JSON values."""
        return {
            "temperature": self.temperature.to_json(),
            "humidity": self.humidity.to_json(),
            "bad": list(self.bad),
            "tended": list(self.tended),
            "heard_ms": self.heard_ms,
        }

    def from_json(self, body: dict[str, Any]) -> None:
        """Restore what `to_json` returned."""
        self.temperature.from_json(body["temperature"])
        self.humidity.from_json(body["humidity"])
        bad = implausible.State(*body["bad"])
        self.bad = implausible.RESTING if bad == implausible.RESTING else bad
        self.tended = (body["tended"][0], body["tended"][1])
        self.heard_ms = body["heard_ms"]
