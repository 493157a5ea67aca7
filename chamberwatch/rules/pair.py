"""What only the probes of one chamber together can tell: one is stuck, one lies, and whose alarm must wait.

With at least two healthy probes a band alarm that only one of them sees is held back for up to 2 h, so that
the comparison of hourly means can name the one that lies; too warm never waits, a lone probe's alarm never
does. What the air does slowly (`SHARED_KINDS`) waits for a second healthy witness without end: seen by one
probe alone it is not told. Mutable, but a fold. Rule time is the chamber's probes' own; a probe that fell
silent is no witness.
"""

from __future__ import annotations

from statistics import median
from typing import Any

from chamberwatch.model import MS_PER_H, MS_PER_MIN, Kind
from chamberwatch.rules import disagree, frozen_state
from chamberwatch.rules.edge import Edge
from chamberwatch.rules.lane import Lane
from chamberwatch.rules.slow import Hour
from chamberwatch.rules.stuck import MOVED_C, MOVED_PCT
from chamberwatch.rules.track import Track

HELD_MS = 125 * MS_PER_MIN
"""Two hourly means and a few minutes."""
MINUTES_OF_AN_HOUR = 30
"""An hour counts when half of it was seen."""
WAITING_KINDS = {
    Kind.TEMPERATURE_LOW: ("temperature", 1),
    Kind.HUMIDITY_HIGH: ("humidity", 0),
    Kind.HUMIDITY_LOW: ("humidity", 1),
}
"""Kind → the quantity's track and which of its sums."""
SHARED_KINDS = frozenset(
    {
        Kind.TEMPERATURE_DRIFT,
        Kind.HUMIDITY_DRIFT,
        Kind.HUMIDITY_SWING,
        Kind.CONDENSATION_RISK,
        Kind.DOOR_OPEN,
    }
)
"""What the whole air does all its probes see; seen by one alone it is not told: the band alarm stands in."""
NEVER_MS = 1 << 62
HANDED_OVER = (Kind.TEMPERATURE_DRIFT, Kind.HUMIDITY_DRIFT)
"""All probes of a chamber close their blocks in the same minute: one's drift may end as another's begins."""


