"""A probe out of service: kept, judged by nothing, back by itself."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from daemon_parts import T0, House
from test_engine import ONE, TWO, feed, reading, what

from chamberwatch.daemon.asking import parse_request
from chamberwatch.daemon.requests import Requests
from chamberwatch.daemon.telling import Telling
from chamberwatch.engine import Engine
from chamberwatch.errors import FactRefused
from chamberwatch.inputs import LinkLost, Rest, Tick
from chamberwatch.journal.facts import Facts
from chamberwatch.journal.reader import Reader
from chamberwatch.model import (
    MS_PER_DAY,
    MS_PER_H,
    MS_PER_MIN,
    EventState,
    Kind,
    Note,
    Plan,
    ProbePlan,
    Reason,
    Refusal,
)
from chamberwatch.words.until import parse_until


def rest(minute, until, probe="rear"):
    """Out of service from one minute after T0 to another."""
    return Rest(T0 + round(minute * MS_PER_MIN), probe, T0 + round(until * MS_PER_MIN), "Ines")


def test_neither_what_it_says_nor_its_silence_raises_anything():
    """Hot air, nonsense, then silence for hours: two notes, at the times asked for, and no more."""
    engine = Engine(ONE)
    feed(engine, "rear", 0, 30)
    events = engine.step(rest(30, 300)) + feed(engine, "rear", 30, 120, 25)
    events += [e for i in range(200) for e in engine.step(Refusal("rear", Reason.NOT_JSON, "x", T0 + 121 * MS_PER_MIN + i))]
    events += engine.step(Tick(T0 + 300 * MS_PER_MIN + 1))

    assert what(events) == [
        (Kind.PROBE_SILENT, EventState.NOTED, Note.RESTS, 30.0),
        (Kind.PROBE_SILENT, EventState.NOTED, Note.WORKS, 300.0),
    ]
    assert [e for e in events if Telling().wanted(e)] == []


def test_afterwards_its_silence_and_its_air_count_from_then_on():
    """Silent at the end of its rest: told 90 s later. Hot: told after the same time as ever."""
    silent, hot, fresh = Engine(ONE), Engine(ONE), Engine(ONE)
    for engine in (silent, hot):
        feed(engine, "rear", 0, 30, 17)
        engine.step(rest(30, 60))
    told = silent.step(Tick(T0 + 70 * MS_PER_MIN))
    feed(hot, "rear", 30, 60, 17)  # a reading of the very moment at which it ends is still its rest's
    after, ever = feed(hot, "rear", 60, 120, 17), feed(fresh, "rear", 60 + 1 / 6, 120, 17)

    assert [(k, m) for k, s, _, m in what(told) if s is EventState.ACTIVE] == [(Kind.PROBE_SILENT, 61.5)]
    assert [x for x in what(after) if x[1] is EventState.ACTIVE] == what(ever)


def test_what_stood_by_it_alone_ends_marked_and_what_another_sees_goes_on():
    """A lone probe's alarm is left open in words; with a second probe it stands on, by that one."""
    lone, pair = Engine(ONE), Engine(TWO)
    feed(lone, "rear", 0, 60, 17)
    for i in range(360):
        for probe in ("rear", "front"):
            pair.step(reading(probe, i / 6, 17 + i % 2 / 100, 75 + i % 3 / 100))
    alone, together = lone.step(rest(60, 600)), pair.step(rest(60, 600))

    assert what(alone)[1:] == [(Kind.TEMPERATURE_HIGH, EventState.RETURNED, Note.RESTS, 60.0)]
    assert [e for e in alone if Telling().wanted(e)] == []
    assert what(together)[1:] == [(Kind.TEMPERATURE_HIGH, EventState.NOTED, Note.PROBE_LEFT, 60.0)]
    assert [a.probes for a in pair.alarms()] == [("front",)]


def test_a_lost_broker_says_nothing_of_a_probe_that_rests():
    """Only it speaks through the broker."""
    plan = Plan(ONE.chambers, (ProbePlan("rear", "cellar", over_broker=True),))
    engine = Engine(plan)
    engine.step(rest(0, 600))
    engine.step(LinkLost(T0 + MS_PER_MIN))

    assert engine.step(Tick(T0 + 500 * MS_PER_MIN)) == []


