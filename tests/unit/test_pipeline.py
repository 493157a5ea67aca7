"""The spine: bytes in, one commit, then the acknowledgements; whatever fails in between loses and doubles nothing."""

from __future__ import annotations

import json
import sqlite3
import tempfile
import zlib
from contextlib import closing
from pathlib import Path

import pytest
from daemon_parts import PLAN, QUICK_DISK, T0, TWO, House, line, stamp
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rule_parts import saw

from chamberwatch.daemon.teller import newest_air
from chamberwatch.engine import VERSION, Engine
from chamberwatch.errors import JournalError
from chamberwatch.ingest.packet import Packet
from chamberwatch.inputs import Acknowledge, LinkLost, Resumed, Tick
from chamberwatch.journal.outbox import Outbox
from chamberwatch.model import MS_PER_H, MS_PER_MIN, Kind, Plan, ProbePlan, Reading, Reason


@pytest.fixture
def house(tmp_path):
    """A house with one probe and one channel."""
    house = House(tmp_path)
    yield house
    house.close()


@pytest.fixture
def pair(tmp_path):
    """A house with two probes, rear and front."""
    house = House(tmp_path, plan=TWO)
    yield house
    house.close()


# -- stamps -------------------------------------------------------------------------------------------------


def test_untimed_readings_get_strictly_rising_stamps(pair):
    """Three in one millisecond, then the clock set back by an hour: each probe's times still rise."""
    for temp_c in (12.1, 12.2, 12.3):
        pair.read(temp_c)
    pair.read(13.1, probe="front")
    pair.clock.ms -= MS_PER_H
    pair.read(12.4)
    pair.pipeline.commit()
    rear = [(at * MS_PER_MIN, temp_c) for probe, at, temp_c, _ in pair.air() if probe == "rear"]
    assert [(round(at), t) for at, t in rear] == [(0, 12.1), (1, 12.2), (2, 12.3), (3, 12.4)]
    assert pair.probe("front").at_ms == T0


def test_stamps_rise_across_a_restart(house):
    """The journal's newest is remembered, so that a board whose clock starts late doubles no time."""
    house.read(12.1)
    house.pipeline.commit()
    house.crash()
    house.clock.ms -= 5000
    house.read(12.2)
    house.pipeline.commit()
    assert [(round(at * MS_PER_MIN), t) for _, at, t, _ in house.air()] == [(0, 12.1), (1, 12.2)]


def test_a_retained_value_without_a_time_tells_nothing(house):
    """Its age is unknown: ignored, acknowledged; one with a time is taken by it."""
    house.send(line(29.0), ack="old", retained=True)
    house.send(line(12.0, at_ms=T0 - 60_000), ack="dated", retained=True)
    house.pipeline.commit()
    assert house.air() == [("rear", -1.0, 12.0, 75.0)]
    assert house.acked == ["old", "dated"]


