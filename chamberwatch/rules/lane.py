"""One probe's way through the rules that need only its own readings.

Mutable, but a fold. Rule time is the probe's own: a reading at or behind the newest of its quantity is
late, and judged by none. A missing half (no temperature, no humidity) leaves that half's rules as they are.
What passes the gate goes to the band limits reading by reading, and as one-minute means to the slow rules.
"""

from __future__ import annotations

from typing import Any

from chamberwatch.model import MS_PER_H, MS_PER_S, ChamberKind, ChamberPlan, Kind, ProbePlan, Reading
from chamberwatch.rules import cooling, gate, implausible, minute, silence, stuck
from chamberwatch.rules.catalogue import JUMP_C, JUMP_PCT
from chamberwatch.rules.edge import Edge
from chamberwatch.rules.slow import Slow
from chamberwatch.rules.track import NO_WINDOW, Track

NEAR_C, FAR_C = 1.0, 3.0
NEAR_PCT, FAR_PCT = 5.0, 10.0


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
        "again",
        "bad",
        "chamber",
        "good_ms",
        "heard_ms",
        "hold_ms",
        "humidity",
        "judged_by_day",
        "minute",
        "plan",
        "rests_until_ms",
        "slow",
        "temperature",
        "tended",
    )

    def __init__(self, plan: ProbePlan, chamber: ChamberPlan) -> None:
        self.plan = plan
        self.heard_ms: int | None = None
        """Arrival of the last input, good or bad (or the moment from which silence counts)."""
        self.good_ms: int | None = None
        """Arrival of the last new reading that was not refused: an hour without one is blindness."""
        self.rests_until_ms: int | None = None
        """Out of service until then; None: at work."""
        self.tended = NO_WINDOW
        self._begin(chamber)

    def begin_anew(self, chamber: ChamberPlan) -> None:
        """Forget all that stood or was about to; keep what was learnt of the chamber."""
        learnt = self.slow
        self._begin(chamber)
        self.slow.learn_from(learnt)

    def _begin(self, chamber: ChamberPlan) -> None:
        plan = self.plan
        self.chamber = chamber.name
        self.judged_by_day = chamber.kind is ChamberKind.ROOM
        self.hold_ms = silence.patience_ms(plan.every_s)
        kinds_t = (Kind.TEMPERATURE_HIGH, Kind.TEMPERATURE_LOW)
        kinds_h = (Kind.HUMIDITY_HIGH, Kind.HUMIDITY_LOW)
        self.temperature = Track(kinds_t, chamber.temperature, plan, JUMP_C, (NEAR_C, FAR_C))
        self.humidity = Track(kinds_h, chamber.humidity, plan, JUMP_PCT, (NEAR_PCT, FAR_PCT))
        self.bad = implausible.RESTING
        self.minute = minute.Accumulator()
        self.slow = Slow(plan.name, round(plan.every_s * MS_PER_S), cools=not self.judged_by_day)
        self.again = silence.State()

    def take(self, reading: Reading, *, frozen: bool) -> list[Edge]:
        """Judge a reading; a late one (behind this probe's newest) gives nothing and is not heard.

        `frozen`: an alarm stands in the chamber, so nothing of now is learnt as its norm.
        """
        at_ms, temp_c, rh_pct = reading.at_ms, reading.temp_c, reading.rh_pct
        if temp_c is not None and rh_pct is not None and self._plain(at_ms, temp_c, rh_pct):
            self.heard_ms = self.good_ms = reading.arrived_ms
            closed = self.minute.add(at_ms, temp_c, rh_pct)
            return self._slow(closed, frozen=frozen) if closed is not None else []
        more = min(self.bad.excess, implausible.RAISE_AT) // implausible.WEIGHT
        temps = self.temperature.pass_gate(at_ms, temp_c, more) if temp_c is not None else None
        rhs = self.humidity.pass_gate(at_ms, rh_pct, more) if rh_pct is not None else None
        if temps is None and rhs is None:
            return []
        self.heard_ms = reading.arrived_ms
        edges = self._count_passed(at_ms, temps, rhs)
        if self.bad.active or self.bad.excess >= implausible.SUSPECT_AT:
            return edges  # what it says of the air is not believed until it makes sense again
        self.good_ms = reading.arrived_ms
        return edges + self._judge(temps, rhs, frozen=frozen)

    def _count_passed(self, at_ms: int, temps: gate.Passed | None, rhs: gate.Passed | None) -> list[Edge]:
        """Count a reading as good or bad; one that is held back is neither until a later one decides."""
        parts = [passed for passed in (temps, rhs) if passed is not None]
        edges = [edge for _ in range(max(p.dropped for p in parts)) for edge in self.count(at_ms, bad=True)]
        if any(passed.samples for passed in parts):
            edges += self.count(at_ms, bad=False)
        return edges

    def _plain(self, at_ms: int, temp_c: float, rh_pct: float) -> bool:
        """Take the short way if both halves are plain; return whether it was taken."""
        temperature, humidity = self.temperature, self.humidity
        if (
            self.judged_by_day
            or self.bad is not implausible.RESTING
            or not temperature.plain(at_ms, temp_c)
            or not humidity.plain(at_ms, rh_pct)
        ):
            return False
        temperature.accept(at_ms, temp_c)
        humidity.accept(at_ms, rh_pct)
        return True

    def _slow(self, closed: minute.Minute, *, frozen: bool) -> list[Edge]:
        return self.slow.take(closed, (self.temperature.band, self.humidity.band), self.tended, frozen=frozen)

    def _judge(self, temps: gate.Passed | None, rhs: gate.Passed | None, *, frozen: bool) -> list[Edge]:
        """Judge what passed the gates: the minute first, then each limit, oldest sample first."""
        edges: list[Edge] = []
        temp_samples = temps.samples if temps is not None else ()
        rh_samples = rhs.samples if rhs is not None else ()
        for at_ms, temp_c, rh_pct in _together(temp_samples, rh_samples):
            closed = self.minute.add(at_ms, temp_c, rh_pct)
            if closed is not None:
                edges += self._slow(closed, frozen=frozen)
            mean_t, mean_h = self.slow.means
            if temp_c is not None:
                edges += self._sample(self.temperature, at_ms, temp_c, mean_t)
            if rh_pct is not None:
                edges += self._sample(self.humidity, at_ms, rh_pct, mean_h)
        return edges

    def _sample(self, track: Track, at_ms: int, value: float, mean: float | None) -> list[Edge]:
        edges: list[Edge] = []
        track.stuck, ended = stuck.step(track.stuck, at_ms, value)
        other = self.humidity if track is self.temperature else self.temperature
        if ended and not other.stuck.active:
            edges.append(self._stuck_edge(at_ms, value, active=False, since_ms=at_ms))
        if ended and track is self.temperature:
            self.slow.cooling = cooling.State()  # while it stood still nothing was seen of the compressor
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
        weight = implausible.WEIGHT
        excess, least = self.bad.excess / weight, implausible.RAISE_AT / weight
        return [Edge(Kind.PROBE_IMPLAUSIBLE, self.plan.name, rises, at_ms, since_ms, excess, least)]

    def forget(self, kind: Kind) -> None:
        """Forget what led to a band alarm that was not told: it rested on nonsense."""
        for track in (self.temperature, self.humidity):
            track.forget(kind)

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
            "good_ms": self.good_ms,
            "rests_until_ms": self.rests_until_ms,
            "again": list(self.again),
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
        self.heard_ms, self.good_ms = body["heard_ms"], body["good_ms"]
        self.rests_until_ms = body["rests_until_ms"]
        self.again = silence.State(*body["again"])
