"""One probe's way through the rules that need only its own readings.

Mutable, but a fold. Rule time is the probe's own: a reading at or behind the newest of its quantity is
late, and judged by none. A missing half (no temperature, no humidity) leaves that half's rules as they are.
What passes the gate goes to the band limits reading by reading, and as one-minute means to the slow rules.
"""

from __future__ import annotations

from typing import Any

from chamberwatch.model import MS_PER_H, MS_PER_S, Band, ChamberKind, ChamberPlan, Kind, ProbePlan, Reading
from chamberwatch.rules import frozen_state, gate, implausible, limit, minute, silence, stuck
from chamberwatch.rules.catalogue import JUMP_C, JUMP_PCT
from chamberwatch.rules.edge import Edge
from chamberwatch.rules.slow import Slow

Window = tuple[int, int]
"""[from, until) of a door session, ms."""
NO_WINDOW: Window = (0, 0)
NEAR_C, FAR_C = 1.0, 3.0
NEAR_PCT, FAR_PCT = 5.0, 10.0


class Track:
    """One quantity of one probe: its gate, its two limits, whether it is stuck, its newest sample's time."""

    __slots__ = (
        "_gate",
        "_gate_params",
        "_high",
        "_kinds",
        "_low",
        "_probe",
        "_reach",
        "band",
        "last_ms",
        "stuck",
        "sums",
    )

    def __init__(
        self, kinds: tuple[Kind, Kind], band: Band, probe: ProbePlan, jump: float, reach: tuple[float, float]
    ) -> None:
        self._kinds, self._probe, self._reach = kinds, probe, reach
        self._gate_params = gate.Params(jump, silence.patience_ms(probe.every_s))
        self.plan(band)
        self._gate = gate.State()
        self.stuck = stuck.State()
        self.sums = [limit.RESTING, limit.RESTING]
        self.last_ms: int | None = None

    def plan(self, band: Band) -> None:
        """Judge by this band from now on; sums and alarms that stand go on from where they are."""
        self.band = band
        every_ms = round(self._probe.every_s * MS_PER_S)
        hold_ms = silence.patience_ms(self._probe.every_s)
        near, far = self._reach
        self._high, self._low = (
            limit.Params(kind, sign, at, band.patience, every_ms, hold_ms, near=near, far=far)
            for kind, sign, at in zip(self._kinds, (1, -1), (band.high, band.low), strict=True)
        )

    def pass_gate(self, at_ms: int, value: float) -> gate.Passed | None:
        """Let one reading through the gate; None if it is late (at or behind the newest seen)."""
        state = self._gate
        if at_ms <= (state.pending[0] if state.pending is not None else state.at_ms):
            return None
        self._gate, passed = gate.step(self._gate_params, state, at_ms, value)
        return passed

    def judge(self, at_ms: int, value: float, tended: Window, mean: float | None) -> list[Edge]:
        """Judge one sample by both limits; `mean`: over the last full cycle, if one is learnt."""
        held = tended[0] <= at_ms < tended[1]
        edges: list[Edge] = []
        for i, params in ((0, self._high), (1, self._low)):
            self.sums[i], edge = limit.step(
                params, self.sums[i], value, at_ms, self.last_ms, held=held, mean=mean
            )
            if edge is not None:
                edges.append(edge)
        self.last_ms = at_ms
        return edges

    def to_json(self) -> list[Any]:
        """Return the state as JSON values."""
        return [self.last_ms, *map(frozen_state.dump, (self._gate, self.stuck, tuple(self.sums)))]

    def from_json(self, body: list[Any]) -> None:
        """Restore what `to_json` returned."""
        self.last_ms = body[0]
        self._gate = frozen_state.load(gate.State, body[1])
        self.stuck = frozen_state.load(stuck.State, body[2])
        self.sums = [frozen_state.load(limit.State, s) for s in body[3]]


Sample = tuple[int, float]


def _together(
    temps: tuple[Sample, ...], rhs: tuple[Sample, ...]
) -> list[tuple[int, float | None, float | None]]:
    """Return both quantities' samples in order of time, those of one time together."""
    if len(temps) == len(rhs) == 1 and temps[0][0] == rhs[0][0]:
        return [(temps[0][0], temps[0][1], rhs[0][1])]
    t, h = dict(temps), dict(rhs)
    return [(at_ms, t.get(at_ms), h.get(at_ms)) for at_ms in sorted(t.keys() | h.keys())]


