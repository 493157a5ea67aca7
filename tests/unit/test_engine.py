"""The fold: edges to alarms, deadlines, the life of an alarm, snapshots."""

import json
import zlib
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chamberwatch.engine import Engine
from chamberwatch.inputs import Acknowledge, LinkBack, LinkLost, Resumed, Tend, Tick
from chamberwatch.model import (
    MS_PER_DAY,
    MS_PER_H,
    MS_PER_MIN,
    Band,
    ChamberKind,
    ChamberPlan,
    EventState,
    Kind,
    Note,
    Plan,
    Priority,
    ProbePlan,
    Reading,
    Reason,
    Refusal,
)

T0 = 1_793_404_800_000
CELLAR = ChamberPlan("cellar", ChamberKind.CURE_CHAMBER, Band(10, 15, 60), Band(70, 80, 100))
ATTIC = ChamberPlan("attic", ChamberKind.CURE_CHAMBER, Band(10, 15, 60), Band(70, 80, 100))
ONE = Plan((CELLAR,), (ProbePlan("rear", "cellar"),))
TWO = Plan((CELLAR,), (ProbePlan("rear", "cellar"), ProbePlan("front", "cellar")))
BROKER = Plan((CELLAR,), (ProbePlan("rear", "cellar", over_broker=True), ProbePlan("front", "cellar", over_broker=True)))


def reading(probe, minute, temp_c=12.5, rh_pct=75.0, arrived=None):
    """One reading at a minute after T0."""
    at_ms = T0 + round(minute * MS_PER_MIN)
    return Reading(probe, at_ms, temp_c, rh_pct, at_ms if arrived is None else T0 + round(arrived * MS_PER_MIN))


def feed(engine, probe, first, last, temp_c=12.5, rh_pct=75.0):
    """Readings each 10 s over [first, last) minutes; return the events."""
    events = []
    for i in range(round((last - first) * 6)):
        # A probe that never changes in its last digit is stuck, and told as that.
        events += engine.step(reading(probe, first + i / 6, temp_c + i % 2 / 100, rh_pct + i % 3 / 100))
    return events


def opened(engine):
    """A snapshot's insides."""
    return json.loads(zlib.decompress(engine.snapshot()))


def what(events):
    """The parts of events a reader compares."""
    return [(e.kind, e.state, e.note, round((e.at_ms - T0) / MS_PER_MIN, 1)) for e in events]


def minute(event):
    """When, in minutes after T0."""
    return round((event.at_ms - T0) / MS_PER_MIN, 1)


def test_a_quiet_day_says_nothing():
    """Air inside the band, readings on time: not one event."""
    assert feed(Engine(ONE), "rear", 0, 24 * 60) == []


def test_one_occurrence_is_one_active_and_one_returned():
    """Too warm for two hours, then cool again."""
    engine = Engine(ONE)
    events = feed(engine, "rear", 0, 60) + feed(engine, "rear", 60, 180, 17) + feed(engine, "rear", 180, 400, 12)

    assert [(e.kind, e.state) for e in events] == [
        (Kind.TEMPERATURE_HIGH, EventState.ACTIVE),
        (Kind.TEMPERATURE_HIGH, EventState.RETURNED),
    ]
    assert minute(events[0]) == pytest.approx(90, abs=0.3)
    assert events[0].since_ms == T0 + 60 * MS_PER_MIN
    assert (events[1].worst, events[1].limit) == (17.01, 15)


def test_a_second_probe_joins_the_same_alarm():
    """One alarm a chamber and kind; it names its probes, and returns when the last has."""
    engine = Engine(TWO)
    events = []
    for i in range(6 * 400):
        warm = 17 if i < 6 * 120 else 12
        events += engine.step(reading("rear", i / 6, warm, 75 + i % 3 / 100))
        events += engine.step(reading("front", i / 6, warm - 0.5, 75 + i % 3 / 100))

    assert [(e.state, e.note) for e in events] == [
        (EventState.ACTIVE, Note.EDGE),
        (EventState.NOTED, Note.PROBE_JOINED),
        (EventState.NOTED, Note.PROBE_LEFT),
        (EventState.RETURNED, Note.EDGE),
    ]
    assert events[1].probes == ("front", "rear")
    assert engine.alarms()[0].returned_ms == events[3].at_ms


