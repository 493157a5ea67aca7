"""Hours of air for two probes, drawn by hypothesis: acts that follow one another over a fridge's saw-tooth."""

from __future__ import annotations

import math
import random
from typing import NamedTuple

from hypothesis import strategies as st

from chamberwatch.engine import Engine
from chamberwatch.model import (
    MS_PER_MIN,
    Band,
    ChamberKind,
    ChamberPlan,
    Event,
    EventState,
    Kind,
    Plan,
    ProbePlan,
    Reading,
)

T0 = 1_793_404_800_000
PROBES = ("rear", "front")
AIR_KINDS = frozenset(
    {
        Kind.TEMPERATURE_HIGH, Kind.TEMPERATURE_LOW, Kind.HUMIDITY_HIGH, Kind.HUMIDITY_LOW, Kind.TEMPERATURE_DRIFT,
        Kind.HUMIDITY_DRIFT, Kind.HUMIDITY_SWING, Kind.CONDENSATION_RISK, Kind.COOLING_LOST, Kind.DOOR_OPEN,
    }
)  # fmt: skip
BAND_KINDS = (Kind.TEMPERATURE_HIGH, Kind.TEMPERATURE_LOW, Kind.HUMIDITY_HIGH, Kind.HUMIDITY_LOW)


def house(outward: float = 0.0, probes: tuple[str, ...] = PROBES) -> Plan:
    """Return a house of one chamber, its band's limits moved outward by °C and as many times 2 %RH."""
    temperature, humidity = Band(10 - outward, 15 + outward, 60), Band(70 - 2 * outward, 80 + 2 * outward, 100)
    cellar = ChamberPlan("cellar", ChamberKind.CURE_CHAMBER, temperature, humidity, urgent_low_c=-20, urgent_high_c=60)
    return Plan((cellar,), tuple(ProbePlan(name, "cellar", every_s=60) for name in probes))


class Act(NamedTuple):
    """What happens for some minutes: to whom (None: to both), and how much."""

    what: str
    who: str | None
    minutes: int
    size: float


class Air(NamedTuple):
    """Acts over a saw-tooth of that period [min] (0: still air), seeded."""

    acts: tuple[Act, ...]
    period: int
    seed: int


WHATS = (
    "steady", "steady", "warms", "dries", "dampens", "offset", "hot", "fight", "stands", "silent", "half", "glitch",
    "cold",
)  # fmt: skip
ACTS = st.builds(
    Act,
    st.sampled_from(WHATS),
    st.sampled_from([None, None, *PROBES]),
    st.sampled_from([3, 20, 61, 130, 240]),
    st.sampled_from([0.3, 1.0, 2.5]),
)
AIRS = st.builds(
    Air,
    st.lists(ACTS, min_size=1, max_size=6).map(tuple),
    st.sampled_from([0, 17, 20, 45]),
    st.integers(0, 999),
)


def _altered(act: Act, m: int, temp_c: float, rh_pct: float, rng: random.Random) -> tuple[float | None, float | None]:
    size, hours = act.size, m / 60
    match act.what:
        case "warms":
            temp_c, rh_pct = temp_c + 2 * size * hours, rh_pct - size * hours
        case "dries":
            rh_pct -= 3 * size * hours
        case "dampens":
            rh_pct += 3 * size * hours
        case "offset":
            temp_c, rh_pct = temp_c + size, rh_pct + 3 * size
        case "hot":
            temp_c, rh_pct = temp_c + 3 * size * min(1, m / 4), rh_pct - 6 * size * min(1, m / 4)
        case "fight":
            rh_pct += 6 * size * math.sin(m / 4)
        case "glitch" if rng.random() < size / 5:
            temp_c = 80.0
        case "half":
            return (temp_c, None) if m % 3 else (None, rh_pct)
        case "cold":
            temp_c -= 7.0
        case _:
            pass
    return temp_c, rh_pct


def _probe(air: Air, name: str) -> list[Reading]:
    rng, out, now = random.Random(f"{air.seed} {name}"), [], 0
    last: tuple[float | None, float | None] = (12.5, 75.0)
    for act in air.acts:
        mine = act.who in {None, name}
        for m in range(act.minutes):
            part = now % air.period / air.period if air.period else 0.5
            tooth = 1 - abs(2 * part - 1)
            temp_c = 12.0 + 0.9 * tooth + rng.gauss(0, 0.03)
            rh_pct = 76.5 - 3.0 * tooth + rng.gauss(0, 0.2)
            if not (mine and act.what == "stands"):
                t, h = _altered(act, m, temp_c, rh_pct, rng) if mine else (temp_c, rh_pct)
                last = (None if t is None else round(t, 2), None if h is None else round(min(max(h, 0), 100), 2))
            if not (mine and act.what == "silent"):
                at_ms = T0 + now * MS_PER_MIN
                out.append(Reading(name, at_ms, *last, at_ms))
            now += 1
    return out


def readings(air: Air, order: tuple[str, ...] = PROBES) -> list[Reading]:
    """Return all readings in order of time; within one minute in the given order of probes."""
    places = {name: n for n, name in enumerate(order)}
    return sorted((r for name in order for r in _probe(air, name)), key=lambda r: (r.at_ms, places[r.probe]))


def run(plan: Plan, items: list[Reading], cuts: frozenset[int] = frozenset()) -> list[Event]:
    """Fold; before the items with these numbers, through a snapshot into another engine."""
    engine, events = Engine(plan), []
    for i, item in enumerate(items):
        if i in cuts:
            body, engine = engine.snapshot(), Engine(plan)
            engine.restore(body)
        events += engine.step(item)
    return events


def edges(events: list[Event]) -> list[tuple[int, str, str, str]]:
    """Return what an owner would call the same story: times, kinds, states, chambers."""
    return sorted((e.at_ms, e.kind, e.state, e.chamber) for e in events if e.state is not EventState.NOTED)


def standing(events: list[Event], kind: Kind) -> list[tuple[int, int]]:
    """Return the spans during which that alarm stood."""
    spans, since = [], None
    for e in events:
        if e.kind is kind and e.state is EventState.ACTIVE:
            since = e.at_ms
        elif e.kind is kind and e.state is EventState.RETURNED and since is not None:
            spans.append((since, e.at_ms))
            since = None
    return [*spans, *([] if since is None else [(since, 1 << 62)])]