class Lane:
    """One probe."""

    __slots__ = (
        "bad",
        "chamber",
        "heard_ms",
        "hold_ms",
        "humidity",
        "judged_by_day",
        "minute",
        "plan",
        "slow",
        "temperature",
        "tended",
    )

    def __init__(self, plan: ProbePlan, chamber: ChamberPlan) -> None:
        self.plan = plan
        self.chamber = chamber.name
        self.judged_by_day = chamber.kind is ChamberKind.ROOM
        self.hold_ms = silence.patience_ms(plan.every_s)
        kinds_t = (Kind.TEMPERATURE_HIGH, Kind.TEMPERATURE_LOW)
        kinds_h = (Kind.HUMIDITY_HIGH, Kind.HUMIDITY_LOW)
        self.temperature = Track(kinds_t, chamber.temperature, plan, JUMP_C, (NEAR_C, FAR_C))
        self.humidity = Track(kinds_h, chamber.humidity, plan, JUMP_PCT, (NEAR_PCT, FAR_PCT))
        self.bad = implausible.RESTING
        self.minute = minute.Accumulator()
        self.slow = Slow(plan.name)
        self.tended = NO_WINDOW
        self.heard_ms: int | None = None
        """Arrival of the last good new reading (or the moment from which silence counts)."""

    def take(self, reading: Reading, *, frozen: bool) -> list[Edge]:
        """Judge a reading; a late one (behind this probe's newest) gives nothing and is not heard.

        `frozen`: an alarm stands in the chamber, so nothing of now is learnt as its norm.
        """
        at_ms, temp_c, rh_pct = reading.at_ms, reading.temp_c, reading.rh_pct
        temps = self.temperature.pass_gate(at_ms, temp_c) if temp_c is not None else None
        rhs = self.humidity.pass_gate(at_ms, rh_pct) if rh_pct is not None else None
        if temps is None and rhs is None:
            return []
        edges = self._judge(temps, rhs, frozen=frozen)
        self.heard_ms = reading.arrived_ms
        glitch = (temps is not None and temps.glitch) or (rhs is not None and rhs.glitch)
        return edges + self.count(at_ms, bad=glitch)

    def _judge(self, temps: gate.Passed | None, rhs: gate.Passed | None, *, frozen: bool) -> list[Edge]:
        """Judge what passed the gates: the minute first, then each limit, oldest sample first."""
        edges: list[Edge] = []
        mean_t, mean_h = self.slow.means
        temp_samples = temps.samples if temps is not None else ()
        rh_samples = rhs.samples if rhs is not None else ()
        for at_ms, temp_c, rh_pct in _together(temp_samples, rh_samples):
            closed = self.minute.add(at_ms, temp_c, rh_pct)
            if closed is not None:
                bands = (self.temperature.band, self.humidity.band)
                edges += self.slow.take(closed, bands, self.tended, frozen=frozen)
            if temp_c is not None:
                edges += self._sample(self.temperature, at_ms, temp_c, mean_t)
            if rh_pct is not None:
                edges += self._sample(self.humidity, at_ms, rh_pct, mean_h)
        return edges

    def _sample(self, track: Track, at_ms: int, value: float, mean: float | None) -> list[Edge]:
        edges: list[Edge] = []
        track.stuck, ended = stuck.step(track.stuck, at_ms, value)
        if ended:
            edges.append(self._stuck_edge(at_ms, value, active=False, since_ms=at_ms))
        if self.judged_by_day:
            day = self.slow.day_mean(temperature=track is self.temperature)
            return edges if day is None else edges + track.judge(at_ms, day, self.tended, None)
        return edges + track.judge(at_ms, value, self.tended, mean)

    def stuck_quantities(self) -> list[Track]:
        """Return the quantities whose value has stood so long that witnesses must be asked."""
        return [t for t in (self.temperature, self.humidity) if stuck.due(t.stuck)]

    def call_stuck(self, track: Track) -> Edge:
        """A witness moved: raise it."""
        track.stuck = track.stuck._replace(active=True)
        state = track.stuck
        return self._stuck_edge(state.last_ms, state.value, active=True, since_ms=state.since_ms, track=track)

    def _stuck_edge(
        self, at_ms: int, value: float, *, active: bool, since_ms: int, track: Track | None = None
    ) -> Edge:
        detail = "temperature" if track is self.temperature else "humidity" if track is not None else ""
        return Edge(
            Kind.PROBE_STUCK, self.plan.name, active, at_ms, since_ms, value, stuck.STUCK_MS / MS_PER_H,
            detail=detail,
        )  # fmt: skip

    def count(self, at_ms: int, *, bad: bool) -> list[Edge]:
        """Count one good or bad piece of input."""
        if not bad and self.bad is implausible.RESTING:
            return []
        before = self.bad
        self.bad, rises = implausible.step(before, at_ms, bad=bad)
        if rises is None:
            return []
        since_ms = self.bad.since_ms if rises else before.since_ms
        excess, least = float(self.bad.excess), float(implausible.RAISE_AT)
        return [Edge(Kind.PROBE_IMPLAUSIBLE, self.plan.name, rises, at_ms, since_ms, excess, least)]

    def to_json(self) -> dict[str, Any]:
        """Return the state as JSON values."""
        return {
            "temperature": self.temperature.to_json(),
            "humidity": self.humidity.to_json(),
            "bad": list(self.bad),
            "minute": self.minute.to_json(),
            "slow": self.slow.to_json(),
            "tended": list(self.tended),
            "heard_ms": self.heard_ms,
        }

    def from_json(self, body: dict[str, Any]) -> None:
        """Restore what `to_json` returned."""
        self.temperature.from_json(body["temperature"])
        self.humidity.from_json(body["humidity"])
        bad = implausible.State(*body["bad"])
        self.bad = implausible.RESTING if bad == implausible.RESTING else bad
        self.minute.from_json(body["minute"])
        self.slow.from_json(body["slow"])
        self.tended = (body["tended"][0], body["tended"][1])
        self.heard_ms = body["heard_ms"]