def test_beyond_the_urgent_limit_is_high_and_told_once():
    """Crossing 18 °C raises the priority once; starting beyond it is high at once."""
    engine = Engine(ONE)
    events = feed(engine, "rear", 0, 60, 17) + feed(engine, "rear", 60, 90, 19) + feed(engine, "rear", 90, 120, 17)
    at_once = feed(Engine(ONE), "rear", 0, 60, 20)

    assert [(e.note, e.priority) for e in events] == [
        (Note.EDGE, Priority.MEDIUM),
        (Note.RAISED, Priority.HIGH),
    ]
    assert events[1].limit == 18
    assert [(e.note, e.priority) for e in at_once] == [(Note.EDGE, Priority.HIGH)]


def test_a_late_reading_is_not_judged():
    """What is behind the probe's newest changes nothing, however bad."""
    engine = Engine(ONE)
    feed(engine, "rear", 0, 60)
    before = opened(engine)["lanes"]
    events = [e for m in range(50) for e in engine.step(reading("rear", m, 30.0, arrived=59.9))]

    assert events == []
    assert opened(engine)["lanes"] == before


def test_a_backlog_is_judged_in_its_order_and_told_as_late():
    """Eight hours that arrive at once are judged by their own times."""
    engine = Engine(ONE)
    engine.step(Resumed(T0 + 480 * MS_PER_MIN, None))
    events = []
    for i in range(6 * 100):
        events += engine.step(reading("rear", i / 6, 17, arrived=480))

    assert what(events) == [(Kind.TEMPERATURE_HIGH, EventState.ACTIVE, Note.EDGE, 29.8)]
    assert events[0].late_ms == pytest.approx(450.2 * MS_PER_MIN, abs=MS_PER_MIN)


def test_temperature_and_humidity_of_one_time_may_come_apart():
    """Two halves of one moment are both judged; neither makes the other late."""
    engine = Engine(ONE)
    events = []
    for i in range(6 * 100):
        at = reading("rear", i / 6)
        events += engine.step(at._replace(temp_c=17, rh_pct=None))
        events += engine.step(at._replace(temp_c=None, rh_pct=85))

    assert {e.kind for e in events} == {Kind.TEMPERATURE_HIGH, Kind.HUMIDITY_HIGH}


def test_silence_is_told_at_its_deadline():
    """A probe that stops: the event's time is last + 90 s, whichever tick reports it."""
    engine = Engine(ONE)
    feed(engine, "rear", 0, 10)
    last_ms = T0 + 10 * MS_PER_MIN - 10_000
    assert engine.step(Tick(last_ms + 90_000)) == []
    events = engine.step(Tick(last_ms + 400_000))

    assert [(e.kind, e.at_ms, e.since_ms) for e in events] == [
        (Kind.PROBE_SILENT, last_ms + 90_000, last_ms)
    ]


def test_silence_ends_with_the_next_reading():
    """Heard again: returned, with how long it was away."""
    engine = Engine(ONE)
    feed(engine, "rear", 0, 10)
    engine.step(Tick(T0 + 20 * MS_PER_MIN))
    (event,) = engine.step(reading("rear", 30))

    assert (event.kind, event.state) == (Kind.PROBE_SILENT, EventState.RETURNED)
    assert event.value == pytest.approx(20, abs=0.2)


def test_a_loose_plug_is_told_once_not_at_every_crackle():
    """Silent again within half an hour of its return: over only after five words in a row, and the same story."""
    engine = Engine(ONE)
    events = feed(engine, "rear", 0, 5) + feed(engine, "rear", 15, 16)
    for crackle in range(20, 60, 5):
        events += engine.step(reading("rear", crackle, 12.5 + crackle / 100))
    events += feed(engine, "rear", 70, 90)

    silent = [e for e in events if e.kind is Kind.PROBE_SILENT]
    assert [e.state for e in silent] == [EventState.ACTIVE, EventState.RETURNED] * 2
    assert [e.because for e in silent] == [None, None, silent[0].id, silent[0].id]
    assert [minute(e) for e in silent[1:]] == [15.0, 17.3, 70.7]


def test_an_hour_without_eyes_is_urgent():
    """When no probe of the chamber works for 60 min, the alarm becomes high; once."""
    engine = Engine(TWO)
    events = feed(engine, "rear", 0, 10) + engine.step(Tick(T0 + 200 * MS_PER_MIN))

    assert [(e.note, e.priority, minute(e)) for e in events] == [
        (Note.EDGE, Priority.MEDIUM, 1.5),
        (Note.PROBE_JOINED, Priority.MEDIUM, 11.3),
        (Note.RAISED, Priority.HIGH, 69.8),
    ]


