"""One probe's way through its rules: order, halves, sessions, rooms, restarts."""

import json
import random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rule_parts import CELLAR, HOUR, at, minutes_after, reading, saw

from chamberwatch.model import MS_PER_MIN, Band, ChamberKind, Kind, ProbePlan
from chamberwatch.rules import stuck
from chamberwatch.rules.lane import Lane
from chamberwatch.rules.track import Track

PROBE = ProbePlan("rear", "cellar", every_s=60)
DAY = int(24 * HOUR)
SHED = replace(CELLAR, kind=ChamberKind.ROOM, temperature=Band(5, 18, 60), humidity=Band(60, 88, 100))


def lane(chamber=CELLAR):
    """A probe that was never heard."""
    return Lane(PROBE, chamber)


def thawed(one, chamber=CELLAR):
    """Return the probe as a restart finds it."""
    again = Lane(PROBE, chamber)
    again.from_json(json.loads(json.dumps(one.to_json())))
    return again


def feed(one, readings, *, frozen=False):
    """Return every edge."""
    return [edge for r in readings for edge in one.take(r, frozen=frozen)]


def air(until, first=0, temp_c=12.5, rh_pct=75.0, seed=1):
    """Readings a minute apart with a probe's noise."""
    rng = random.Random(seed)
    return [reading("rear", m, temp_c + rng.gauss(0, 0.03), rh_pct + rng.gauss(0, 0.2)) for m in range(first, until)]


def test_a_reading_at_or_behind_the_newest_is_not_heard():
    """It changes nothing at all, however bad."""
    one = lane()
    feed(one, air(100))
    before = one.to_json()

    assert feed(one, [reading("rear", m, 40.0, 5.0) for m in (99, 50, 0)]) == []
    assert one.to_json() == before


def test_halves_are_late_each_for_itself():
    """A humidity of a time whose temperature is known already is still new."""
    one = lane()
    one.take(reading("rear", 5, 12.5, None), frozen=False)
    one.take(reading("rear", 5, None, 75.0), frozen=False)

    assert (one.temperature.last_ms, one.humidity.last_ms) == (at(5), at(5))


def test_a_missing_half_leaves_its_rules_as_they_are():
    """An hour of temperature alone moves no humidity's sum, and raises none."""
    one = lane()
    feed(one, [reading("rear", m, 12.5 + m % 2 / 100, 69.0 - m % 2 / 100) for m in range(20)])
    sums = list(one.humidity.sums)
    edges = feed(one, [reading("rear", m, 17.0, None) for m in range(20, 80)])

    assert sums[1].level > 0
    assert one.humidity.sums == sums
    assert [e.kind for e in edges] == [Kind.TEMPERATURE_HIGH]


def test_a_glitch_is_dropped_and_counted():
    """Neither limits nor minutes ever see it."""
    one = lane()
    edges = feed(one, [reading("rear", m, 85.0 if m == 50 else 12.5 + m % 2 / 100, 75.0) for m in range(100)])

    assert edges == []
    assert max(hour.temp_max for hour in one.slow.hours) < 13


def test_many_glitches_make_a_probe_implausible():
    """Two of three readings nonsense, each another: told once, under its own name."""
    one = lane()
    edges = feed(one, [reading("rear", m, (12.5, 85.0, -35.0)[m % 3], 75.0 + m % 5 / 100) for m in range(100)])

    assert [(e.kind, e.active) for e in edges if e.kind is Kind.PROBE_IMPLAUSIBLE] == [
        (Kind.PROBE_IMPLAUSIBLE, True)
    ]


def spoilt(share, until, seed=1):
    """A probe each 10 s of whose readings that share is nonsense, each another."""
    rng = random.Random(seed)
    for i in range(until * 6):
        temp_c = rng.uniform(-40, 80) if rng.random() < share else 12.5 + rng.gauss(0, 0.03)
        yield reading("rear", i / 6, temp_c, 75.0 + rng.gauss(0, 0.2))


@pytest.mark.parametrize(("share", "told"), [(0.3, True), (0.1, False)])
def test_a_third_of_glitches_is_told_and_a_tenth_is_not(share, told):
    """Six hours: 30 % makes the probe implausible, 10 % never; and no nonsense reaches the limits."""
    one = Lane(ProbePlan("rear", "cellar", every_s=10), CELLAR)
    kinds = {e.kind for e in feed(one, spoilt(share, 360))}

    assert kinds == ({Kind.PROBE_IMPLAUSIBLE} if told else set())


@pytest.mark.parametrize(("every_s", "need"), [(10, 8), (60, 6), (300, 2)])
def test_a_jump_is_confirmed_by_six_or_for_a_slow_probe_by_two(every_s, need):
    """Until then nothing of it is judged; then all of it, and it was no bad input.

    A probe that speaks each 10 s could follow 4.7 °C in 15: 17.5 °C is two whole ones more, so eight.
    """
    one = Lane(ProbePlan("rear", "cellar", every_s=every_s), CELLAR)
    step = every_s / 60
    feed(one, [reading("rear", i * step, 12.5 + i % 2 / 100, 75 + i % 3 / 100) for i in range(6)])
    seen = []
    for i in range(6, 6 + need):
        feed(one, [reading("rear", i * step, 30.0 + i % 2 / 100, 75 + i % 3 / 100)])
        seen.append(one.temperature.last_ms)

    assert seen == [at(5 * step)] * (need - 1) + [at((5 + need) * step)]
    assert one.bad.excess == 0


