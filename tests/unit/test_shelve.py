"""Quiet until a time: what is recorded, what is told, and that it always ends.

The states and that shelving must end by itself are ANSI/ISA-18.2's (from memory); the limits are our own choice.
"""

from __future__ import annotations

import pytest
from daemon_parts import T0, House
from hypothesis import given, settings
from hypothesis import strategies as st
from test_engine import ONE, feed, reading, what

from chamberwatch.daemon.asking import parse_request
from chamberwatch.daemon.clock import MachineClock
from chamberwatch.daemon.requests import Requests
from chamberwatch.daemon.telling import Telling
from chamberwatch.engine import Engine
from chamberwatch.errors import FactRefused
from chamberwatch.inputs import Acknowledge, Shelve, Tick
from chamberwatch.journal.facts import Facts
from chamberwatch.journal.outbox import Outbox
from chamberwatch.journal.reader import Reader
from chamberwatch.model import MS_PER_H, MS_PER_MIN, AlarmState, EventState, Kind, Note, Priority
from chamberwatch.rules.shelf import LONGEST_MS
from chamberwatch.wire.timestamp import parse_rfc3339


def shelve(minute, until, kind=Kind.TEMPERATURE_HIGH, chamber="cellar"):
    """Quiet from one minute after T0 to another."""
    return Shelve(T0 + round(minute * MS_PER_MIN), chamber, kind, T0 + round(until * MS_PER_MIN), "Ines")


def sent(events):
    """The events that become messages, by a teller that saw nothing before."""
    telling = Telling()
    return what([e for e in events if telling.wanted(e)])


def restarted(engine):
    """The same engine after a restart."""
    again = Engine(ONE)
    again.restore(engine.snapshot())
    return again


def test_a_shelved_alarm_is_told_again_when_the_quiet_is_over_and_it_still_stands():
    """One note at its beginning, one message at its end, at the very time that was asked for."""
    engine = Engine(ONE)
    feed(engine, "rear", 0, 60, 16.5)
    begun = engine.step(shelve(60, 180))
    assert engine.alarms()[0].state is AlarmState.SHELVED
    events = begun + feed(engine, "rear", 60, 240, 16.5)

    assert what(events) == [
        (Kind.TEMPERATURE_HIGH, EventState.NOTED, Note.SHELVED, 60.0),
        (Kind.TEMPERATURE_HIGH, EventState.NOTED, Note.UNSHELVED, 180.0),
    ]
    assert sent(events) == what(events)[1:]
    assert engine.alarms()[0].state is AlarmState.UNACKNOWLEDGED


def test_what_returns_and_comes_again_meanwhile_is_recorded_and_not_told():
    """Quiet is for what comes and goes: every occurrence is on record, none is a message."""
    engine = Engine(ONE)
    events = engine.step(shelve(0, 600))
    events += feed(engine, "rear", 1, 120, 16.5) + feed(engine, "rear", 120, 400, 12) + feed(engine, "rear", 400, 601, 12)

    states = [e.state for e in events]
    assert (states.count(EventState.ACTIVE), states.count(EventState.RETURNED)) == (1, 1)
    assert events[-1].note is Note.UNSHELVED
    assert sent(events) == []
    assert engine.alarms() == []


def test_quiet_about_one_kind_leaves_the_others_loud():
    """Too dry is told while too warm is quiet."""
    engine = Engine(ONE)
    events = engine.step(shelve(0, 600)) + feed(engine, "rear", 1, 60, 16.5, 60)

    assert {kind for kind, *_ in sent(events)} == {Kind.HUMIDITY_LOW}


@pytest.mark.parametrize("stands", [False, True])
def test_what_becomes_urgent_breaks_the_quiet(stands):
    """Past the urgent limit (18 °C) it is told at once, whether it stood when quiet was asked for or not."""
    engine = Engine(ONE)
    events = feed(engine, "rear", 0, 60, 16.5) if stands else []
    told = engine.step(shelve(60, 600)) + feed(engine, "rear", 60, 120, 21)

    assert sent(told)[0][1:3] == ((EventState.NOTED, Note.RAISED) if stands else (EventState.ACTIVE, Note.EDGE))
    assert engine.alarms()[0].state is AlarmState.UNACKNOWLEDGED
    assert engine.alarms()[0].priority is Priority.HIGH
    assert len(events) == int(stands)
    assert not [e for e in feed(engine, "rear", 120, 700, 21) if e.note is Note.UNSHELVED]


