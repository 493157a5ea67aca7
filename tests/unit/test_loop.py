"""The watch loop: when it commits, what it does while it can't, when it feeds the watchdog. On a time set by hand."""

from __future__ import annotations

import queue
import sqlite3
from contextlib import closing
from types import SimpleNamespace

import pytest
from daemon_parts import PLAN, T0, House, line

from chamberwatch.daemon import loop as loop_module
from chamberwatch.daemon.asking import parse_acknowledgement
from chamberwatch.daemon.loop import ACKS, BATCH_INPUTS, BATCH_S, Loop
from chamberwatch.daemon.requests import Requests
from chamberwatch.errors import JournalError
from chamberwatch.ingest.packet import Command, Packet
from chamberwatch.inputs import LinkBack, LinkLost
from chamberwatch.journal.facts import Facts
from chamberwatch.model import Kind, Plan, ProbePlan
from chamberwatch.wire.timestamp import parse_rfc3339


class Script:
    """An inbox whose items come at set times; waiting lets the time pass."""

    def __init__(self):
        self.now_s = 1000.0
        self.items = []

    def put(self, item, after_s=0.0):
        """Let `item` come `after_s` from now."""
        self.items.append((self.now_s + after_s, item))
        self.items.sort(key=lambda pair: pair[0])

    def get(self, timeout):
        """Return the next item if it comes in time."""
        if self.items and self.items[0][0] <= self.now_s + timeout:
            at_s, item = self.items.pop(0)
            self.now_s = max(self.now_s, at_s)
            return item
        self.now_s += timeout
        raise queue.Empty

    def get_nowait(self):
        """Return an item that is here."""
        return self.get(0.0)


class Manager:
    """A service manager that keeps what it is told."""

    def __init__(self, ping_every_s=0.0):
        self.ping_every_s = ping_every_s
        self.fed_s = []

    def alive(self, status):
        """Note the feeding."""
        self.fed_s.append(status)


class Watch:
    """A loop over a real pipeline and journal."""

    def __init__(self, folder, monkeypatch, *, ping_every_s=0.0, **house):
        self.house = House(folder, **house)
        self.inbox = Script()
        self.began_s = self.inbox.now_s
        self.manager = Manager(ping_every_s)
        self.minutes = 0
        self.commits = []
        monkeypatch.setattr(loop_module, "time", SimpleNamespace(monotonic=lambda: self.inbox.now_s, sleep=self._sleep))
        pipeline = self.house.pipeline
        real = pipeline.commit

        def commit(**kwargs):
            waiting = pipeline.waiting
            kept = real(**kwargs)
            self.commits.append((round(self.inbox.now_s - self.began_s, 3), waiting, kept))
            return kept

        monkeypatch.setattr(pipeline, "commit", commit)
        requests = Requests(self.house.journal, self.house.plan, pipeline, self.house.clock)
        self.loop = Loop(
            self.inbox, pipeline, requests, self.house.clock, self.manager,
            lambda: f"{self.inbox.now_s - self.began_s:.0f}", self._minute,
        )  # fmt: skip

    def _sleep(self, seconds):
        self.inbox.now_s += seconds

    def _minute(self):
        self.minutes += 1

    def packet(self, temp_c=12.5, after_s=0.0, ack=None, payload=None):
        """Let a packet come."""
        done = None if ack is None else lambda: self.house.acked.append(ack)
        payload = payload or line(temp_c, at_ms=T0 + round(1000 * (self.inbox.now_s - self.began_s + after_s)))
        self.inbox.put(Packet("test", "rear", payload, T0, done), after_s)

    def run(self, seconds):
        """Take turns until so much time has passed."""
        end_s = self.inbox.now_s + seconds
        while self.inbox.now_s < end_s:
            before_s = self.inbox.now_s
            self.loop.turn()
            self.house.clock.ms += round(1000 * (self.inbox.now_s - before_s))


@pytest.fixture
def watch(tmp_path, monkeypatch):
    """Return a watch of one probe."""
    watch = Watch(tmp_path, monkeypatch)
    yield watch
    watch.house.close()