def test_it_can_be_lengthened_and_ended_and_an_unknown_probe_is_nobodys():
    """The last word counts."""
    engine = Engine(ONE)
    engine.step(rest(0, 60))
    engine.step(rest(10, 120))
    assert engine.step(Tick(T0 + 110 * MS_PER_MIN)) == []
    assert [e.note for e in engine.step(rest(111, 111))] == [Note.WORKS]
    assert engine.step(rest(111, 111)) == []
    assert engine.step(rest(111, 200, "stranger")) == []


def test_a_restart_in_the_middle_changes_nothing():
    """The rest goes on and ends when it was to."""
    straight = Engine(TWO)
    feed(straight, "rear", 0, 60, 17)
    straight.step(rest(60, 120))
    broken = Engine(TWO)
    broken.restore(straight.snapshot())
    after = [feed(e, "front", 60, 90, 12) + feed(e, "rear", 90, 180, 17) for e in (straight, broken)]

    assert after[0] == after[1]
    assert any(e.note is Note.WORKS for e in after[0])
    assert straight.snapshot() == broken.snapshot()


def test_what_was_learnt_outlives_a_rest():
    """Six hours of a compressor's cycle are not learnt anew."""
    engine = Engine(ONE)
    for i in range(12 * 360):
        swing = (i % 180) / 180
        engine.step(reading("rear", i / 6, 12 + swing, 75 + swing * 3))
    learnt = engine._lanes["rear"].slow.norm
    engine.step(rest(721, 800))

    assert learnt is not None
    assert engine._lanes["rear"].slow.norm == learnt


def test_by_the_command_line_its_readings_are_kept_and_now_shows_it(tmp_path):
    """Request row to journal; the readings of the rest are in it; over, it is gone from the list."""
    house = House(tmp_path)
    house.minutes(10)
    requests = Requests(house.journal, house.plan, house.pipeline, house.clock)
    until_ms = house.clock.ms + 2 * MS_PER_H
    with Facts(house.path, now_ms=house.clock.ms) as facts:
        answer = facts.asks.rest(house.clock.ms, "rear", until_ms, by="Ines")
    requests.poll()
    house.minutes(60, 30)
    with Reader(house.path) as reader:
        assert reader.resting(house.clock.ms) == {"rear": until_ms}
        assert reader.resting(until_ms) == {}
    assert (answer.chamber, answer.eyes) == ("cellar", ())
    assert len(house.air()) == 70 * 6
    assert {e["kind"] for e in house.events()} == {"probe-silent"}
    with Facts(house.path, now_ms=house.clock.ms) as facts:
        facts.asks.rest(house.clock.ms, "rear", None)
    requests.poll()
    house.minutes(60, 30)

    assert "temperature-high" in {e["kind"] for e in house.events()}
    house.close()


def test_a_rest_of_nobody_or_for_ever_is_refused(tmp_path):
    """The names there are; the longest there is."""
    house = House(tmp_path)
    with Facts(house.path, now_ms=T0) as facts:
        with pytest.raises(FactRefused, match="the probes are: rear"):
            facts.asks.rest(T0, "front", T0 + 1)
        with pytest.raises(FactRefused, match="at most 336 h from now"):
            facts.asks.rest(T0, "rear", T0 + 15 * MS_PER_DAY)
    house.close()


def test_the_topic_takes_a_rest_and_its_end():
    """Length or over."""
    assert parse_request("rest rear 2d", ONE, T0) == Rest(T0, "rear", T0 + 2 * MS_PER_DAY, "MQTT")
    assert parse_request("rest rear over", ONE, T0) == Rest(T0, "rear", T0, "MQTT")


def test_a_moment_ahead_is_read_as_people_write_it():
    """T0 is Saturday 31 October 2026, 00:00 UTC (the calendar of the standard library says so)."""
    assert datetime.fromtimestamp(T0 / 1000, UTC).strftime("%a %H:%M") == "Sat 00:00"
    noon = T0 + 12 * MS_PER_H
    hours = {
        "8h": 8, "in 90min": 1.5, "18:00": 6, "9:00": 21, "today 18:00": 6, "tomorrow 07:00": 19, "sat 18:00": 6,
        "sat 11:00": 7 * 24 - 1, "sun 18:00": 30, "2026-11-02 12:00": 48, "2026-11-02T12:00:00Z": 48,
    }  # fmt: skip
    assert {text: (parse_until(text, noon, UTC) - noon) / MS_PER_H for text in hours} == hours
    for text in ("", "soon", "25:00", "today 11:00", "2h ago", "2026-10-30 12:00", "xyz 10:00", "-3h"):
        with pytest.raises(ValueError, match=r"ahead.*write 8h"):
            parse_until(text, noon, UTC)
