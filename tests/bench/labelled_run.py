"""One labelled run: a case, a plant and a seed become bytes on a wire, the engine judges, the truth is kept."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, replace

import labelled_cast as cast
from labelled_cast import Case, Part
from labelled_truth import ACCURACY_C, ACCURACY_PCT, HUMIDITY, TEMPERATURE, Truth

from chamberwatch.engine import Engine
from chamberwatch.inputs import Hangs, Input, Tend, Tick
from chamberwatch.model import (
    MS_PER_DAY,
    MS_PER_H,
    MS_PER_MIN,
    ChamberKind,
    ChamberPlan,
    Event,
    EventState,
    HangingTime,
    Note,
    Plan,
    Priority,
    ProbePlan,
)
from chamberwatch.rules.doubt import BAND_KINDS
from chamberwatch.wire.framing import Line as Framed
from chamberwatch.wire.framing import LineFramer
from chamberwatch.wire.senml import decode
from simulator.cabinet import CABINETS, Cabinet, Defrost, Hygrostat, varied
from simulator.chamber import tell
from simulator.delivery import delivered
from simulator.faults import Fault, Trouble
from simulator.probes import Line, ProbeBuild
from simulator.weather import Climate
from simulator.weekend import Piece, Weekend

START_MS = 1_731_024_000_000  # a Friday, 2024-11-08T00:00:00Z
CHAMBER = "larder"
OFF_PCT = 5.0
TEND_MS = 30 * MS_PER_MIN
SETTLE_MS = 8 * MS_PER_H
"""The plant runs so long before the monitor is switched on: a chamber that hangs meat has found its balance."""
SETS = {"12": (12.0, 75.0), "13.5": (13.5, 73.0), "edge": (14.3, 78.4)}
"""Set points of the quiet weeks: °C, %RH; at the edge the saw-tooth crosses 15 °C and 80 %RH in each cycle."""
OVER_MIDDLE_PCT = {"fridge": 0.9, "cabinet": -0.2}
"""How far the air's mean lies above the middle of the hygrostat's switch points: the coil gives water back."""


@dataclass
class Scene:
    """All that happens in one run."""

    weekend: Weekend
    plan: Plan
    inputs: list[Input]
    start_ms: int
    onset_ms: int
    end_ms: int
    stir_ms: int
    """When the first of its faults or its weather begins: what is told from then on may be theirs."""


@dataclass
class Told:
    """One event as the judge sees it."""

    at_ms: int
    kind: str
    state: str
    because: bool
    probes: tuple[str, ...]
    value: float | None
    id: str


@dataclass
class Outcome:
    """A run's events and what the truth says about by when they were due."""

    case: str
    plant: str
    seed: int
    start_ms: int
    onset_ms: int
    end_ms: int
    due_ms: int | None
    period_min: float
    told: list[Told]
    stir_ms: int
    slow_h: float | None = None
    """How long the mean air took from its usual to leaving the band."""


def specimen(kind: str, rng: random.Random, temp_c: float, humidity_pct: float, *, wide: bool = False) -> Cabinet:
    """Return one plant of its kind, set so that its air has about that mean temperature and humidity."""
    usual = varied(CABINETS[kind], rng)
    saw_c = (1.6 if wide else 0.8) if kind == "fridge" else (1.8 if wide else 1.4)
    # The liner's and the sensor's lag put the mean a little off the middle of the switch points.
    thermostat = replace(usual.thermostat, on_c=temp_c + saw_c / 2, off_c=temp_c - saw_c / 2)
    half = (usual.hygrostat.off_pct - usual.hygrostat.on_pct) / 2
    middle_pct = humidity_pct - OVER_MIDDLE_PCT[kind]
    hygrostat = Hygrostat(middle_pct - half, middle_pct + half)
    if kind == "fridge" and rng.random() < 0.5:
        usual = replace(usual, defrost=Defrost(every_s=rng.choice((8, 12, 24)) * 3600.0, for_s=1200.0))
    return replace(usual, thermostat=thermostat, hygrostat=hygrostat)