def test_without_a_kind_it_is_about_what_stands_now():
    """Whatever begins later is told."""
    engine = Engine(ONE)
    feed(engine, "rear", 0, 60, 16.5)
    events = engine.step(shelve(60, 600, None)) + feed(engine, "rear", 60, 120, 16.5, 60)

    assert sent(events) == [x for x in what(events) if x[0] is Kind.HUMIDITY_LOW]
    assert [e.kind for e in events if e.note is Note.SHELVED] == [Kind.TEMPERATURE_HIGH]


def test_it_ends_early_when_asked_and_nothing_is_said_of_what_was_never_quiet():
    """An end at or before now; of an unknown shelf nothing."""
    engine = Engine(ONE)
    feed(engine, "rear", 0, 60, 16.5)
    engine.step(shelve(60, 600))

    assert what(engine.step(shelve(61, 61))) == [(Kind.TEMPERATURE_HIGH, EventState.NOTED, Note.UNSHELVED, 61.0)]
    assert engine.step(shelve(61, 61)) == []
    assert engine.step(shelve(61, 61, Kind.HUMIDITY_LOW)) == []


def test_the_daily_reminder_waits_for_the_end():
    """Quiet for 40 h: no reminder at 24 h; a day after the end there is one."""
    engine = Engine(ONE)
    feed(engine, "rear", 0, 60, 16.5)
    engine.step(shelve(60, 60 + 40 * 60))
    events = feed(engine, "rear", 60, 60 + 65 * 60, 16.5)

    notes = [(e.note, (e.at_ms - T0) // MS_PER_H) for e in events]
    assert notes == [(Note.UNSHELVED, 41), (Note.STILL, 65)]


def test_somebody_on_it_stays_quiet_about_it():
    """Acknowledging what is quiet changes nothing; the end asks anew."""
    engine = Engine(ONE)
    feed(engine, "rear", 0, 60, 16.5)
    engine.step(shelve(60, 600))

    assert engine.step(Acknowledge(T0 + 61 * MS_PER_MIN, None, None, "Ines")) == []
    assert engine.alarms()[0].state is AlarmState.SHELVED


@settings(max_examples=15, deadline=None)
@given(st.lists(st.sampled_from([12.0, 16.5, 21.0]), min_size=2, max_size=5), st.integers(0, 200), st.integers(1, 300))
def test_a_restart_at_any_point_changes_no_event(temps, from_min, length_min):
    """Straight through and restored each hour: the same events, quiet or not, and the same alarms."""
    straight, broken = Engine(ONE), Engine(ONE)
    events, others = [], []
    for hour, temp_c in enumerate(temps):
        for minute in range(hour * 60, hour * 60 + 60):
            item = shelve(minute, minute + length_min) if minute == from_min else Tick(T0 + minute * MS_PER_MIN)
            events += straight.step(item) + straight.step(reading("rear", minute + 0.1, temp_c + minute % 7 / 100))
            others += broken.step(item) + broken.step(reading("rear", minute + 0.1, temp_c + minute % 7 / 100))
        broken = restarted(broken)

    assert others == events
    assert broken.alarms() == straight.alarms()


def test_ending_it_without_a_kind_ends_all_of_the_chamber():
    """Also what does not stand."""
    engine = Engine(ONE)
    engine.step(shelve(0, 600))
    engine.step(shelve(0, 600, Kind.HUMIDITY_LOW))

    ended = engine.step(shelve(1, 1, None))
    assert [(e.kind, e.note) for e in ended] == [
        (Kind.HUMIDITY_LOW, Note.UNSHELVED), (Kind.TEMPERATURE_HIGH, Note.UNSHELVED),
    ]  # fmt: skip


# -- through the journal -------------------------------------------------------------------------------------


@pytest.fixture
def house(tmp_path):
    """A house too warm for an hour."""
    house = House(tmp_path)
    house.minutes(60, 16.5)
    house.requests = Requests(house.journal, house.plan, house.pipeline, house.clock)
    yield house
    house.close()


def ask(house, kind=None, length_ms=2 * MS_PER_H):
    """Ask for quiet as the command line does, and let the watch hear of it."""
    with Facts(house.path, now_ms=house.clock.ms) as facts:
        answer = facts.asks.shelve(house.clock.ms, "cellar", kind, house.clock.ms + length_ms, by="Ines")
    house.requests.poll()
    house.pipeline.commit()
    return answer


def notices(house):
    """The headlines owed to the channel."""
    return [text for (text,) in house.rows("SELECT headline FROM notice ORDER BY id")]


def test_asked_by_the_command_line_it_holds_over_a_kill_and_ends_with_a_message(house):
    """The journal shows it, nothing is repeated meanwhile, and the end is a notice of its own."""
    assert ask(house).kinds == (Kind.TEMPERATURE_HIGH,)
    (first,) = [e for e in house.events() if e["state"] == "active"]
    with Reader(house.path) as reader:
        (alarm,) = reader.alarms()
    assert (alarm.state, alarm.shelved_until_ms) == (AlarmState.SHELVED, house.clock.ms + 2 * MS_PER_H)
    outbox = Outbox(house.path)
    assert not outbox.alarm_open_unacknowledged(first["id"])
    house.crash()
    house.minutes(119, 16.5)
    assert len(notices(house)) == 1
    house.minutes(2, 16.5)

    assert notices(house)[1:] == ["cellar still too warm; the quiet is over."]
    (ended,) = [e for e in house.events() if "the quiet is over" in e["text"]]
    assert parse_rfc3339(ended["at"]) == alarm.shelved_until_ms
    assert outbox.alarm_open_unacknowledged(ended["id"])
    assert not outbox.alarm_open_unacknowledged(first["id"])  # or both would repeat side by side
    outbox.close()


@pytest.mark.parametrize(
    ("chamber", "kind", "length_ms", "said"),
    [
        ("attic", None, MS_PER_H, "there is no chamber 'attic'"),
        ("cellar", None, LONGEST_MS + 1, "at most 72 h from now"),
        ("cellar", Kind.HUMIDITY_LOW, 0, "must be ahead of now"),
        ("cellar", Kind.DISK_LOW, MS_PER_H, "disk-low can't be made quiet"),
        ("cellar", Kind.MONITOR_GAP, MS_PER_H, "monitor-gap can't be made quiet"),
    ],
)
def test_quiet_without_a_near_end_or_a_subject_is_refused(house, chamber, kind, length_ms, said):
    """What, where, and what is allowed; nothing is asked of the watch."""
    with Facts(house.path, now_ms=house.clock.ms) as facts, pytest.raises(FactRefused, match=said):
        facts.asks.shelve(house.clock.ms, chamber, kind, house.clock.ms + length_ms)

    assert house.rows("SELECT * FROM request") == []


def test_quiet_about_nothing_is_refused(tmp_path):
    """A chamber where nothing stands needs a kind."""
    house = House(tmp_path)
    with Facts(house.path, now_ms=T0) as facts, pytest.raises(FactRefused, match="nothing stands in cellar"):
        facts.asks.shelve(T0, "cellar", None, T0 + 1)
    house.close()


# -- by the topic --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "kind", "minutes"),
    [("quiet cellar 8h", None, 480), ("quiet cellar humidity-low 1h 30min", Kind.HUMIDITY_LOW, 90), ("quiet cellar over", None, 0)],
)
def test_the_topic_takes_quiet_with_its_length(text, kind, minutes):
    """Chamber, kind or none, length or over."""
    assert parse_request(text, ONE, T0) == Shelve(T0, "cellar", kind, T0 + minutes * MS_PER_MIN, "MQTT")


def test_the_topic_still_takes_somebody_on_it():
    """As before."""
    now_ms = MachineClock().now_ms()
    assert parse_request("cellar probe-silent", ONE, now_ms) == Acknowledge(now_ms, "cellar", Kind.PROBE_SILENT, "MQTT")
    assert parse_request("", ONE, now_ms) == Acknowledge(now_ms, None, None, "MQTT")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("quiet", "quiet needs one of: cellar"),
        ("quiet all 8h", "quiet needs one of: cellar"),
        ("quiet attic 8h", "'attic' is not a chamber"),
        ("quiet cellar", "how long"),
        ("quiet cellar 73h", "at most 72 h"),
        ("quiet cellar soon", "soon"),
        ("quiet cellar disk-low 8h", "can't be made quiet"),
        ("rest", "is not a probe; one of: rear"),
        ("rest cellar 2h", "'cellar' is not a probe"),
        ("rest rear 15d", "at most 336 h"),
    ],
)
def test_nonsense_on_the_topic_says_what_is_allowed(text, said):
    """Nothing is guessed."""
    with pytest.raises(ValueError, match=said):
        parse_request(text, ONE, T0)
