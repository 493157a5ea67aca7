"""One quantity of one probe on its way through the rules that look at every single reading.

Mutable, but a fold. Nearly every reading is plain: no jump, another value than the last, inside the band, no
sum under way. Such a one can change no rule's mind, so it takes the short way (`plain`, `accept`); a test
holds that the short way and the long way leave the same state.
"""

from __future__ import annotations

from typing import Any

from chamberwatch.model import MS_PER_MIN, MS_PER_S, Band, Kind, ProbePlan
from chamberwatch.rules import frozen_state, gate, limit, silence
from chamberwatch.rules import stuck as stuck_rule
from chamberwatch.rules.edge import Edge

VISIT_MS = 20 * MS_PER_MIN
"""So long after its worst a visit's dry air may take to come back by half."""
STRETCH = 1.5
"""Readings do not come to the millisecond: so many intervals a probe is given to move."""
LEAST_PART = 0.25
"""Of the reach: a probe that speaks each second is not asked to be quieter than 3 °C and 10 %RH."""
SLOW_MS = 60 * MS_PER_S
"""A probe that speaks more seldom needs two readings that agree, others six: it would take too long."""
Window = tuple[int, int]
"""[from, until) of a door session, ms."""
NO_WINDOW: Window = (0, 0)


class Track:
    """One quantity of one probe: its gate, its two limits, whether it is stuck, its newest sample's time."""

    __slots__ = (
        "_calm",
        "_deep",
        "_gate",
        "_gate_params",
        "_high",
        "_kinds",
        "_low",
        "_plain_ms",
        "_plain_value",
        "_probe",
        "_stuck",
        "band",
        "last_ms",
        "sums",
    )

    def __init__(
        self,
        kinds: tuple[Kind, Kind],
        band: Band,
        probe: ProbePlan,
        jump: tuple[float, float],
        deep: tuple[float, float],
    ) -> None:
        self._kinds, self._probe, self._deep = kinds, probe, deep
        reach, lag_ms = jump
        slow = probe.every_s * MS_PER_S > SLOW_MS
        far = max(reach * LEAST_PART, gate.reachable(reach, lag_ms, STRETCH * probe.every_s * MS_PER_S))
        self._gate_params = gate.Params(far, silence.patience_ms(probe.every_s), need=2 if slow else 6)
        self.plan(band)
        self._gate = gate.State()
        self._stuck = stuck_rule.State()
        self._plain_value: float | None = None
        self._plain_ms = 0
        self.sums = [limit.RESTING, limit.RESTING]
        self._calm = True
        self.last_ms: int | None = None

    def plan(self, band: Band) -> None:
        """Judge by this band from now on; sums and alarms that stand go on from where they are."""
        self.band = band
        every_ms = round(self._probe.every_s * MS_PER_S)
        hold_ms = silence.patience_ms(self._probe.every_s)
        near, far = self._deep
        recovers_ms = VISIT_MS if self._kinds[0] is Kind.HUMIDITY_HIGH else 0
        self._high, self._low = (
            limit.Params(
                kind, sign, at, band.patience, every_ms, hold_ms, near=near, far=far, recovers_ms=recovers_ms
            )
            for kind, sign, at in zip(self._kinds, (1, -1), (band.high, band.low), strict=True)
        )

    def plain(self, at_ms: int, value: float) -> bool:
        """Return whether this reading can change no rule's mind."""
        last = self._plain_value
        if last is None:
            return self._plain_again(at_ms, value)
        change = value - last
        return (
            self._calm
            and change != 0.0
            and -self._gate_params.jump <= change <= self._gate_params.jump
            and 0 < at_ms - self._plain_ms <= self._gate_params.hold_ms
            and self.band.low <= value <= self.band.high
        )

    def _plain_again(self, at_ms: int, value: float) -> bool:
        """The same after a reading that was not plain, or a restart: the states say what the last one was."""
        state, params = self._gate, self._gate_params
        return (
            self._calm
            and state.value is not None
            and not state.pending
            and 0 < at_ms - state.at_ms <= params.hold_ms
            and -params.jump <= value - state.value <= params.jump
            and value != self._stuck.value
            and not self._stuck.active
            and self.band.low <= value <= self.band.high
        )

    def accept(self, at_ms: int, value: float) -> None:
        """Take a plain reading; the states that follow from it are made when somebody asks."""
        self._plain_value, self._plain_ms, self.last_ms = value, at_ms, at_ms

    def _settle(self) -> None:
        """Make the states that the last plain reading stands for."""
        value = self._plain_value
        if value is not None:
            self._gate = gate.State(value, self._plain_ms)
            self._stuck = stuck_rule.State(value, self._plain_ms, self._plain_ms)
            self._plain_value = None

    @property
    def stuck(self) -> stuck_rule.State:
        """Whether, and since when, the value has not changed."""
        self._settle()
        return self._stuck

    @stuck.setter
    def stuck(self, state: stuck_rule.State) -> None:
        self._settle()
        self._stuck = state

    def pass_gate(self, at_ms: int, value: float, more: int) -> gate.Passed | None:
        """Let one reading through the gate; None if it is late (at or behind the newest seen)."""
        self._settle()
        state = self._gate
        if at_ms <= (state.pending[-1][0] if state.pending else state.at_ms):
            return None
        self._gate, passed = gate.step(self._gate_params, state, at_ms, value, more)
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
        self._calm = self.sums[0] is limit.RESTING and self.sums[1] is limit.RESTING
        return edges

    def forget(self, kind: Kind) -> None:
        """Let the sum of one of its limits rest."""
        if kind in self._kinds:
            self.sums[self._kinds.index(kind)] = limit.RESTING
            self._calm = self.sums[0] is limit.RESTING and self.sums[1] is limit.RESTING

    def to_json(self) -> list[Any]:
        """Return the state as JSON values."""
        self._settle()
        return [self.last_ms, *map(frozen_state.dump, (self._gate, self._stuck, tuple(self.sums)))]

    def from_json(self, body: list[Any]) -> None:
        """Restore what `to_json` returned."""
        self.last_ms = body[0]
        self._gate = frozen_state.load(gate.State, body[1])
        self._stuck = frozen_state.load(stuck_rule.State, body[2])
        self._plain_value = None
        sums = [frozen_state.load(limit.State, s) for s in body[3]]
        self.sums = [limit.RESTING if s == limit.RESTING else s for s in sums]
        self._calm = self.sums[0] is limit.RESTING and self.sums[1] is limit.RESTING