def probes(rng: random.Random, names: tuple[str, ...], offset: float = 1.0) -> tuple[ProbeBuild, ...]:
    """Return probes of a seed: offsets within their accuracy, lags, noise, and where they hang."""
    step = rng.choice((0.01, 0.01, 0.1))
    return tuple(
        ProbeBuild(
            name,
            temp_lag_s=rng.uniform(40, 90),
            rh_lag_s=rng.uniform(15, 40),
            temp_offset_c=offset * max(-0.3, min(0.3, rng.gauss(0, 0.15))),
            rh_offset_pct=offset * max(-2.5, min(2.5, rng.gauss(0, 1.2))),
            temp_noise_c=rng.uniform(0.01, 0.04),
            rh_noise_pct=rng.uniform(0.05, 0.25),
            step_c=step,
            step_pct=step,
            near_room=rng.uniform(0.0, 0.02) if name == "front" else 0.0,
            near_coil=rng.uniform(0.0, 0.03) if name == "rear" else 0.0,
        )
        for name in names
    )


def fault_scene(case: Case, plant: str, seed: int) -> Scene:
    """Return a case's run for one plant and seed."""
    rng = random.Random(f"{case.name} {plant} {seed}")
    start_ms = START_MS + rng.randrange(24) * MS_PER_H
    onset_ms = start_ms + round(rng.uniform(*case.onset_hour) * 720) * 5000
    names = ("rear",) if case.lone else ("rear", "front")
    faults = [f for part in case.parts for f in _faults(part, names, onset_ms, start_ms, rng)]
    end_ms = max(f.to_ms for f in faults if f.what not in (Trouble.HOT_DAYS, Trouble.HUMID_DAYS)) if any(
        f.what not in (Trouble.HOT_DAYS, Trouble.HUMID_DAYS) for f in faults
    ) else max(f.to_ms for f in faults)
    end_ms += round(case.tail_h * MS_PER_H)
    faults = [replace(f, to_ms=min(f.to_ms, end_ms)) for f in faults]
    cabinet = specimen(plant, rng, rng.uniform(11.8, 13.2), rng.uniform(*case.humidity_pct))
    visits = _visits(rng, start_ms + MS_PER_H, onset_ms - MS_PER_H, 2.0)
    weekend = _weekend(cabinet, seed, start_ms, end_ms, probes(rng, names, case.offset), faults, visits, rng)
    inputs: list[Input] = []
    for after_h in case.tends:
        at_ms = onset_ms + round(after_h * MS_PER_H)
        inputs.append(Tend(at_ms, CHAMBER, at_ms + TEND_MS))
    if case.hangs:
        inputs.append(_hangs(onset_ms, start_ms, onset_ms))
    return Scene(weekend, plan_of(weekend, over_broker=case.over_broker), inputs, start_ms, onset_ms, end_ms,
                 min(f.from_ms for f in faults))


def _hangs(at_ms: int, start_ms: int, *hung_ms: int) -> Hangs:
    """Return what the owner told: an old piece of 20 days before the start, and these."""
    old_ms = start_ms - 20 * MS_PER_DAY
    return Hangs(at_ms, CHAMBER, tuple(HangingTime(t, t, None) for t in (old_ms, *hung_ms)))


def _faults(part: Part, names: tuple[str, ...], onset_ms: int, start_ms: int, rng: random.Random) -> Iterator[Fault]:
    from_ms = max(onset_ms + round(part.after_h * 720) * 5000, start_ms)
    to_ms = from_ms + max(1, round(rng.uniform(*part.hours) * 720)) * 5000
    size = (rng.uniform(*part.far), rng.uniform(*part.amount), rng.uniform(*part.ramp_h))
    for name in names if part.probe == "all" else (part.probe,):
        yield Fault(part.what, from_ms, to_ms, name, *size, part.halves_h)


def _visits(rng: random.Random, from_ms: int, to_ms: int, a_day: float) -> list[Fault]:
    visits: list[Fault] = []
    at_ms = from_ms
    while True:
        at_ms += max(5000, round(rng.expovariate(a_day / 24.0) * 720) * 5000)
        if at_ms >= to_ms:
            return visits
        if 7 <= at_ms / MS_PER_H % 24 < 23:
            until_ms = at_ms + round(rng.uniform(1, 3) * 12) * 5000
            visits.append(Fault(Trouble.DOOR_AJAR, at_ms, until_ms, how_far=rng.uniform(0.5, 1.0)))