def test_halves_of_one_moment_are_one_row(house):
    """Temperature and humidity in two messages of one time."""
    house.send(b'[{"bt":%d,"n":"temperature","u":"Cel","v":12.5}]' % (T0 // 1000))
    house.send(b'[{"bt":%d,"n":"humidity","u":"%%RH","v":75}]' % (T0 // 1000))
    house.pipeline.commit()
    assert house.air() == [("rear", 0.0, 12.5, 75.0)]
    assert house.pipeline.written.merged == 1


# -- what is refused ----------------------------------------------------------------------------------------


def test_input_of_no_planned_probe_is_refused_and_counted(house):
    """From a replay file, where a line names its probe itself."""
    house.send(line(name="attic"), None)
    house.send(line(), None)
    house.pipeline.commit()
    assert house.air() == []
    assert sorted(house.refusals()) == [("", Reason.NO_PROBE, 2), ("", Reason.UNKNOWN_PROBE, 1)]


def test_another_probes_name_on_a_probes_line_is_refused(pair):
    """Two probes' plugs exchanged must not exchange their chambers."""
    pair.send(line(name="front"), "rear")
    pair.pipeline.commit()
    assert pair.refusals() == [("rear", Reason.WRONG_PROBE, 2)]


def test_a_time_in_the_future_is_refused_only_by_a_clock_known_to_be_right(house):
    """More than 5 min ahead; exactly 5 min is taken."""
    house.pipeline.refuse_future = True
    house.read(at_ms=T0 + 5 * MS_PER_MIN)
    house.read(at_ms=T0 + 5 * MS_PER_MIN + 1)
    house.pipeline.refuse_future = False
    house.read(at_ms=T0 + 2 * MS_PER_H)
    house.pipeline.commit()
    assert [at for _, at, _, _ in house.air()] == [5.0, 120.0]
    assert house.refusals() == [("rear", Reason.FUTURE, 1)]


def test_where_nothing_arrives_a_reading_needs_its_time(house):
    """In a replay there is no arrival to stamp it with."""
    house.pipeline.need_time = True
    house.read()
    house.pipeline.commit()
    assert house.refusals() == [("rear", Reason.BAD_TIME, 1)]


def test_what_framing_refused_is_counted_not_decoded(house):
    """The account of an endless line is no input, even where it looks like some."""
    house.send(line(), problem=Reason.TOO_LONG)
    house.pipeline.commit()
    assert house.refusals() == [("rear", Reason.TOO_LONG, 1)]
    assert house.air() == []


def test_garbage_before_any_time_is_known_makes_no_event(house):
    """A replay that begins with noise has no time yet: nothing is told of 1970."""
    house.pipeline.need_time = True
    house.clock.ms = 0
    for _ in range(20):
        house.send(b"noise", None)
        house.send(b"noise", "rear")
    house.clock.ms = T0
    house.read(at_ms=T0)
    house.pipeline.commit()
    assert house.events() == []
    assert house.probe().refused == 20


def test_garbage_that_persists_is_told_with_its_reasons(house):
    """The message says what was refused most."""
    house.minutes(1)
    for _ in range(10):
        house.send(b"noise", "rear")
    house.pipeline.commit()
    (event,) = house.events()
    assert event["kind"] == "probe-implausible"
    assert "not whole JSON" in event["text"]


# -- acknowledgements ---------------------------------------------------------------------------------------


def test_acknowledged_only_after_the_commit_and_once(house):
    """Good, refused and empty messages alike; the next commit acknowledges none again."""
    house.read(ack="good")
    house.send(b"noise", ack="bad")
    house.send(b"[]", ack="empty")
    assert house.acked == []
    assert house.pipeline.unacknowledged == 3
    house.pipeline.commit()
    house.pipeline.commit()
    assert house.acked == ["good", "bad", "empty"]
    assert house.pipeline.unacknowledged == 0


def test_when_an_acknowledgement_goes_out_the_reading_is_on_disk(house):
    """Asked of another connection at that very moment."""
    seen = []
    house.pipeline.packet(Packet("test", "rear", line(), T0, lambda: seen.append(house.air())))
    house.pipeline.commit()
    assert seen == [[("rear", 0.0, 12.5, 75.0)]]


@pytest.mark.parametrize("fails", [1, 3])
def test_a_commit_that_fails_keeps_all_and_acknowledges_nothing(house, fails):
    """Readings, refusals, an event and its message wait and are written once, when it goes again."""
    house.minutes(14, temp_c=19.25)
    house.journal.fails = fails
    house.clock.ms += 10_000
    house.read(23.5, at_ms=house.clock.ms, ack="a")
    house.send(b"noise", ack="b")
    for _ in range(fails):
        assert not house.pipeline.commit()
    stored = len(house.air())
    assert (house.acked, house.pipeline.waiting) == ([], 2)
    house.clock.ms += 10_000
    house.read(23.5, at_ms=house.clock.ms, ack="c")
    assert house.pipeline.commit()
    assert house.acked == ["a", "b", "c"]
    assert len(house.air()) == stored + 2
    assert [e["kind"] for e in house.events()].count("temperature-high") == 1
    assert house.probe().refused == 1


def test_events_that_could_not_be_written_are_told_after_they_are(house):
    """Who listens hears of an event only when it is in the journal, and once."""
    house.journal.fails = 2
    for _ in range(90):
        house.clock.ms += 10_000
        house.read(19.0, at_ms=house.clock.ms)
    assert house.pipeline.urgent
    assert not house.pipeline.commit()
    assert not house.pipeline.commit()
    assert house.told == []
    assert house.pipeline.commit()
    assert [e.kind for e in house.told] == [Kind.TEMPERATURE_HIGH]
    assert [e["id"] for e in house.events()] == [e.id for e in house.told]


def test_a_journal_that_cannot_even_be_asked_counts_as_a_failed_commit(house, monkeypatch):
    """Which pieces hang is read from it as well."""
    monkeypatch.setattr(house.teller, "_hanging", _broken)
    house.pipeline.feed(Resumed(T0 + MS_PER_H, T0))
    assert not house.pipeline.commit()
    assert house.pipeline.urgent


def _broken(chamber, at_ms):
    raise JournalError("disk I/O error")


# -- events, words, notices ---------------------------------------------------------------------------------


def test_event_alarm_and_message_are_in_one_commit(house):
    """Before it none of the three is there, after it all are."""
    before = []
    real = house.journal.journal.commit

    def commit(batch):
        if batch.events:
            before.append((house.events(), house.rows("SELECT * FROM alarm"), house.rows("SELECT * FROM notice")))
            assert [event.kind for event, _ in batch.events] == [Kind.TEMPERATURE_HIGH]
        return real(batch)

    house.journal.journal.commit = commit
    house.minutes(16, temp_c=19.0)
    assert before == [([], [], [])]
    (event,) = house.events()
    assert house.rows("SELECT event_id FROM alarm") == [(event["id"],)]
    ((channel, headline, body),) = house.rows("SELECT channel, headline, body FROM notice")
    assert channel == "mail"
    assert f"{headline}\n{body}" == event["text"]
    assert house.journal.load_snapshot().at_ms == T0 + 15 * MS_PER_MIN


def test_each_channel_owes_each_event_that_is_sent(tmp_path):
    """Edges and urgent news go out; that somebody is on it is recorded and not sent."""
    house = House(tmp_path, channels=("mail", "house"))
    house.minutes(16, temp_c=19.0)
    house.pipeline.feed(Acknowledge(house.clock.ms, "cellar", None, "Ines"))
    house.pipeline.commit()
    assert [(e["state"], e["kind"]) for e in house.events()] == [("active", "temperature-high"), ("noted", "temperature-high")]
    assert sorted(house.rows("SELECT channel FROM notice")) == [("house",), ("mail",)]
    house.close()


def test_the_message_knows_the_other_probe_and_the_pieces(pair):
    """What the neighbour reads and what hangs there, as of the event."""
    pair.hang("Bresaola 2", T0 - 9 * 24 * MS_PER_H)
    for _ in range(6 * 16):
        pair.clock.ms += 10_000
        pair.read(17.0, at_ms=pair.clock.ms)
        pair.read(12.0, 74.0, probe="front", at_ms=pair.clock.ms)
    for _ in range(6 * 20):
        pair.clock.ms += 10_000
        pair.read(17.0, at_ms=pair.clock.ms)
        pair.read(12.0, 74.0, probe="front", at_ms=pair.clock.ms)
    pair.pipeline.commit()
    (event,) = pair.events()
    assert event["pieces"] == ["Bresaola 2"]
    assert "front reads 12.0 °C, 74 %" in event["text"]
    assert "Bresaola 2 (day 10)" in event["text"]


def test_a_message_speaks_of_its_moment_whatever_came_after_in_the_batch(house):
    """Silence told in a batch that also holds later readings quotes the last reading before it."""
    house.minutes(2, temp_c=12.0)
    house.clock.ms += 30 * MS_PER_MIN
    house.read(14.9, 79.0, at_ms=house.clock.ms)
    house.pipeline.commit()
    silent = next(e for e in house.events() if e["state"] == "active")
    assert silent["kind"] == "probe-silent"
    assert "last reading 12.0 °C, 75 % at 00:02" in silent["text"]


def test_a_silent_neighbour_is_no_witness(pair):
    """A probe that fell silent itself is not quoted as the one that works."""
    pair.minutes(1, probe="front")
    pair.minutes(30, temp_c=17.0)
    warm = next(e for e in pair.events() if e["kind"] == "temperature-high")
    assert "front" not in warm["text"]


def test_after_a_restart_the_last_words_are_known(house):
    """A gap's message says what was read before it, though this process never heard it."""
    house.minutes(5, temp_c=12.3)
    house.pipeline.commit(snapshot=True)
    house.crash()
    house.teller.remember(newest_air(house.path))
    house.pipeline.feed(Resumed(house.clock.ms + MS_PER_H, house.clock.ms))
    house.pipeline.commit()
    (gap,) = house.events()
    assert gap["kind"] == "monitor-gap"
    assert "Before it: 12.3 °C, 75 %" in gap["text"]


def test_a_piece_entered_later_is_on_the_event_all_the_same(house):
    """`pieces` is known now, not as told."""
    house.minutes(16, temp_c=19.0)
    assert house.events()[0]["pieces"] == []
    house.hang("Neck 4", T0)
    assert house.events()[0]["pieces"] == ["Neck 4"]


# -- signs of life, snapshots -------------------------------------------------------------------------------


def test_life_is_signed_once_a_minute_when_nothing_comes(house):
    """Else a restart after a quiet hour would tell of a gap that never was."""
    house.read()
    house.pipeline.commit()
    tries = house.journal.tries
    for _ in range(30):
        house.clock.ms += 10_000
        house.pipeline.commit()
    assert house.journal.journal.alive_ms() == T0 + 5 * MS_PER_MIN
    assert house.journal.tries - tries == 5


def test_a_replay_signs_no_life(tmp_path):
    """Only a watch was there to see."""
    house = House(tmp_path, alive=False)
    house.minutes(10)
    house.pipeline.commit(snapshot=True)
    assert house.journal.journal.alive_ms() is None
    house.close()


def test_a_snapshot_is_kept_every_ten_minutes_and_at_edges(house):
    """Not with each commit: a card wears."""
    house.minutes(1)
    first = house.journal.load_snapshot()
    house.minutes(9)
    assert house.journal.load_snapshot() == first
    house.minutes(2)
    second = house.journal.load_snapshot()
    assert second.at_ms == first.at_ms + 10 * MS_PER_MIN
    house.minutes(20, temp_c=19.0)
    (edge,) = house.events()
    # At the commit that holds the edge, to the minute.
    third = house.journal.load_snapshot()
    assert house.rows(f"SELECT count(*) FROM event WHERE id = '{edge['id']}'") == [(1,)]
    assert third.at_ms > second.at_ms
    assert json.loads(zlib.decompress(third.body))["board"]["alarms"] != []


def test_a_snapshot_of_an_unknown_form_is_not_read(house):
    """The watch then begins afresh instead of failing."""
    house.minutes(16, temp_c=19.0)
    house.close()
    with closing(sqlite3.connect(house.path)) as db, db:
        db.execute("UPDATE snapshot SET version = ?, body = ?", (VERSION + 1, b"x"))
    house.begin()
    assert house.pipeline.alarms() == []
    house.minutes(1)
    assert house.rows("SELECT * FROM alarm") == []


@pytest.mark.parametrize("known", [True, False])
def test_after_an_upgrade_the_norm_is_learnt_anew_from_the_journal(house, known):
    """Seven hours of a fridge's saw-tooth, a snapshot of another form, then a dead compressor: told by its cycle."""
    for m in range(7 * 60 if known else 60):
        house.clock.ms += MS_PER_MIN
        house.read(saw(m), 75.0 - m % 2 / 10, at_ms=house.clock.ms)
        house.pipeline.commit()
    house.close()
    with closing(sqlite3.connect(house.path)) as db, db:
        db.execute("UPDATE snapshot SET version = ?, body = ?", (VERSION - 1, b"x"))
    house.begin()
    for m in range(60):
        house.clock.ms += MS_PER_MIN
        house.read(12.0 + m / 25, 75.0 - m % 2 / 10, at_ms=house.clock.ms)
        house.pipeline.commit()

    told = [alarm.kind for alarm in house.pipeline.alarms()]
    assert told == ([Kind.COOLING_LOST] if known else [])


def test_a_restart_takes_up_the_standing_alarm(house):
    """No second telling; it returns under the same occurrence."""
    house.minutes(16, temp_c=19.0)
    house.crash()
    assert [a.kind for a in house.pipeline.alarms()] == [Kind.TEMPERATURE_HIGH]
    house.minutes(60, temp_c=12.0)
    assert [(e["kind"], e["state"]) for e in house.events()] == [
        ("temperature-high", "active"),
        ("temperature-high", "returned"),
    ]


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["rear", "front"]),
        st.sampled_from([10, 10, 10, 60, 120]),
        st.sampled_from([12.0, 14.0, 16.0, 19.0, 22.0, 30.0]),
        st.sampled_from([75.0, 75.0, 60.0, 90.0]),
        st.integers(1, 60),
    ),
    min_size=1,
    max_size=8,
)


def _lived(folder, steps, commits, cuts):
    """Live through the steps, committing where told, crashing (uncommitted input comes again) where told."""
    house = House(folder, plan=TWO, alive=False)
    n, uncommitted = 0, []
    for probe, every_s, temp_c, rh_pct, count in steps:
        for _ in range(count):
            house.clock.ms += every_s * 1000
            uncommitted.append((probe, temp_c, rh_pct, house.clock.ms))
            house.read(temp_c, rh_pct, probe=probe, at_ms=house.clock.ms)
            n += 1
            if n % commits == 0 or house.pipeline.urgent:
                assert house.pipeline.commit()
                uncommitted.clear()
            if n in cuts:
                house.crash()
                now_ms = house.clock.ms
                for who, temp, rh, at_ms in uncommitted:
                    house.clock.ms = at_ms
                    house.read(temp, rh, probe=who, at_ms=at_ms)
                house.clock.ms = now_ms
    house.pipeline.commit(snapshot=True)
    lived = [{k: e[k] for k in e if k != "text"} for e in house.events()], house.air()
    house.close()
    return lived


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(STEPS, st.integers(1, 40), st.sets(st.integers(1, 300), max_size=4))
def test_killed_anywhere_it_tells_the_same(steps, commits, cuts):
    """Crash at any points, what was not acknowledged comes again: same readings, same events, same ids."""
    with tempfile.TemporaryDirectory(dir=QUICK_DISK) as one, tempfile.TemporaryDirectory(dir=QUICK_DISK) as two:
        assert _lived(Path(one), steps, commits, cuts) == _lived(Path(two), steps, commits, set())


@settings(max_examples=15, deadline=None)
@given(STEPS)
def test_the_pipeline_adds_nothing_to_the_engine(steps):
    """The events in the journal are those of the bare fold over the same readings."""
    with tempfile.TemporaryDirectory(dir=QUICK_DISK) as folder:
        stored, air = _lived(Path(folder), steps, 7, set())
    engine = Engine(TWO)
    at_ms, events = T0, []
    for probe, every_s, temp_c, rh_pct, count in steps:
        for _ in range(count):
            at_ms += every_s * 1000
            events += engine.step(Reading(probe, at_ms, temp_c, rh_pct, at_ms))
    assert sorted(e["id"] for e in stored) == sorted(e.id for e in events)
    assert len(air) == sum(step[-1] for step in steps)


def test_nothing_owed_is_owed_twice_after_a_crash(house):
    """A message sent stays sent when its event is judged again."""
    house.minutes(16, temp_c=19.0)
    outbox = Outbox(house.path)
    (owed,) = outbox.due("mail", house.clock.ms, 10)
    outbox.sent(owed.id, house.clock.ms)
    outbox.close()
    house.crash()
    house.pipeline.feed(Tick(house.clock.ms))
    house.pipeline.commit(snapshot=True)
    assert house.rows("SELECT state FROM notice") == [("sent",)]


def test_news_of_the_broker_goes_into_the_journal(tmp_path):
    """A lost link becomes its alarm at its deadline."""
    plan = Plan(PLAN.chambers, (ProbePlan("rear", "cellar", over_broker=True),))
    house = House(tmp_path, plan=plan)
    house.minutes(1)
    house.pipeline.feed(LinkLost(house.clock.ms))
    house.pipeline.feed(Tick(house.clock.ms + 61_000))
    house.pipeline.commit()
    assert [(e["kind"], e["at"]) for e in house.events()] == [("broker-lost", stamp(2))]
    house.close()
