"""What we publish, and what the broker says in our stead when we die."""

import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest
from ingest_parts import TOPIC, connected, take, until

pytestmark = pytest.mark.external

ROOT = Path(__file__).parents[2]


def test_a_message_taken_by_the_broker_is_true(mosquitto, link_to):
    """`publish` is True once the broker has answered; a retained one is there for whoever comes later."""
    broker = mosquitto()
    link, _ = link_to(broker.port)
    assert connected(link)
    assert link.publish("cellar/alarm", b"FRIDGE NOT COOLING", retain=True) is True
    assert broker.retained("cellar/alarm") == b"FRIDGE NOT COOLING"
    assert link.publish("cellar/alarm", b"", qos=0, retain=True) is True
    assert until(lambda: broker.retained("cellar/alarm") is None)


def test_what_is_published_offline_is_refused_and_never_sent(mosquitto, link_to):
    """Offline, `publish` is False at once, and the message does not turn up by itself later."""
    broker = mosquitto()
    link, _ = link_to(broker.port)
    assert connected(link)
    broker.stop()
    assert until(lambda: not link.status().connected)
    assert link.publish("cellar/alarm", b"late", retain=True, timeout_s=30) is False
    broker.start()
    assert connected(link, times=2)
    assert link.publish("elsewhere", b"x")
    assert broker.retained("cellar/alarm") is None


def test_nothing_is_published_before_the_broker_has_let_us_in(link_to):
    """While the broker has not answered our CONNECT, `publish` is False at once and sends not a byte."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(10)
        link, _ = link_to(server.getsockname()[1])
        connection, _ = server.accept()
        with connection:
            connection.settimeout(10)
            assert connection.recv(4096)[0] >> 4 == 1
            assert link.publish("cellar/alarm", b"x", timeout_s=300) is False
            connection.sendall(b"\x20\x03\x00\x00\x00")
            assert connection.recv(4096)[0] == 0x82, "the first packet after CONNECT must be SUBSCRIBE"


def test_what_was_not_answered_is_not_sent_later(mosquitto, link_to):
    """A message the broker never answered is False; its sender tries again, the library must not do so too."""
    broker = mosquitto()
    link, _ = link_to(broker.port)
    assert connected(link)
    broker.freeze()
    assert link.publish("cellar/alarm", b"late", retain=True, timeout_s=0.3) is False
    broker.kill()
    broker.start()
    assert connected(link, times=2)
    assert link.publish("elsewhere", b"x")
    assert broker.retained("cellar/alarm") is None


def test_a_lost_connection_ends_the_wait_for_an_answer(mosquitto, link_to):
    """Whoever waits for the broker's answer is told False as soon as the connection is gone, not at the timeout."""
    broker = mosquitto()
    link, _ = link_to(broker.port)
    assert connected(link)
    broker.freeze()
    killer = subprocess.Popen(["/bin/sh", "-c", f"sleep 0.3; kill -9 {broker._process.pid}"])
    begun_s = time.monotonic()
    assert link.publish("cellar/alarm", b"x", timeout_s=300) is False
    assert time.monotonic() - begun_s < 150
    assert killer.wait(10) == 0


def test_a_message_the_broker_refuses_is_not_called_published(mosquitto, link_to, tmp_path):
    """A topic we may not write to gives False, though the library counts the answer as published."""
    access = tmp_path / "access"
    access.write_text(f"topic readwrite {TOPIC}\n")
    broker = mosquitto([f"acl_file {access}"])
    link, _ = link_to(broker.port)
    assert connected(link)
    assert link.publish("cellar/alarm", b"x") is False
    assert link.publish(TOPIC, b"x") is True


def test_a_clean_stop_says_offline(mosquitto, link_to):
    """The status topic retains "online" while we are connected and "offline" after a clean stop."""
    broker = mosquitto()
    link, _ = link_to(broker.port, status_topic="cellar/monitor")
    assert connected(link)
    assert until(lambda: broker.retained("cellar/monitor") == b"online")
    assert link.stop()
    assert broker.retained("cellar/monitor") == b"offline"
    assert link.status() == (False, "stopped", 1)


MONITOR = """
import sys, time
from chamberwatch.ingest.broker import BrokerLink
from chamberwatch.ingest.broker_plan import BrokerPlan
from chamberwatch.ingest.packet import Inbox
link = BrokerLink(BrokerPlan(port=int(sys.argv[1]), status_topic="cellar/monitor", will_delay_s=0), Inbox(), lambda: 0)
link.start()
time.sleep(60)
"""


def test_a_killed_monitor_is_told_as_offline(mosquitto):
    """SIGKILL the monitor, as a dead board: the broker says "offline" for it, retained, to every other client."""
    broker = mosquitto()
    monitor = subprocess.Popen([sys.executable, "-c", MONITOR, str(broker.port)], cwd=ROOT)
    try:
        assert until(lambda: broker.retained("cellar/monitor") == b"online")
    finally:
        monitor.kill()
        monitor.wait(10)
    assert until(lambda: broker.retained("cellar/monitor") == b"offline")


def test_a_short_break_is_not_told_as_offline(mosquitto, link_to):
    """A reconnect within the will's delay sends no "offline": it would wake someone for nothing."""
    broker = mosquitto()
    link, _ = link_to(broker.port, status_topic="cellar/monitor", will_delay_s=60)
    watcher, seen = link_to(broker.port, client_id="watcher", topics={"cellar/monitor": "monitor"})
    assert connected(link)
    assert connected(watcher)
    link.reconnect()
    assert connected(link, times=2)
    assert link.publish("cellar/monitor", b"done")
    told = []
    while b"done" not in told:
        told.append(take(seen).payload)
    assert b"offline" not in told