def quiet_scene(sets: str, plant: str, seed: int, days: float = 7.0) -> Scene:
    """Return a quiet week: doors, defrosts, a weigh day, sometimes a new piece; nothing is wrong."""
    rng = random.Random(f"quiet {sets} {plant} {seed}")
    start_ms = START_MS + rng.randrange(24) * MS_PER_H
    end_ms = start_ms + round(days * 24 * MS_PER_H)
    edge = sets == "edge"
    cabinet = specimen(plant, rng, *SETS[sets], wide=edge)
    visits = _visits(rng, start_ms + MS_PER_H, end_ms - MS_PER_H, 3.0)
    inputs: list[Input] = []
    day_ms = start_ms + round(rng.uniform(1.5, max(1.6, days - 1)) * 24) * MS_PER_H
    inputs.append(Tend(day_ms, CHAMBER, day_ms + TEND_MS))
    for minute in (1, 9, 19):
        from_ms = day_ms + minute * MS_PER_MIN
        visits.append(Fault(Trouble.DOOR_AJAR, from_ms, from_ms + round(rng.uniform(3, 7)) * MS_PER_MIN))
    faults: list[Fault] = []
    if rng.random() < 0.5 and not edge:
        hung_ms = start_ms + round(rng.uniform(1, max(1.1, days - 2)) * 24) * MS_PER_H
        inputs += [Tend(hung_ms, CHAMBER, hung_ms + TEND_MS), _hangs(hung_ms, start_ms, hung_ms)]
        visits.append(Fault(Trouble.DOOR_AJAR, hung_ms + MS_PER_MIN, hung_ms + 4 * MS_PER_MIN))
        faults.append(Fault(Trouble.WET_THING, hung_ms, end_ms, amount=rng.uniform(3.8, 4.4)))
    built = probes(rng, ("rear", "front"), 0.4 if edge else 1.0)
    weekend = _weekend(cabinet, seed, start_ms, end_ms, built, faults, visits, rng)
    return Scene(weekend, plan_of(weekend), inputs, start_ms, end_ms, end_ms, end_ms)


def _weekend(
    cabinet: Cabinet, seed: int, start_ms: int, end_ms: int, built: tuple[ProbeBuild, ...], faults: list[Fault],
    visits: list[Fault], rng: random.Random,
) -> Weekend:
    climate = Climate(
        mean_c=rng.uniform(19.5, 22.5), daily_c=rng.uniform(0.5, 2.0), slow_c=rng.uniform(0.3, 1.0),
        mean_vapour_pa=rng.uniform(700, 1050), slow_vapour_pa=rng.uniform(30, 120),
    )
    pieces = tuple(
        Piece(f"Piece {n}", {}, start_ms - 9 * 24 * MS_PER_H, start_ms, rng.uniform(1.4, 2.2), rng.uniform(5, 14))
        for n in range(rng.randint(1, 4))
    )
    every_s = 10 if seed % 5 == 4 else 30
    return Weekend(
        "labelled", "", CHAMBER, cabinet, climate, seed, start_ms - SETTLE_MS, end_ms, every_s, built, pieces, (),
        (*visits, *faults), (), (),
    )


def plan_of(weekend: Weekend, *, over_broker: bool = False) -> Plan:
    """Return the house as the engine is told it is."""
    chamber = ChamberPlan(CHAMBER, ChamberKind.CURE_CHAMBER, TEMPERATURE, HUMIDITY)
    own = (
        ProbePlan(b.name, CHAMBER, weekend.every_s, ACCURACY_C, ACCURACY_PCT, over_broker) for b in weekend.probes
    )
    return Plan((chamber,), tuple(own))


def inputs(scene: Scene, truth: Truth) -> Iterator[Input]:
    """Yield all that the engine is fed, in the order of arrival: lines by way of the wire, a tick each minute."""
    weekend = scene.weekend
    framers = {b.name: LineFramer() for b in weekend.probes}
    others = sorted(scene.inputs, key=lambda i: i.at_ms, reverse=True)
    tick_ms = scene.start_ms + MS_PER_MIN
    yield _hangs(scene.start_ms, scene.start_ms)
    for word in delivered(tell(weekend, watch=truth), weekend.visits, weekend.seed):
        if word.at_ms < scene.start_ms:
            continue
        while tick_ms <= word.at_ms:
            yield Tick(tick_ms)
            tick_ms += MS_PER_MIN
        while others and others[-1].at_ms <= word.at_ms:
            yield others.pop()
        if not isinstance(word, Line):
            framers[word.probe].reset()
            continue
        for framed in framers[word.probe].feed(word.data):
            if isinstance(framed, Framed):
                yield from decode(framed.payload, word.probe, word.at_ms)
    while tick_ms <= weekend.end_ms:
        yield Tick(tick_ms)
        tick_ms += MS_PER_MIN


