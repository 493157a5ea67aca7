"""Laws of the whole fold over hours of air: restarts, order, gaps, limits, quiet."""

from __future__ import annotations

import random
from itertools import pairwise

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from rules_air import AIR_KINDS, AIRS, BAND_KINDS, PROBES, T0, Act, Air, edges, house, readings, run, standing

from chamberwatch.engine import Engine
from chamberwatch.inputs import Acknowledge, Hangs, Tend, Tick
from chamberwatch.model import MS_PER_DAY, MS_PER_H, MS_PER_MIN, EventState, HangingTime, Kind, Reading

FEW = settings(max_examples=18, deadline=None)
OTHERS = st.lists(
    st.tuples(st.sampled_from(["tick", "tend", "hang", "acknowledge"]), st.integers(0, 900)), max_size=5
)


def with_others(items, others):
    """Put a few other inputs among the readings."""
    made = {
        "tick": Tick,
        "tend": lambda at_ms: Tend(at_ms, "cellar", at_ms + 30 * MS_PER_MIN),
        "hang": lambda at_ms: Hangs(at_ms, "cellar", (HangingTime(at_ms, at_ms, None),)),
        "acknowledge": lambda at_ms: Acknowledge(at_ms, None, None, "someone"),
    }
    extra = [made[what](T0 + minute * MS_PER_MIN) for what, minute in others]
    return sorted([*items, *extra], key=lambda i: i.at_ms)


@FEW
@given(AIRS, OTHERS, st.sets(st.integers(0, 2000), max_size=6), st.integers(40, 400))
def test_restart_anywhere_gives_the_same_events(air, others, cuts, every):
    """Saved and restored at any points, the same story to the last field, ids and all."""
    items = with_others(readings(air), others)
    points = frozenset(cuts) | frozenset(range(0, len(items), every))

    assert run(house(), items, points) == run(house(), items)


@FEW
@given(AIRS)
@example(Air((Act("cold", None, 3, 0.3), Act("hot", "rear", 240, 0.3), Act("cold", None, 3, 0.3), Act("warms", None, 240, 1.0)), 17, 0))
@example(Air((Act("warms", "rear", 240, 2.5), Act("silent", None, 3, 0.3), Act("steady", None, 3, 0.3)), 0, 0))
def test_the_probes_order_gives_the_same_alarms(air):
    """Whichever probe of a minute is heard first: the same kinds at the same times."""
    assert edges(run(house(), readings(air))) == edges(run(house(), readings(air, PROBES[::-1])))


@FEW
@given(AIRS.filter(lambda air: not any(act.what in {"glitch", "cold"} for act in air.acts)))
@example(Air((Act("stands", None, 240, 0.3), Act("stands", "rear", 3, 0.3), Act("steady", None, 3, 0.3)), 0, 0))
@example(Air((Act("steady", None, 122, 0.3), Act("fight", None, 20, 2.5), Act("stands", None, 20, 0.3)), 20, 0))
def test_halves_in_two_messages_give_the_same_alarms(air):
    """Temperature and humidity of one time may come apart, where none is nonsense: that is counted by message."""
    whole = readings(air)
    apart = [
        half for r in whole for half in (r._replace(rh_pct=None), r._replace(temp_c=None))
        if half.temp_c is not None or half.rh_pct is not None
    ]  # fmt: skip

    assert edges(run(house(), apart)) == edges(run(house(), whole))


@FEW
@given(AIRS)
def test_every_occurrence_is_one_active_and_one_returned(air):
    """They alternate, beginning with active; ids are unique; a cause was told before, and is a first one."""
    events = run(house(), readings(air))
    told = {}
    for kind in Kind:
        states = [e.state for e in events if e.kind is kind and e.state is not EventState.NOTED]
        assert all(a is not b for a, b in pairwise(states))
        assert not states or states[0] is EventState.ACTIVE
    for event in events:
        assert event.id not in told
        told[event.id] = event
        assert event.because is None or (event.because in told and told[event.because].because is None)