def test_one_silent_probe_of_two_never_becomes_urgent():
    """As long as the other sees."""
    engine = Engine(TWO)
    events = feed(engine, "rear", 0, 600)

    assert [(e.note, e.priority) for e in events] == [(Note.EDGE, Priority.MEDIUM)]


def test_garbage_is_implausible_and_not_also_silent():
    """A probe that sends only nonsense is told once, as that."""
    engine = Engine(ONE)
    feed(engine, "rear", 0, 10)
    events = []
    for i in range(60):
        arrived = T0 + 10 * MS_PER_MIN + i * 10_000
        events += engine.step(Refusal("rear", Reason.OUT_OF_RANGE, "999 %RH", arrived))

    assert [(e.kind, e.state) for e in events] == [(Kind.PROBE_IMPLAUSIBLE, EventState.ACTIVE)]


def test_a_chamber_blind_by_garbage_becomes_urgent_too():
    """An hour without one good reading is an hour without eyes."""
    engine = Engine(ONE)
    feed(engine, "rear", 0, 10)
    events = []
    for i in range(6 * 90):
        arrived = T0 + 10 * MS_PER_MIN + i * 10_000
        events += engine.step(Refusal("rear", Reason.OUT_OF_RANGE, "999 %RH", arrived))

    assert [(e.kind, e.note) for e in events] == [
        (Kind.PROBE_IMPLAUSIBLE, Note.EDGE),
        (Kind.PROBE_IMPLAUSIBLE, Note.RAISED),
    ]


def refused(engine, first, last, every_s=60):
    """Lines of the rear probe that are refused, over [first, last) minutes; return the events."""
    times = range(T0 + first * MS_PER_MIN, T0 + last * MS_PER_MIN, every_s * 1000)
    return [e for at_ms in times for e in engine.step(Refusal("rear", Reason.OUT_OF_RANGE, "999 %RH", at_ms))]


def test_a_refused_line_is_not_silence():
    """Nine in a row, a minute apart, are neither silence nor yet nonsense; after the last the wait starts anew."""
    engine = Engine(ONE)
    feed(engine, "rear", 0, 10)

    assert refused(engine, 10, 19) == []
    (event,) = engine.step(Tick(T0 + 30 * MS_PER_MIN))
    assert (event.kind, minute(event)) == (Kind.PROBE_SILENT, 18 + 1.5)


def test_a_refused_line_ends_silence():
    """It speaks again, if only nonsense."""
    engine = Engine(ONE)
    feed(engine, "rear", 0, 10)
    engine.step(Tick(T0 + 20 * MS_PER_MIN))

    assert what(refused(engine, 30, 31)) == [(Kind.PROBE_SILENT, EventState.RETURNED, Note.EDGE, 30.0)]


def test_blind_counts_from_the_last_good_reading():
    """An hour of only refused lines is urgent an hour after the last reading, not after the last line."""
    engine = Engine(ONE)
    feed(engine, "rear", 0, 10)
    raised = [e for e in refused(engine, 10, 90) if e.note is Note.RAISED]

    assert [(e.kind, e.priority, minute(e)) for e in raised] == [(Kind.PROBE_IMPLAUSIBLE, Priority.HIGH, 69.8)]


def test_a_refusal_of_nobody_is_harmless():
    """Input of no known probe changes no probe's state."""
    engine = Engine(ONE)

    assert engine.step(Refusal(None, Reason.NOT_JSON, "", T0)) == []
    assert engine.step(reading("stranger", 1, 99)) == []


def test_acknowledge_then_return_is_over():
    """Someone is on it; when it returns the board is empty."""
    engine = Engine(ONE)
    feed(engine, "rear", 0, 60, 17)
    (noted,) = engine.step(Acknowledge(T0 + 60 * MS_PER_MIN, "cellar", None, "Ines"))
    again = engine.step(Acknowledge(T0 + 60 * MS_PER_MIN, "cellar", None, "Ines"))
    assert engine.alarms()[0].acknowledged_by == "Ines"
    feed(engine, "rear", 60, 300, 12)

    assert (noted.state, noted.note, noted.detail) == (EventState.NOTED, Note.ACKNOWLEDGED, "Ines")
    assert again == []
    assert engine.alarms() == []