# -- when it commits ----------------------------------------------------------------------------------------


def test_a_quiet_house_commits_every_20_s(watch):
    """One reading each 10 s: two a commit, so that a card wears little."""
    for i in range(12):
        watch.packet(after_s=10 * i + 1)
    watch.run(119)
    assert [n for _, n, _ in watch.commits] == [2] * 5
    assert all(b[0] - a[0] == pytest.approx(BATCH_S, abs=1.0) for a, b in zip(watch.commits, watch.commits[1:], strict=False))


def test_an_event_is_committed_at_once(watch):
    """The reading that trips the alarm, not the end of the batch."""
    for i in range(200):
        watch.packet(19.0, after_s=10 * i)
    watch.run(60 * 16)
    (event,) = watch.house.events()
    assert event["kind"] == "temperature-high"
    tripped_s = (parse_rfc3339(event["at"]) - T0) / 1000
    assert tripped_s in [when for when, _, _ in watch.commits]


def test_a_request_of_the_command_line_is_taken_within_a_second(watch):
    """Written by another connection, answered in one commit."""
    for i in range(100):
        watch.packet(19.0, after_s=10 * i)
    watch.run(60 * 15 + 5)
    with Facts(watch.house.path, now_ms=watch.house.clock.ms) as facts:
        facts.asks.acknowledge(watch.house.clock.ms, chamber="cellar", by="Ines")
    watch.run(1.1)
    assert watch.house.rows("SELECT done FROM request") == [(1,)]
    assert watch.house.rows("SELECT acknowledged, acknowledged_by FROM alarm") == [(1, "Ines")]


def test_sixteen_unacknowledged_are_committed_when_the_inbox_is_idle(watch):
    """The broker waits for its acknowledgements; a backlog is not cut into small commits by them."""
    for i in range(ACKS - 1):
        watch.packet(payload=line(at_ms=T0 + i), ack=i)
    watch.run(5)
    assert watch.house.acked == []
    watch.packet(payload=line(at_ms=T0 + 99), ack="last")
    watch.run(1)
    assert len(watch.house.acked) == ACKS
    assert watch.commits[0][0] < 6.1


def test_a_stream_that_never_pauses_is_acknowledged_within_a_second(watch):
    """Messages every millisecond: the inbox is never idle, the broker must not wait for long."""
    for i in range(3000):
        watch.packet(payload=line(at_ms=T0 + i), ack=i, after_s=i / 1000)
    watch.run(2.9)
    assert watch.commits
    assert all(b[0] - a[0] <= 1.1 for a, b in zip([(0.0,), *watch.commits], watch.commits, strict=False))


def test_a_backlog_is_committed_in_batches(watch):
    """At most 2,000 inputs at a time, so that neither memory nor one transaction grows without bound."""
    for i in range(5000):
        watch.packet(payload=line(at_ms=T0 + i))
    watch.run(1)
    assert [n for _, n, _ in watch.commits] == [BATCH_INPUTS, BATCH_INPUTS]
    watch.run(20)
    assert watch.house.probe().readings == 5000


# -- when it cannot -----------------------------------------------------------------------------------------


def test_while_the_journal_fails_it_goes_on_listening(watch):
    """Three minutes of a full disk with an alarm waiting: no probe is told silent for what was not listened to."""
    for i in range(200):
        watch.packet(19.0, after_s=10 * i, ack=i)
    watch.run(60 * 14)
    stored = watch.house.probe().readings
    watch.house.journal.fails = 10_000
    watch.run(60 * 4)
    assert watch.house.probe().readings == stored
    assert len(watch.house.acked) <= stored
    watch.house.journal.fails = 0
    watch.run(60)
    assert [e["kind"] for e in watch.house.events()] == ["temperature-high"]
    taken = watch.house.probe().readings
    assert taken >= 6 * 19
    assert watch.house.acked == list(range(taken))


