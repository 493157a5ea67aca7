"""The sign of life by HTTP: while the watch really goes round, and never in its way."""

from __future__ import annotations

import logging
import time

import pytest
from heartbeat_parts import Waiting
from ingest_parts import Mosquitto, free_port, until
from watch_parts import CHAMBER, STOP_S, Daemon, mqtt_probe

from chamberwatch.heartbeat import Pulse, PulsePlan, ping

HUSH = "kettle-black-42"


@pytest.fixture
def waiting():
    """Somebody who waits."""
    server = Waiting()
    yield server
    server.close()


@pytest.fixture
def begin():
    """Start pulses; end them afterwards."""
    begun = []

    def start(url, **options):
        pulse = Pulse(PulsePlan(url, 0.02), **options)
        begun.append(pulse)
        pulse.start()
        return pulse

    yield start
    for pulse in begun:
        pulse.stop(0.1)


def test_it_beats_only_while_the_watch_says_that_it_lives(waiting, begin):
    """Nothing before the first word; several while it speaks; none once it has been silent for a while."""
    pulse = begin(waiting.address, fresh_s=0.3)
    assert not until(lambda: waiting.asked, 0.2)
    assert until(lambda: pulse.alive() or len(waiting.asked) >= 3)
    assert until(lambda: time.monotonic() - pulse._alive_s > 0.4)
    sent = pulse.status().sent
    assert not until(lambda: pulse.status().sent > sent, 0.3)
    assert until(lambda: pulse.alive() or pulse.status().sent > sent)


def test_a_failure_is_told_once_without_the_address_and_tried_until_it_goes_through(waiting, begin, caplog):
    """500 three times, then 204: one warning, one word that it is over, no part of the secret."""
    caplog.set_level(logging.INFO)
    waiting.code = 500
    pulse = begin(f"{waiting.address}/{HUSH}", first_rest_s=0.01)
    assert until(lambda: pulse.alive() or pulse.status().failed >= 3)
    assert "answers 500" in pulse.status().problem
    waiting.code = 204
    assert until(lambda: pulse.alive() or pulse.status().problem is None)

    said = [r.getMessage() for r in caplog.records if "heartbeat" in r.getMessage()]
    assert said == ["heartbeat: it answers 500, which is no success; tried again", "heartbeat: goes through again"]
    assert HUSH not in caplog.text


def test_why_it_fails_is_said_in_words_without_the_address(waiting):
    """Nobody there, a name nobody has, nobody answers, an address that is none."""
    waiting.hold.clear()
    whys = [
        ping(f"http://127.0.0.1:{free_port()}/{HUSH}"), ping(f"http://{HUSH}.invalid/"),
        ping(f"{waiting.address}/{HUSH}", 0.2), ping(f"http://[{HUSH}/"),
    ]  # fmt: skip

    assert all(whys)
    assert "no connection" in whys[0]
    assert HUSH not in " ".join(whys)


def test_one_that_hangs_is_not_waited_for_at_the_end(waiting, begin):
    """The word that the watch lives returns at once, and so does the end."""
    waiting.hold.clear()
    pulse = begin(waiting.address)
    assert until(lambda: pulse.alive() or waiting.asked)
    began_s = time.monotonic()
    for _ in range(1000):
        pulse.alive()
    pulse.stop(0.0)
    assert time.monotonic() - began_s < 1.0


def test_a_running_watch_beats_and_a_secret_is_nowhere(waiting, tmp_path):
    """The address from a credential; `check` looks, `check --send-test` sends one; it stops as quickly as ever."""
    broker = Mosquitto(tmp_path / "broker").start()
    secret = {"CHAMBERWATCH_BEAT": f"{waiting.address}/{HUSH}"}
    heartbeat = '[heartbeat]\ncredential = "beat"\nevery = 10\n'
    config = f"{CHAMBER}{mqtt_probe('rear')}[broker]\nport = {broker.port}\n{heartbeat}"
    watch = Daemon(tmp_path, config, **secret)
    try:
        watch.start()
        assert until(lambda: waiting.asked, 20)
        assert f"/{HUSH}" in waiting.asked
        before = len(waiting.asked)
        looked = watch.command("check")
        assert "ok    heartbeat: every 10 s (--send-test tries it once)" in looked
        tried = watch.command("check", "--send-test")
        assert "ok    heartbeat: one went through" in tried
        assert len(waiting.asked) > before
        waiting.code = 404
        failed = watch.command("check", "--send-test", code=69)
        assert "MEND  heartbeat: it answers 404" in failed
        code, took_s = watch.stop()
        assert code == 0
        assert took_s < STOP_S
        assert HUSH not in looked + tried + failed + watch.log.read_text() + watch.out.read_text()
    finally:
        watch.kill()
        broker.kill()