def test_acknowledging_another_kind_or_chamber_does_nothing():
    """Only what was meant."""
    engine = Engine(ONE)
    feed(engine, "rear", 0, 60, 17)

    assert engine.step(Acknowledge(T0 + MS_PER_H, "cellar", Kind.HUMIDITY_LOW, "x")) == []
    assert engine.step(Acknowledge(T0 + MS_PER_H, "attic", None, "x")) == []


def test_returned_before_acknowledged_waits_to_be_seen():
    """It stays on the board until someone has looked, or it comes back as a new occurrence."""
    engine = Engine(ONE)
    feed(engine, "rear", 0, 60, 17)
    feed(engine, "rear", 60, 300, 12)
    assert engine.alarms()[0].state == "returned"
    events = feed(engine, "rear", 300, 360, 17)
    assert [(e.state, e.note) for e in events] == [(EventState.ACTIVE, Note.EDGE)]
    feed(engine, "rear", 360, 600, 12)
    engine.step(Acknowledge(T0 + 601 * MS_PER_MIN, None, None, ""))

    assert engine.alarms() == []


def test_an_alarm_that_stands_a_day_is_told_again():
    """Re-alarm after 24 h; it needs acknowledging anew."""
    engine = Engine(ONE)
    feed(engine, "rear", 0, 60, 17)
    engine.step(Acknowledge(T0 + 60 * MS_PER_MIN, None, None, "Ines"))
    events = feed(engine, "rear", 60, 60 + 25 * 60, 17)

    assert [(e.note, e.at_ms) for e in events] == [(Note.STILL, T0 + 60 * MS_PER_MIN + MS_PER_DAY)]
    assert not engine.alarms()[0].acknowledged


def test_our_own_absence_is_a_gap_not_a_silence():
    """After eight hours down: one monitor-gap a chamber, no probe-silent for the time away."""
    plan = Plan((CELLAR, ATTIC), (ProbePlan("rear", "cellar"), ProbePlan("roof", "attic")))
    engine = Engine(plan)
    feed(engine, "rear", 0, 10)
    alive_ms = T0 + 10 * MS_PER_MIN
    restored = Engine(plan)
    restored.restore(engine.snapshot())
    events = restored.step(Resumed(alive_ms + 8 * MS_PER_H, alive_ms))

    assert [(e.kind, e.state, e.chamber, e.since_ms, e.value) for e in events] == [
        (Kind.MONITOR_GAP, EventState.NOTED, "cellar", alive_ms, 480.0),
        (Kind.MONITOR_GAP, EventState.NOTED, "attic", alive_ms, 480.0),
    ]


def test_a_quick_restart_is_no_gap():
    """A restart of 20 s is not worth a word."""
    engine = Engine(ONE)
    feed(engine, "rear", 0, 10)

    assert engine.step(Resumed(T0 + 10 * MS_PER_MIN + 20_000, T0 + 10 * MS_PER_MIN)) == []


def test_a_lost_broker_is_one_alarm_and_its_probes_are_not_silent():
    """One cause, one alarm: the probes behind the broker are not told as silent."""
    engine = Engine(BROKER)
    engine.step(LinkBack(T0, kept=True))
    events = feed(engine, "rear", 0, 5)
    engine.step(LinkLost(T0 + 5 * MS_PER_MIN))
    events += engine.step(Tick(T0 + 50 * MS_PER_MIN))
    back = engine.step(LinkBack(T0 + 55 * MS_PER_MIN, kept=True))

    assert [(e.kind, e.state, e.probes, minute(e)) for e in events if e.kind is Kind.BROKER_LOST] == [
        (Kind.BROKER_LOST, EventState.ACTIVE, ("front", "rear"), 6.0)
    ]
    assert [e.probes for e in events if e.kind is Kind.PROBE_SILENT] == [("front",)]
    assert (Kind.BROKER_LOST, EventState.RETURNED) in [(e.kind, e.state) for e in back]


def test_a_broker_that_forgot_us_is_told():
    """Session lost after we had one: what it held is gone, and that is said."""
    engine = Engine(BROKER)
    engine.step(LinkBack(T0, kept=False))
    engine.step(LinkLost(T0 + MS_PER_MIN))
    events = engine.step(LinkBack(T0 + MS_PER_MIN + 5_000, kept=False))

    assert [(e.kind, e.note, e.since_ms) for e in events] == [(Kind.BROKER_LOST, Note.FACT, T0 + MS_PER_MIN)]


