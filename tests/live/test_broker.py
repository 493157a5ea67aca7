"""The broker connection, against a real mosquitto.

Known traps of the MQTT client library and the broker (each measured: paho-mqtt 2.2, mosquitto 2.0.11) and the
test that would catch it (here, in test_broker_link.py and in test_broker_publish.py):

- the library acknowledges before anything is stored: test_nothing_is_acknowledged_by_itself
- a kill between commit and acknowledgement brings the message again; the DUP flag does not tell which:
  test_killed_between_commit_and_acknowledgement_it_comes_once_more
- a broker by its defaults keeps 1,000 messages: test_a_night_of_backlog_drains_in_order (with our sample settings)
- without an acknowledgement the flow stops (after 20 by default) and nothing is sent twice in one connection:
  test_what_is_not_acknowledged_comes_again_only_after_a_reconnect
- packet ids begin anew when the broker lost our session, so an old acknowledgement hits a new message:
  test_a_stale_acknowledgement_does_not_lose_a_new_message
- an exception in a callback ends the network thread while the client still says connected:
  test_an_inbox_that_fails_costs_no_message, test_a_dead_network_thread_ends_the_process (in test_thread_guard.py)
- connecting fails for good when the broker is down at the start: test_a_broker_that_comes_later_is_found
- the will must be delivered on an abrupt end, and only then: test_a_killed_monitor_is_told_as_offline,
  test_a_short_break_is_not_told_as_offline, test_a_clean_stop_says_offline
- a broker that lost our session has forgotten our topics, and says so: test_after_a_lost_session_the_topics_are_read_again
- the receive maximum is no back-pressure, the network thread must never wait: test_a_full_inbox_holds_nothing_up
- a message published while offline waits in memory and dies with the process:
  test_what_is_published_offline_is_refused_and_never_sent, test_what_was_not_answered_is_not_sent_later
- the library calls a refused message published: test_a_message_the_broker_refuses_is_not_called_published
- no client id means a new session each time, and two with one id steal it: test_ingest_plans.py,
  test_another_program_with_our_client_id_is_told
- a certificate made out to another name, signed by a stranger, or not valid yet by our clock: test_broker_tls.py
- a session that never expires or ends at once: test_the_connection_asks_for_a_session_that_lasts
- a retained message is an old one: test_a_retained_reading_comes_once_and_marked,
  test_a_retained_command_is_never_obeyed
"""

import signal
import subprocess
import sys
from pathlib import Path

import pytest
from ingest_parts import NOW_MS, TOPIC, connected, settled, take, take_payloads, until

from chamberwatch.ingest.broker_plan import MAX_PAYLOAD_BYTES
from chamberwatch.ingest.packet import Command, Packet
from chamberwatch.inputs import LinkBack, LinkLost
from chamberwatch.model import Reason

pytestmark = pytest.mark.external

ROOT = Path(__file__).parents[2]

# -- messages, commands --------------------------------------------------------------------------------------


def test_a_message_becomes_a_packet(mosquitto, link_to):
    """A message on a probe's topic is a packet with its source, probe, arrival and an acknowledgement."""
    broker = mosquitto()
    link, inbox = link_to(broker.port)
    assert connected(link)
    assert inbox.get(timeout=5) == LinkBack(NOW_MS, kept=False)
    broker.publish(TOPIC, b"12.4")
    packet = take(inbox)
    assert packet[:4] == (f"mqtt:{TOPIC}", "front", b"12.4", NOW_MS)
    assert (packet.problem, packet.retained) == (None, False)
    assert callable(packet.ack)
    assert link.status() == (True, "", 1)


def test_a_message_of_qos_0_wants_no_acknowledgement(mosquitto, link_to):
    """A probe that publishes with QoS 0 is read; there is nothing to acknowledge."""
    broker = mosquitto()
    link, inbox = link_to(broker.port)
    assert connected(link)
    broker.publish(TOPIC, b"12.4", qos=0)
    assert take(inbox).ack is None


def test_a_command_comes_as_text_with_an_acknowledgement(mosquitto, link_to):
    """What is written on the acknowledge topic is a command, at most 200 characters, whatever its bytes."""
    broker = mosquitto()
    link, inbox = link_to(broker.port, acknowledge_topic="cellar/on-it")
    assert connected(link)
    broker.publish("cellar/on-it", b" cellar temperature-high ")
    command = take(inbox, Command)
    assert command[:2] == ("cellar temperature-high", NOW_MS)
    command.ack()
    broker.publish("cellar/on-it", b"\xff\xfe" + b"x" * 5000)
    assert len(take(inbox, Command).text) == 200