def test_the_watchdog_is_fed_by_progress_alone(tmp_path, monkeypatch):
    """Each 5 s while it works, with or without readings; not once while the journal cannot be written."""
    watch = Watch(tmp_path, monkeypatch, ping_every_s=5.0)
    for i in range(30):
        watch.packet(after_s=10 * i)
    watch.run(60)
    assert 11 <= len(watch.manager.fed_s) <= 13
    watch.house.journal.fails = 10_000
    watch.run(25)
    fed = len(watch.manager.fed_s)
    watch.run(120)
    assert len(watch.manager.fed_s) == fed
    watch.house.journal.fails = 0
    watch.run(30)
    assert len(watch.manager.fed_s) >= fed + 4
    watch.house.close()


def test_without_a_watchdog_nobody_is_fed(watch):
    """By hand at a terminal."""
    watch.run(60)
    assert watch.manager.fed_s == []


def test_at_the_end_all_that_came_in_is_committed(watch):
    """More than one batch, an event amid it; then a snapshot."""
    for i in range(6 * 30):
        watch.packet(payload=line(19.0, at_ms=T0 + 10_000 * i), ack=i)
    assert watch.loop.drain() is True
    assert len(watch.house.acked) == 6 * 30
    assert [e["kind"] for e in watch.house.events()] == ["temperature-high"]
    assert watch.house.journal.load_snapshot().at_ms == T0


def test_an_end_on_a_full_disk_is_told(watch):
    """Nothing is acknowledged, and the caller learns that it is not all there."""
    watch.packet(ack="a")
    watch.house.journal.fails = 1
    assert watch.loop.drain() is False
    assert watch.house.acked == []


def test_it_stops_after_the_turn_under_way(watch):
    """`stop` is what a signal handler calls."""
    watch.packet()
    watch.loop.stop()
    watch.loop.run()
    assert watch.commits == []


# -- requests -------------------------------------------------------------------------------------------------


def test_a_journal_that_cannot_be_read_does_not_end_the_watch(watch, monkeypatch):
    """Requests are looked for again; readings are taken meanwhile."""
    real = watch.house.journal.journal.data_version
    monkeypatch.setattr(watch.house.journal.journal, "data_version", _broken)
    for i in range(4):
        watch.packet(after_s=10 * i)
    watch.run(45)
    assert watch.house.probe().readings == 4
    monkeypatch.setattr(watch.house.journal.journal, "data_version", real)
    with Facts(watch.house.path, now_ms=watch.house.clock.ms) as facts:
        facts.asks.tend("cellar", watch.house.clock.ms, watch.house.clock.ms + 60_000)
    watch.run(2.1)
    assert watch.house.rows("SELECT done FROM request") == [(1,)]


def _broken():
    raise JournalError("disk I/O error")


def test_a_request_of_another_version_is_put_aside(watch):
    """About a kind this one does not know: it must not be taken for all kinds."""
    for i in range(6 * 16):
        watch.packet(19.0, after_s=10 * i)
    watch.run(60 * 16)
    with closing(sqlite3.connect(watch.house.path)) as db, db:
        args = '{"chamber": null, "kind": "meat-odd", "by": "x"}'
        db.execute("INSERT INTO request(at_ms, verb, args) VALUES (1, 'acknowledge', ?)", (args,))
    watch.run(2.1)
    assert watch.house.rows("SELECT done FROM request") == [(1,)]
    assert watch.house.rows("SELECT acknowledged FROM alarm") == [(0,)]


def test_a_door_session_holds_the_air_alarms(watch):
    """From the command line to the rule: warm air at the open door is told only after it."""
    watch.packet()
    watch.run(2)
    now_ms = watch.house.clock.ms
    with Facts(watch.house.path, now_ms=now_ms) as facts:
        facts.asks.tend("cellar", now_ms, now_ms + 30 * 60_000)
    for i in range(6 * 50):
        watch.packet(19.0, after_s=10 * i)
    watch.run(60 * 50)
    (event,) = watch.house.events()
    assert parse_rfc3339(event["at"]) - now_ms == pytest.approx(45 * 60_000, abs=30_000)


# -- the clock ----------------------------------------------------------------------------------------------