def test_tend_holds_the_air_alarms_and_ends_by_itself():
    """Half an hour at the open door raises nothing; the same air after it does."""
    engine = Engine(ONE)
    feed(engine, "rear", 0, 10)
    engine.step(Tend(T0 + 10 * MS_PER_MIN, "cellar", T0 + 40 * MS_PER_MIN))
    during = feed(engine, "rear", 10, 40, 20)
    after = feed(engine, "rear", 40, 70, 20)

    assert during == []
    assert what(after) == [(Kind.TEMPERATURE_HIGH, EventState.ACTIVE, Note.EDGE, 51.8)]


def test_a_snapshot_is_small():
    """At most 4 kB a chamber of two probes, alarms standing."""
    engine = Engine(TWO)
    feed(engine, "rear", 0, 200, 19, 50)

    assert len(engine.snapshot()) <= 4096
    assert opened(engine)["now_ms"] > T0


def test_a_probe_no_longer_planned_leaves_its_alarm():
    """After a change of settings nothing waits for a probe that is gone."""
    engine = Engine(TWO)
    feed(engine, "front", 0, 60, 17)
    changed = Engine(ONE)
    changed.restore(engine.snapshot())

    assert {a.probes for a in engine.alarms()} == {("front",), ("rear",)}
    assert {a.probes for a in changed.alarms()} == {("rear",)}


INPUTS = st.lists(
    st.tuples(
        st.sampled_from(["rear", "front", "bad", "tick", "ack"]),
        st.floats(0.05, 30),
        st.floats(0, 30),
        st.floats(40, 100),
    ),
    max_size=120,
)


def build(items):
    """Inputs at rising times from drawn steps."""
    out, at = [], 0.0
    for who, step_min, temp_c, rh_pct in items:
        at += step_min
        at_ms = T0 + round(at * MS_PER_MIN)
        if who == "bad":
            out.append(Refusal("rear", Reason.NOT_JSON, "", at_ms))
        elif who == "tick":
            out.append(Tick(at_ms))
        elif who == "ack":
            out.append(Acknowledge(at_ms, None, None, "x"))
        else:
            out.append(reading(who, at, round(temp_c, 2), round(rh_pct, 2)))
    return out


@settings(max_examples=150, deadline=None)
@given(INPUTS, st.lists(st.integers(0, 119), max_size=4))
def test_restart_anywhere_gives_the_same_events(items, cuts):
    """Saved and restored at any points, the fold tells the same story."""
    inputs = build(items)
    straight = [e for engine in [Engine(TWO)] for item in inputs for e in engine.step(item)]
    engine, broken = Engine(TWO), []
    for i, item in enumerate(inputs):
        if i in cuts:
            body = engine.snapshot()
            engine = Engine(TWO)
            engine.restore(body)
        broken += engine.step(item)

    assert broken == straight


@settings(max_examples=150, deadline=None)
@given(INPUTS)
def test_every_occurrence_has_one_active_and_one_returned(items):
    """Per chamber and kind, active and returned alternate, starting with active; ids are unique."""
    engine = Engine(TWO)
    events = [e for item in build(items) for e in engine.step(item)]
    for kind in Kind:
        states = [e.state for e in events if e.kind is kind and e.state is not EventState.NOTED]
        assert all(a is not b for a, b in pairwise(states))
        assert not states or states[0] is EventState.ACTIVE

    assert len({e.id for e in events}) == len(events)


@settings(max_examples=100, deadline=None)
@given(INPUTS, st.integers(0, 119))
def test_missing_data_never_raises_an_air_alarm(items, cut):
    """Time alone, without a reading, tells nothing about the air."""
    engine = Engine(TWO)
    inputs = build(items)[:cut]
    for item in inputs:
        engine.step(item)
    later = engine.step(Tick(T0 + 10_000 * MS_PER_MIN))

    assert all(e.note in {Note.STILL, Note.RAISED} or e.kind is Kind.PROBE_SILENT for e in later)
    assert not any(e.kind in {Kind.TEMPERATURE_HIGH, Kind.HUMIDITY_LOW} and e.state is EventState.ACTIVE for e in later)