class Chamber:
    """The probes of one chamber."""

    def __init__(self, name: str, lanes: list[Lane]) -> None:
        self.name = name
        self._lanes = lanes
        self._compared = {lane.plan.name: [disagree.State(), disagree.State()] for lane in lanes}
        self._hour = {lane.plan.name: 0 for lane in lanes}
        self._held: dict[tuple[str, Kind], tuple[Edge, int]] = {}
        self._ending: list[Edge] = []
        self.minute = -1
        self.frozen = self._shaken = False
        """As the minute began: an alarm stood here; one that makes the air differ from place to place."""

    def begin(self, minute: int, *, frozen: bool, shaken: bool) -> list[Edge]:
        """Begin a minute, when its first probe is heard; what stands then holds for all of them.

        What has waited is let go by what was heard before: of this minute the others have yet to speak.
        """
        self.minute, self.frozen, self._shaken = minute, frozen, shaken
        return self._release(max(_newest_ms(lane) for lane in self._lanes))

    # -- held back -------------------------------------------------------------------------------------------

    def hold_back(self, lane: Lane, edge: Edge) -> bool:
        """Return whether the edge must wait: then it is kept here."""
        edge = edge._replace(probe=lane.plan.name)
        key = (edge.probe, edge.kind)
        if not edge.active:
            return self._held.pop(key, None) is not None or self._keep(edge)
        shared = edge.kind in SHARED_KINDS
        if not (shared or edge.kind in WAITING_KINDS):
            return False
        if self._itself(lane) and self._seen_ms(lane, edge.kind, edge.at_ms) is not None:
            return False
        self._held[key] = (edge, NEVER_MS if shared else edge.at_ms + HELD_MS)
        return True

    def _keep(self, edge: Edge) -> bool:
        """Keep a drift's end for this minute: the other probe's may begin in it, whoever is heard first."""
        kept = edge.kind in HANDED_OVER and len(self._lanes) > 1
        if kept:
            self._ending.append(edge)
        return kept

    def _seen_ms(self, lane: Lane, kind: Kind, at_ms: int) -> int | None:
        """Return since when another healthy probe sees it too, None if none does; `at_ms` if there is none.

        Of a slow kind only whether it is seen now is known, so that is `at_ms` as well.
        """
        others = [o for o in self._lanes if o is not lane and self._healthy(o, at_ms)]
        if not others:
            return at_ms
        if kind in SHARED_KINDS:
            return at_ms if any(_shares(o, lane, kind) for o in others) else None
        name, side = WAITING_KINDS[kind]
        sums = [getattr(o, name).sums[side] for o in others]
        return min((s.since_ms for s in sums if s.level > 0.0), default=None)

    def _healthy(self, lane: Lane, at_ms: int) -> bool:
        return self._itself(lane) and _speaks(lane, at_ms)

    def _itself(self, lane: Lane) -> bool:
        """Whether no alarm stands that names this probe as one not to be believed."""
        stuck = lane.temperature.stuck.active or lane.humidity.stuck.active
        return not (lane.bad.active or stuck or self._lies(lane))

    def _lies(self, lane: Lane) -> bool:
        """Return whether the comparison names this probe, not the one it is compared with."""
        return any(state.named == 1 for state in self._compared[lane.plan.name])

    def _release(self, at_ms: int) -> list[Edge]:
        """Let go of what has waited long enough or is seen by others now; keep what a lying probe raised.

        Told as of when its condition was met (the second witness, the wait's end), whoever was heard first.
        """
        edges = [e for e in self._ending if e.at_ms // MS_PER_MIN < self.minute]
        self._ending = [e for e in self._ending if e not in edges]
        for key, (edge, until_ms) in list(self._held.items()):
            lane = next(o for o in self._lanes if o.plan.name == edge.probe)
            if lane.bad.active:
                del self._held[key]
                lane.forget(edge.kind)  # what its nonsense led to; once it makes sense it is judged anew
                continue
            if not self._itself(lane):
                continue  # its own alarm says so already; this one waits until the probe is itself again
            seen_ms = self._seen_ms(lane, edge.kind, at_ms)
            if seen_ms is None and self._within_accuracy(lane, edge.kind):
                continue  # the others see nothing, and this one no more than its maker's own doubt
            if seen_ms is not None or at_ms >= until_ms:
                met_ms = until_ms if seen_ms is None else min(until_ms, max(edge.at_ms, seen_ms))
                del self._held[key]
                edges.append(edge._replace(at_ms=met_ms))
        return edges

    def _within_accuracy(self, lane: Lane, kind: Kind) -> bool:
        """Whether a probe is outside a band by no more than its accuracy: its mean, where one is known."""
        if kind not in WAITING_KINDS:
            return False
        name, side = WAITING_KINDS[kind]
        track = getattr(lane, name)
        limit = track.band.high if side == 0 else track.band.low
        temperature = name == "temperature"
        mean = lane.slow.means[0 if temperature else 1]
        accuracy = lane.plan.accuracy_c if temperature else lane.plan.accuracy_pct
        return bool(abs((track.sums[side].worst if mean is None else mean) - limit) <= accuracy)

    # -- witnesses -------------------------------------------------------------------------------------------

    def stuck(self, lane: Lane) -> list[Edge]:
        """Ask the witnesses about quantities that have not changed for hours."""
        return [lane.call_stuck(track) for track in lane.stuck_quantities() if self._moved(lane, track)]

    def _moved(self, lane: Lane, track: Track) -> bool:
        since = track.stuck.since_ms // MS_PER_H
        if _range_pct(lane, since) >= MOVED_PCT and track is lane.temperature:
            return True
        if _range_c(lane, since) >= MOVED_C and track is lane.humidity:
            return True
        others = [o for o in self._lanes if o is not lane]
        return any(_range_pct(o, since) >= MOVED_PCT or _range_c(o, since) >= MOVED_C for o in others)

    # -- comparison ------------------------------------------------------------------------------------------

    def compare(self, lane: Lane) -> list[Edge]:
        """Compare the hour this probe just closed with the others' same hour, once all have it.

        While a fault of cooling or door, or heat, makes the air differ from place to place no probe is newly
        named; a comparison that already names one goes on, so that it can end.
        """
        if len(lane.slow.hours) < 2 or len(self._lanes) < 2:  # noqa: PLR2004  the last hour is still open
            return []
        number = lane.slow.hours[-2].number
        edges: list[Edge] = []
        for own in self._lanes:
            if self._hour[own.plan.name] >= number or any(_is_due(o, number) for o in self._lanes):
                continue
            hour = _hour(own, number)
            others = [h for o in self._lanes if o is not own and (h := _hour(o, number)) is not None]
            if hour is None or not others:
                continue
            self._hour[own.plan.name] = number
            if not self._shaken or self._names(own):
                edges += self._compare(own, hour, others)
        return edges

    def _names(self, lane: Lane) -> bool:
        return any(state.named for state in self._compared[lane.plan.name])

    def _compare(self, lane: Lane, own: Hour, others: list[Hour]) -> list[Edge]:
        at_ms = (own.number + 1) * MS_PER_H
        states = self._compared[lane.plan.name]
        edges = []
        pairs = (
            ("temperature", disagree.LIMIT_C, _temp_mean),
            ("humidity", disagree.LIMIT_PCT, _rh_mean),
        )
        for i, (half, within, mean) in enumerate(pairs):
            a, b = mean(own), [m for o in others if (m := mean(o)) is not None]
            if a is None or not b:
                continue
            states[i], found = disagree.step(states[i], at_ms, a, median(b), within, frozen=self.frozen)
            named_already = states[1 - i].named == 1
            if found is not None and found.probe == 1 and not named_already:
                edges.append(
                    Edge(
                        Kind.PROBES_DISAGREE,
                        lane.plan.name,
                        found.active,
                        at_ms,
                        found.since_ms,
                        found.value,
                        within,
                        detail=half,
                    )
                )
        return edges

    def leave(self, probe: str) -> None:
        """A probe goes out of service: nothing of it waits, and it is named no more."""
        self._held = {key: kept for key, kept in self._held.items() if key[0] != probe}
        self._ending = [edge for edge in self._ending if edge.probe != probe]
        self._compared[probe] = [disagree.State(hours=state.hours) for state in self._compared[probe]]

    def learn_from(self, past: Chamber) -> None:
        """Take over the learnt differences of another life of this chamber, and nobody named."""
        for name, states in past._compared.items():
            self._compared[name] = [disagree.State(hours=state.hours) for state in states]

    def to_json(self) -> dict[str, Any]:
        """Return the state as JSON values."""
        return {
            "compared": {name: frozen_state.dump(tuple(pair)) for name, pair in self._compared.items()},
            "hour": self._hour,
            "held": [[frozen_state.dump(edge), until_ms] for edge, until_ms in self._held.values()],
            "ending": [frozen_state.dump(edge) for edge in self._ending],
            "minute": [self.minute, self.frozen, self._shaken],
        }

    def from_json(self, body: dict[str, Any]) -> None:
        """Restore what `to_json` returned, for the probes planned now."""
        for name in self._compared:
            if name in body["compared"]:
                self._compared[name] = [frozen_state.load(disagree.State, s) for s in body["compared"][name]]
                self._hour[name] = body["hour"][name]
        self.minute, self.frozen, self._shaken = body["minute"]
        for parts, until_ms in body["held"]:
            edge = Edge(Kind(parts[0]), *parts[1:])
            if edge.probe in self._compared:
                self._held[edge.probe, edge.kind] = (edge, until_ms)
        self._ending = [Edge(Kind(parts[0]), *parts[1:]) for parts in body["ending"]]


def _shares(other: Lane, lane: Lane, kind: Kind) -> bool:
    """Whether another probe sees the same slow condition of the air; drifts must go the same way."""
    slow = other.slow
    match kind:
        case Kind.TEMPERATURE_DRIFT:
            return slow.temperature_drift.told == lane.slow.temperature_drift.told
        case Kind.HUMIDITY_DRIFT:
            return slow.humidity_drift.told == lane.slow.humidity_drift.told
        case Kind.DOOR_OPEN:
            return slow.door.since_ms > 0  # the jump is enough: how far it goes depends on the place
        case Kind.HUMIDITY_SWING:
            return slow.swing.fast.active or slow.swing.slow.active
        case _:
            return slow.condensation.wet_since_ms > 0


def _speaks(lane: Lane, at_ms: int) -> bool:
    return at_ms - _newest_ms(lane) <= lane.hold_ms


def _newest_ms(lane: Lane) -> int:
    return max(lane.temperature.last_ms or 0, lane.humidity.last_ms or 0)


def _is_due(lane: Lane, number: int) -> bool:
    """Whether this probe speaks and will yet close that hour."""
    hours = lane.slow.hours
    return bool(hours) and hours[-1].number <= number and _speaks(lane, (number + 1) * MS_PER_H)


def _hour(lane: Lane, number: int) -> Hour | None:
    return next((h for h in lane.slow.hours[:-1] if h.number == number), None)


def _temp_mean(hour: Hour) -> float | None:
    return hour.temp_sum / hour.temps if hour.temps >= MINUTES_OF_AN_HOUR else None


def _rh_mean(hour: Hour) -> float | None:
    return hour.rh_sum / hour.rhs if hour.rhs >= MINUTES_OF_AN_HOUR else None


def _range_c(lane: Lane, since: int) -> float:
    seen = [h for h in lane.slow.hours if h.number > since and h.temps]
    return max((h.temp_max for h in seen), default=0.0) - min((h.temp_min for h in seen), default=0.0)


def _range_pct(lane: Lane, since: int) -> float:
    seen = [h for h in lane.slow.hours if h.number > since and h.rhs]
    return max((h.rh_max for h in seen), default=0.0) - min((h.rh_min for h in seen), default=0.0)