def test_a_message_too_long_is_refused_with_its_length(mosquitto, link_to):
    """An oversize message is refused, says how long it was, and can be acknowledged like any other."""
    broker = mosquitto()
    link, inbox = link_to(broker.port)
    assert connected(link)
    broker.publish(TOPIC, b"x" * (MAX_PAYLOAD_BYTES + 1))
    refused = take(inbox)
    assert refused.problem is Reason.TOO_LONG
    assert refused.payload == b"8193 bytes, at most 8192 are taken"
    refused.ack()
    broker.publish(TOPIC, b"x" * MAX_PAYLOAD_BYTES)
    assert take(inbox).problem is None


def test_a_monstrous_message_does_not_stop_the_flow(mosquitto, link_to):
    """A message larger than the connection takes is dropped by the broker; the next one comes."""
    broker = mosquitto()
    link, inbox = link_to(broker.port)
    assert connected(link)
    broker.publish(TOPIC, b"x" * 2_000_000)
    broker.publish(TOPIC, b"after")
    assert take(inbox).payload == b"after"


def test_an_empty_message_is_left_out_and_does_not_clog(mosquitto, link_to):
    """Empty messages (they clear a retained one) are no readings and are acknowledged at once."""
    broker = mosquitto()
    link, inbox = link_to(broker.port, acknowledge_topic="cellar/on-it", receive_maximum=20)
    assert connected(link)
    for _ in range(15):
        broker.publish(TOPIC, None)
        # An empty command would acknowledge everything.
        broker.publish("cellar/on-it", None)
    broker.publish(TOPIC, b"after")
    assert take(inbox, Packet | Command).payload == b"after"


def test_a_topic_of_former_settings_is_left_out_and_does_not_clog(mosquitto, link_to):
    """The broker's session remembers topics we no longer plan; they are acknowledged, dropped and cancelled."""
    broker = mosquitto()
    link, _ = link_to(broker.port, topics={"cellar/old": "old", TOPIC: "front"})
    assert connected(link)
    assert link.stop()
    broker.publish_lines("cellar/old", [b"%d" % n for n in range(50)])
    link, inbox = link_to(broker.port)
    assert connected(link)
    broker.publish(TOPIC, b"ours")
    assert take(inbox).payload == b"ours"
    assert inbox.empty()


# -- acknowledgements ----------------------------------------------------------------------------------------


def test_nothing_is_acknowledged_by_itself(mosquitto, link_to):
    """A message that was taken but not acknowledged comes again to the next process; an acknowledged one does not."""
    broker = mosquitto()
    link, inbox = link_to(broker.port)
    assert connected(link)
    broker.publish(TOPIC, b"stored")
    broker.publish(TOPIC, b"not stored")
    take(inbox).ack()
    assert take(inbox).payload == b"not stored"
    assert link.stop()
    link, inbox = link_to(broker.port)
    assert take(inbox, LinkBack).kept
    assert take(inbox).payload == b"not stored"
    assert settled(broker, inbox)
    assert inbox.qsize() == 1


def test_what_is_not_acknowledged_comes_again_only_after_a_reconnect(mosquitto, link_to):
    """Unacknowledged, the flow stops at the receive maximum; `reconnect` brings the same again, then all the rest."""
    broker = mosquitto()
    link, inbox = link_to(broker.port, receive_maximum=20)
    assert connected(link)
    sent = [b"%d" % n for n in range(30)]
    broker.publish_lines(TOPIC, sent)
    assert take_payloads(inbox, 20, ack=False) == sent[:20]
    # The broker answers this one although the flow of ours stands still: nothing more is under way.
    assert link.publish("elsewhere", b"x")
    assert inbox.empty()
    link.reconnect()
    assert take(inbox, LinkLost) == LinkLost(NOW_MS)
    assert take(inbox, LinkBack) == LinkBack(NOW_MS, kept=True)
    assert take_payloads(inbox, 30, ack=True) == sent