def test_a_suspect_probe_must_agree_with_itself_more_often():
    """After three bad lines a jump needs eleven readings, not eight."""
    one = Lane(ProbePlan("rear", "cellar", every_s=10), CELLAR)
    feed(one, [reading("rear", 0, 12.5, 75.0)])
    for _ in range(3):
        one.count(at(0), bad=True)
    feed(one, [reading("rear", i / 6, 30.0 + i % 2 / 100, None) for i in range(1, 11)])
    assert one.temperature.last_ms == at(0)

    feed(one, [reading("rear", 11 / 6, 30.0, None)])
    assert one.temperature.last_ms == at(11 / 6)


def test_a_session_holds_the_limits_and_the_door():
    """Half an hour of room air while tended is nothing."""
    one = lane()
    feed(one, air(60))
    one.tended = (at(60), at(95))
    edges = feed(one, air(85, 60, 22.0, 45.0)) + feed(one, air(200, 85))

    assert edges == []


def test_a_saw_tooth_over_the_edge_waits_for_its_mean():
    """Each top is above the limit for minutes, the mean inside: told only while the cycle is not known yet."""
    tight = replace(CELLAR, temperature=Band(10, 12.5, 1), humidity=Band(60, 90, 100))
    one, raised = lane(tight), []
    for m in range(DAY):
        edges = one.take(reading("rear", m, saw(m), 75 - 2 * saw(m, low=0, high=1)), frozen=False)
        raised += [(m, one.slow.norm is None) for e in edges if e.kind is Kind.TEMPERATURE_HIGH and e.active]

    assert len(raised) >= 5
    assert all(unknown for _, unknown in raised[:-1])


def test_a_room_is_judged_by_its_day():
    """A cellar's afternoon at 21 °C is nothing while the day's mean is 16; a mean of 20 is told."""
    warm_noons = [reading("rear", m, 16 + 5 * (1 if m // 360 % 2 else -1) + m % 2 / 100, 75 + m % 3 / 100)
                  for m in range(3 * DAY)]  # fmt: skip
    heat = [reading("rear", m, 20 + m % 2 / 100, 75 + m % 3 / 100) for m in range(3 * DAY)]

    assert [e for e in feed(lane(SHED), warm_noons) if e.kind is Kind.TEMPERATURE_HIGH] == []
    (edge,) = [e for e in feed(lane(SHED), heat) if e.kind is Kind.TEMPERATURE_HIGH]
    assert edge.value == pytest.approx(20, abs=0.1)
    assert minutes_after(edge.at_ms) >= 12 * HOUR


def test_a_value_that_stands_asks_for_witnesses():
    """Three hours of one temperature: that half and no other; and said again only after another value."""
    one = lane()
    feed(one, [reading("rear", m, 12.34, 75 + m % 3 / 100) for m in range(stuck.STUCK_MS // MS_PER_MIN + 1)])
    (track,) = one.stuck_quantities()
    edge = one.call_stuck(track)

    assert (edge.kind, edge.active, edge.detail, edge.value) == (Kind.PROBE_STUCK, True, "temperature", 12.34)
    assert minutes_after(edge.since_ms) == 0
    assert one.stuck_quantities() == []
    (back,) = one.take(reading("rear", 200, 12.35, 75.5), frozen=False)
    assert (back.kind, back.active) == (Kind.PROBE_STUCK, False)


SAMPLES = st.lists(
    st.tuples(
        st.sampled_from([0.5, 1.0, 1.0, 1.0, 7.0, 45.0]),
        st.none() | st.sampled_from([12.5, 12.51, 12.9, 16.0, 17.5, 30.0, 8.0]),
        st.none() | st.sampled_from([75.0, 75.1, 79.0, 85.0, 60.0, 30.0]),
        st.integers(1, 25),
    ),
    max_size=25,
)


def readings_of(samples):
    """Return readings a minute apart: each drawn value stays for a while, wobbling or not."""
    out, now = [], 0.0
    for step, temp_c, rh_pct, times in samples:
        for i in range(times):
            now += step if i == 0 else 1.0
            wobble = i % 3 / 100 if times % 2 else 0.0
            if temp_c is not None or rh_pct is not None:
                out.append(
                    reading("rear", now, None if temp_c is None else temp_c + wobble,
                            None if rh_pct is None else rh_pct - wobble)
                )  # fmt: skip
    return out


@settings(max_examples=40, deadline=None)
@given(SAMPLES, st.integers(1, 60))
def test_restart_in_the_middle_changes_nothing(samples, every):
    """Through JSON text and back, however often: the same edges and the same state."""
    straight, broken, told, again = lane(), lane(), [], []
    for i, one in enumerate(readings_of(samples)):
        if i % every == 0:
            broken = thawed(broken)
        told += straight.take(one, frozen=False)
        again += broken.take(one, frozen=False)

    assert again == told
    assert broken.to_json() == straight.to_json()


@settings(max_examples=40, deadline=None)
@given(SAMPLES)
def test_the_short_way_and_the_long_way_leave_the_same_state(samples):
    """What is passed over as plain would have changed no rule's mind."""
    short, long, told, again = lane(), lane(), [], []
    for one in readings_of(samples):
        told += short.take(one, frozen=False)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(Track, "plain", lambda *_: False)
            again += long.take(one, frozen=False)

    assert again == told
    assert long.to_json() == short.to_json()


@settings(max_examples=40, deadline=None)
@given(SAMPLES)
def test_never_raises_and_tells_edges_in_turn(samples):
    """Whatever comes: per kind an edge up, an edge down."""
    edges = feed(lane(), readings_of(samples))
    for kind in {e.kind for e in edges}:
        states = [e.active for e in edges if e.kind is kind]
        assert states == [i % 2 == 0 for i in range(len(states))]