def test_a_step_of_the_clock_is_neither_silence_nor_a_lost_broker(tmp_path, monkeypatch):
    """Set on by a day at the first sync, the connection standing all the while."""
    plan = Plan(PLAN.chambers, (ProbePlan("rear", "cellar", over_broker=True),))
    watch = Watch(tmp_path, monkeypatch, plan=plan)
    watch.inbox.put(LinkBack(T0, kept=True))
    for i in range(6):
        watch.packet(after_s=10 * i)
    watch.run(55)
    watch.house.clock.ms += 86_400_000
    watch.house.clock.stepped_ms = 86_400_000
    watch.run(80)
    assert [(e["kind"], e["state"], e["value"]) for e in watch.house.events()] == [
        ("clock-step", "noted", 86_400.0)
    ]
    watch.house.close()


def test_a_step_while_the_broker_is_away_still_tells_that(tmp_path, monkeypatch):
    """What was lost before the step is lost after it."""
    plan = Plan(PLAN.chambers, (ProbePlan("rear", "cellar", over_broker=True),))
    watch = Watch(tmp_path, monkeypatch, plan=plan)
    watch.inbox.put(LinkBack(T0, kept=True))
    watch.inbox.put(LinkLost(T0), 5)
    watch.run(10)
    watch.house.clock.ms += 86_400_000
    watch.house.clock.stepped_ms = 86_400_000
    watch.run(80)
    assert {(e["kind"], e["state"]) for e in watch.house.events()} >= {("broker-lost", "active")}
    watch.house.close()


def test_each_minute_the_clock_is_looked_at_again(watch):
    """A board that is in sync only later begins to refuse the future then."""
    watch.run(181)
    assert watch.minutes == 3


# -- what people say on the acknowledge topic ----------------------------------------------------------------


def test_on_it_by_mqtt_is_taken_and_acknowledged(watch):
    """A chamber, or a chamber and a kind; nonsense changes nothing, yet goes off the broker's queue."""
    for i in range(6 * 16):
        watch.packet(19.0, after_s=10 * i)
    watch.run(60 * 16)
    for i, text in enumerate(["attic", "cellar humidity-low", "cellar temperature-high"]):
        watch.inbox.put(Command(text, T0, lambda i=i: watch.house.acked.append(i)))
    watch.run(21)
    assert watch.house.acked == [0, 1, 2]
    assert watch.house.rows("SELECT acknowledged, acknowledged_by FROM alarm WHERE kind = 'temperature-high'") == [(1, "MQTT")]


def test_what_an_acknowledgement_may_say():
    """Everything, a chamber, a kind in a chamber; all else says what is allowed."""
    plan = Plan(PLAN.chambers, ())
    assert parse_acknowledgement("", plan) == (None, None)
    assert parse_acknowledgement("all", plan) == (None, None)
    assert parse_acknowledgement(" cellar ", plan) == ("cellar", None)
    assert parse_acknowledgement("cellar probe-silent", plan) == ("cellar", Kind.PROBE_SILENT)
    with pytest.raises(ValueError, match="'attic' is not a chamber; write all, or one of: cellar"):
        parse_acknowledgement("attic", plan)
    with pytest.raises(ValueError, match="'too hot' is not a kind; one of: temperature-high, "):
        parse_acknowledgement("cellar too hot", plan)


def test_a_sign_of_life_needs_a_journal_that_can_be_written(tmp_path, monkeypatch):
    """Given at each turn while all is well; not once while commits fail; again afterwards."""
    watch = Watch(tmp_path, monkeypatch)
    signs = []
    monkeypatch.setattr(watch.loop, "_alive", lambda: signs.append(watch.inbox.now_s))
    for i in range(30):
        watch.packet(after_s=10 * i)
    watch.run(60)
    assert len(signs) >= 50
    watch.house.journal.fails = 10_000
    watch.run(25)
    given = len(signs)
    watch.run(120)
    assert len(signs) == given
    watch.house.journal.fails = 0
    watch.run(30)
    assert len(signs) > given
    watch.house.close()