def test_a_stale_acknowledgement_does_not_lose_a_new_message(mosquitto, link_to):
    """An acknowledgement of a former connection does nothing, though the broker gave its number to a new message."""
    broker = mosquitto()
    link, inbox = link_to(broker.port)
    assert connected(link)
    broker.publish(TOPIC, b"of the old session")
    stale = take(inbox).ack
    broker.restart(kill=True)
    assert connected(link, times=2)
    assert take(inbox, LinkBack).kept is False
    broker.publish(TOPIC, b"of the new session")
    fresh = take(inbox)
    assert fresh.ack.args[0] == stale.args[0], "the broker must have begun its numbers anew, else this proves nothing"
    stale()
    assert link.publish("elsewhere", b"x")
    link.reconnect()
    again = take(inbox)
    assert again.payload == b"of the new session"
    again.ack()
    assert link.publish("elsewhere", b"x")
    link.reconnect()
    assert take(inbox, LinkBack).kept
    assert settled(broker, inbox)
    assert [p.payload for p in list(inbox.queue) if isinstance(p, Packet)] == [b"mark"]


def test_an_acknowledgement_while_offline_is_harmless(mosquitto, link_to):
    """Acknowledging while the broker is away raises nothing; the kept message comes again."""
    broker = mosquitto(persistent=True)
    link, inbox = link_to(broker.port)
    assert connected(link)
    broker.publish(TOPIC, b"one")
    packet = take(inbox)
    broker.stop()
    assert until(lambda: not link.status().connected)
    packet.ack()
    broker.start()
    assert take(inbox).payload == b"one"


def test_killed_between_commit_and_acknowledgement_it_comes_once_more(mosquitto, link_to, tmp_path):
    """SIGKILL after the commit, before the acknowledgement: that message comes exactly once more, none is lost."""
    broker = mosquitto()
    link, _ = link_to(broker.port)
    assert connected(link)
    assert link.stop()
    broker.publish_lines(TOPIC, [b"%d" % n for n in range(40)])
    stored = tmp_path / "stored"
    for kill_at in (7, 15):
        done = subprocess.run(
            [sys.executable, "-c", SUBSCRIBER, str(broker.port), str(stored), str(kill_at)], cwd=ROOT, timeout=60, check=False,
        )
        assert done.returncode == -signal.SIGKILL
    link, inbox = link_to(broker.port)
    rest = take_payloads(inbox, 40 - 7 - 15 + 2, ack=True)
    seen = stored.read_bytes().split() + rest
    assert sorted(set(map(int, seen))) == list(range(40))
    doubled = [n for n in set(seen) if seen.count(n) > 1]
    assert sorted(doubled, key=int) == [b"6", b"20"]
    assert "dup" not in Packet._fields


SUBSCRIBER = """
import os, signal, sys
from chamberwatch.ingest.broker import BrokerLink
from chamberwatch.ingest.broker_plan import BrokerPlan
from chamberwatch.ingest.packet import Inbox, Packet
port, path, kill_at = int(sys.argv[1]), sys.argv[2], int(sys.argv[3])
inbox = Inbox()
link = BrokerLink(BrokerPlan(port=port, topics={"cellar/front": "front"}), inbox, lambda: 0)
link.start()
with open(path, "ab", buffering=0) as file:
    taken = 0
    while True:
        item = inbox.get(timeout=30)
        if not isinstance(item, Packet):
            continue
        file.write(item.payload + b"\\n")
        os.fsync(file.fileno())
        taken += 1
        if taken == kill_at:
            # The broker has answered this publication only after it has read the acknowledgements before it.
            assert link.publish("elsewhere", b"x")
            os.kill(os.getpid(), signal.SIGKILL)
        item.ack()
"""


# -- retained messages ---------------------------------------------------------------------------------------


def test_a_retained_reading_comes_once_and_marked(mosquitto, link_to):
    """A retained message is marked as such, comes once for a new session, and never again after a reconnect."""
    broker = mosquitto()
    broker.publish(TOPIC, b"old", "-r")
    link, inbox = link_to(broker.port)
    old = take(inbox)
    assert (old.payload, old.retained) == (b"old", True)
    old.ack()
    broker.publish(TOPIC, b"live", "-r")
    live = take(inbox)
    assert (live.payload, live.retained) == (b"live", False)
    live.ack()
    assert link.publish("elsewhere", b"x")
    link.reconnect()
    assert take(inbox, LinkBack).kept
    assert settled(broker, inbox)
    assert [p.payload for p in list(inbox.queue) if isinstance(p, Packet)] == [b"mark"]


def test_a_retained_command_is_never_obeyed(mosquitto, link_to):
    """An old "I'm on it" that the broker retained must not quiet a new alarm."""
    broker = mosquitto()
    broker.publish("cellar/on-it", b"old", "-r")
    link, inbox = link_to(broker.port, acknowledge_topic="cellar/on-it")
    assert connected(link)
    broker.publish("cellar/on-it", b"new")
    assert take(inbox, Command).text == "new"