def live(scene: Scene) -> tuple[list[Event], Truth]:
    """Return what the engine tells in this run, and the truth."""
    truth, engine = Truth(), Engine(scene.plan)
    return [e for item in inputs(scene, truth) for e in engine.step(item)], truth


def run(case: Case, plant: str, seed: int) -> Outcome:
    """Return the outcome of one labelled fault."""
    scene = fault_scene(case, plant, seed)
    events, truth = live(scene)
    onset_ms = scene.onset_ms
    period_ms = truth.period_ms(onset_ms)
    due_ms = _due_ms(case, scene, truth) if case.must else None
    slow_h = truth.slow_h(onset_ms) if case.slow else None
    return _outcome(case.name, plant, seed, scene, events, due_ms, period_ms, slow_h)


def _due_ms(case: Case, scene: Scene, truth: Truth) -> int | None:
    """Return by when the first alarm is due, None if the truth gives no reason for one."""
    onset_ms = scene.onset_ms
    match case.within:
        case float(minutes):
            return onset_ms + round(minutes * MS_PER_MIN)
        case cast.CYCLES:
            warm_ms = truth.warm_ms(onset_ms)
            least_ms = onset_ms + 2 * truth.period_ms(onset_ms) + 15 * MS_PER_MIN
            return None if warm_ms is None else max(warm_ms, least_ms)
        case cast.AIR:
            return _after(truth.left_ms(onset_ms), 60)
        case cast.DRY20:
            return _after(truth.dry20_ms(onset_ms), 10)
        case cast.SHOWN:
            shown_ms = truth.shown_ms(onset_ms)
            tended_ms = max((i.until_ms for i in scene.inputs if isinstance(i, Tend)), default=0)
            return _after(None if shown_ms is None else max(shown_ms, tended_ms), 30)
        case _:
            creeping = next(f for f in scene.weekend.faults if f.what is Trouble.CREEPING)
            return creeping.from_ms + round(OFF_PCT / abs(creeping.amount) * MS_PER_H)


def _after(at_ms: int | None, minutes: int) -> int | None:
    return None if at_ms is None else at_ms + minutes * MS_PER_MIN


def run_quiet(sets: str, plant: str, seed: int, days: float = 7.0) -> Outcome:
    """Return the outcome of one quiet week."""
    scene = quiet_scene(sets, plant, seed, days)
    events, truth = live(scene)
    return _outcome(f"quiet {sets}", plant, seed, scene, events, None, truth.period_ms(scene.end_ms))


def _doubted(event: Event) -> bool:
    """Whether it is recorded, but told to nobody: out of the band within the probe's own accuracy."""
    return event.kind in BAND_KINDS and event.priority is Priority.LOW


def _now_certain(event: Event, events: list[Event]) -> bool:
    """Whether it is the first word that such air is clearly outside now, which is when it is told."""
    same = [e for e in events if (e.chamber, e.kind, e.since_ms) == (event.chamber, event.kind, event.since_ms)]
    raised = [e for e in same if e.note is Note.RAISED]
    return any(map(_doubted, same)) and bool(raised) and raised[0] is event


def _outcome(
    case: str, plant: str, seed: int, scene: Scene, events: list[Event], due_ms: int | None, period_ms: int,
    slow_h: float | None = None,
) -> Outcome:
    told = [
        Told(e.at_ms + e.late_ms, str(e.kind), str(e.state), e.because is not None, e.probes, e.value, e.id)
        for e in events
        if e.state is not EventState.NOTED or e.note is Note.FACT or _now_certain(e, events)
        if not _doubted(e)
    ]
    period_min = period_ms / MS_PER_MIN
    return Outcome(case, plant, seed, scene.start_ms, scene.onset_ms, scene.end_ms, due_ms, period_min, told,
                   scene.stir_ms, slow_h)