@FEW
@given(AIRS, st.sampled_from([0.5, 1.0, 3.0]))
def test_a_limit_moved_outward_never_adds_a_band_alarm(air, outward):
    """Whenever the wider band's alarm begins, the narrower one's stands already or begins with it."""
    items = readings(air)
    narrow, wide = run(house(probes=("rear",)), items), run(house(outward, ("rear",)), items)
    for kind in BAND_KINDS:
        spans = standing(narrow, kind)
        assert all(any(a <= begins <= b for a, b in spans) for begins, _ in standing(wide, kind))


@FEW
@given(AIRS, st.integers(1, 3))
def test_time_alone_raises_no_air_alarm(air, days):
    """After the last reading: silence is told, the air is not."""
    engine, items = Engine(house()), readings(air)
    for item in items:
        engine.step(item)
    end_ms = items[-1].at_ms if items else T0
    later = [e for m in range(1, days * 24) for e in engine.step(Tick(end_ms + m * MS_PER_H))]

    assert [e for e in later if e.kind in AIR_KINDS and e.state is EventState.ACTIVE] == []


@FEW
@given(
    st.sampled_from([0, 20, 45]), st.integers(0, 999), st.floats(0.05, 0.95),
    st.lists(st.tuples(st.integers(0, 1400), st.integers(2, 400)), max_size=4),
)  # fmt: skip
def test_missing_data_never_raises_an_air_alarm(period, seed, kept, gaps):
    """Of a healthy day any readings, any halves and whole hours may be missing: the air is never blamed."""
    rng = random.Random(seed)
    items = []
    for item in readings(Air((Act("steady", None, 1440, 1.0),), period, seed)):
        minute = (item.at_ms - T0) / MS_PER_MIN
        if rng.random() > kept or any(first <= minute < first + n for first, n in gaps):
            continue
        lost = rng.random()
        halves = {"temp_c": None} if lost < 0.1 else {"rh_pct": None} if lost < 0.2 else {}
        items.append(item._replace(**halves))

    assert [e for e in run(house(), items) if e.kind in AIR_KINDS] == []


def noisy(seed, days, *, temp_c, rh_pct, sd_c, sd_pct, offset):
    """Return days of constant air as two probes with their own noise and offsets report it."""
    rng = random.Random(seed)
    for m in range(days * 1440):
        for n, name in enumerate(PROBES):
            at_ms = T0 + m * MS_PER_MIN
            t, h = temp_c + n * offset * 0.3 + rng.gauss(0, sd_c), rh_pct + n * offset * 2.5 + rng.gauss(0, sd_pct)
            yield Reading(name, at_ms, round(t, 2), round(h, 2), at_ms)


@settings(max_examples=6, deadline=None)
@given(
    st.integers(0, 999), st.floats(10.6, 14.2), st.floats(73, 77), st.floats(0.005, 0.06), st.floats(0.01, 0.6),
    st.floats(-1, 1),
)  # fmt: skip
def test_constant_air_is_silent_for_three_days(seed, temp_c, rh_pct, sd_c, sd_pct, offset):
    """Noise and offsets of ordinary probes inside the band: not one event."""
    items = noisy(seed, 3, temp_c=temp_c, rh_pct=rh_pct, sd_c=sd_c, sd_pct=sd_pct, offset=offset)

    assert run(house(), list(items)) == []


@FEW
@given(AIRS)
def test_a_snapshot_is_small_whatever_happened(air):
    """At most 4 kB for a chamber of two probes, alarms standing or not."""
    engine = Engine(house())
    for item in readings(air):
        engine.step(item)

    assert len(engine.snapshot()) <= 4096


@pytest.mark.parametrize("period", [0, 12, 20, 45, 100])
def test_a_snapshot_is_small_after_a_day(period):
    """A day learnt, two days seen, every list full."""
    engine = Engine(house())
    day = MS_PER_DAY // MS_PER_MIN
    for item in readings(Air((Act("steady", None, day, 1.0), Act("fight", None, day, 2.5)), period, 7)):
        engine.step(item)

    assert len(engine.snapshot()) <= 4096
