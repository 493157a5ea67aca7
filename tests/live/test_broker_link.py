"""The broker connection comes, goes and comes back; whatever waits at the broker comes through."""

import logging
import socket
import subprocess

import pytest
from ingest_parts import NOW_MS, TOPIC, connected, free_port, take, take_payloads, until

from chamberwatch.ingest.broker import BrokerLink
from chamberwatch.ingest.broker_plan import BrokerPlan
from chamberwatch.ingest.packet import Inbox, Packet
from chamberwatch.inputs import LinkBack, LinkLost

pytestmark = pytest.mark.external

# -- backlog and flow ----------------------------------------------------------------------------------------


def test_a_night_of_backlog_drains_in_order(mosquitto, link_to):
    """8 h of 4 probes at 10 s, 11,520 messages, wait at the broker for our session and come in order, none lost."""
    broker = mosquitto(["max_queued_messages 20000"])
    link, _ = link_to(broker.port)
    assert connected(link)
    assert link.stop()
    sent = [b"%d" % n for n in range(11_520)]
    broker.publish_lines(TOPIC, sent)
    link, inbox = link_to(broker.port)
    assert take(inbox, LinkBack).kept
    assert take_payloads(inbox, len(sent), ack=True) == sent


def test_a_full_inbox_holds_nothing_up(mosquitto, link_to):
    """A broker may send more than it was told to; the network thread hands it all over, past the inbox's bound."""
    broker = mosquitto()
    inbox = Inbox(3)
    link, _ = link_to(broker.port, inbox)
    assert connected(link)
    broker.publish_lines(TOPIC, [b"%d" % n for n in range(15)])
    assert until(lambda: inbox.qsize() == 16)
    assert link.publish("elsewhere", b"x")


class FailingInbox(Inbox):
    """Refuses the packets it is told to, as a bug would."""

    fail = 0

    def put_nowait(self, item):
        """Raise as often as `fail` says, for packets."""
        if isinstance(item, Packet) and self.fail > 0:
            self.fail -= 1
            raise RuntimeError("a bug")
        super().put_nowait(item)


def test_an_inbox_that_fails_costs_no_message(mosquitto, link_to, caplog):
    """An error while handing over is logged, the network thread lives on, and the message comes again."""
    broker = mosquitto()
    inbox = FailingInbox()
    link, _ = link_to(broker.port, inbox)
    assert connected(link)
    inbox.fail = 2
    broker.publish(TOPIC, b"one")
    assert take(inbox).payload == b"one"
    assert inbox.fail == 0
    assert any(r.exc_info and "a bug" in str(r.exc_info[1]) for r in caplog.records)


# -- the connection comes and goes ---------------------------------------------------------------------------


def test_a_broker_that_comes_later_is_found(mosquitto, link_to, tmp_path):
    """No broker at the start is a status and one LinkLost; once it is there the link comes up by itself."""
    port = free_port()
    link, inbox = link_to(port)
    assert until(lambda: link.status().why == f"nothing listens at 127.0.0.1:{port}")
    assert take(inbox, LinkLost) == LinkLost(NOW_MS)
    # However many attempts have failed by now: they were told once.
    broker = mosquitto(port=port)
    assert connected(link)
    assert inbox.get(timeout=5) == LinkBack(NOW_MS, kept=False)
    broker.publish(TOPIC, b"one")
    assert take(inbox).payload == b"one"


def test_after_a_lost_session_the_topics_are_read_again(mosquitto, link_to):
    """A broker without persistence forgets us at a restart: that is told (kept False) and the topics are read again."""
    broker = mosquitto()
    link, inbox = link_to(broker.port)
    assert connected(link)
    broker.stop()
    assert take(inbox, LinkLost)
    broker.start()
    assert take(inbox, LinkBack).kept is False
    broker.publish(TOPIC, b"one")
    assert take(inbox).payload == b"one"


def test_a_broker_with_persistence_keeps_what_it_held(mosquitto, link_to):
    """A broker that writes its sessions down has kept ours, and what was not acknowledged, over a restart."""
    broker = mosquitto(persistent=True)
    link, inbox = link_to(broker.port)
    assert connected(link)
    broker.publish(TOPIC, b"before")
    assert take(inbox).payload == b"before"
    broker.restart()
    assert take(inbox, LinkLost)
    assert take(inbox, LinkBack).kept is True
    assert take(inbox).payload == b"before"


def test_a_wrong_password_is_told_and_never_shown(mosquitto, link_to, tmp_path, caplog):
    """The broker's refusal of the password is a status; the password stands in no log, repr or status."""
    caplog.set_level(logging.DEBUG)
    passwords = tmp_path / "passwords"
    passwords.touch(0o600)
    subprocess.run(["mosquitto_passwd", "-b", str(passwords), "cellar", "right"], check=True, timeout=20, capture_output=True)
    broker = mosquitto([f"password_file {passwords}"], anonymous=False)
    link, inbox = link_to(broker.port, username="cellar", password="wr0ng-secret")
    assert until(lambda: link.status().why == "the broker refused the password (or the user name 'cellar')")
    assert take(inbox, LinkLost)
    nameless, _ = link_to(broker.port, client_id="nameless")
    assert until(lambda: nameless.status().why == "the broker wants a user name and password")
    right, _ = link_to(broker.port, client_id="right", username="cellar", password="right")
    assert connected(right)
    shown = caplog.text + repr(link._plan) + str(link._plan) + repr(link.status()) + broker.log.read_text()
    assert "wr0ng-secret" not in shown


def test_a_topic_we_may_not_read_is_told(link_to):
    """A subscription that the broker refuses is told with the topic's name, while the link stays up.

    A stand-in answers here (MQTT 5.0 SUBACK, reasons 0x01 granted and 0x87 not authorized, layout from memory):
    mosquitto 2.0.11 grants every subscription and then withholds the messages.
    """
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(10)
        link, _ = link_to(server.getsockname()[1], topics={TOPIC: "front", "cellar/secret": "rear"})
        connection, _ = server.accept()
        with connection:
            connection.settimeout(10)
            connection.recv(4096)
            connection.sendall(b"\x20\x03\x00\x00\x00")
            asked = connection.recv(4096)
            assert asked[0] == 0x82
            connection.sendall(b"\x90\x05" + asked[2:4] + b"\x00\x01\x87")
            assert until(lambda: "does not let us read cellar/secret" in link.status().why)
            assert link.status().connected


def test_another_program_with_our_client_id_is_told(mosquitto, link_to):
    """Two programs with one client id steal the session from each other; after a while the status asks for that."""
    broker = mosquitto()
    link, _ = link_to(broker.port)
    assert connected(link)
    other, _ = link_to(broker.port)
    question = "keeps breaking off: does another program use our client id 'chamberwatch'?"
    assert until(lambda: question in link.status().why)
    assert other.stop()


def test_the_connection_asks_for_a_session_that_lasts(link_to):
    """CONNECT: MQTT 5, clean start 0, our fixed id, session expiry 3 days (MQTT 5.0 §3.1.2, layout from memory)."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        link_to(server.getsockname()[1])
        server.settimeout(10)
        connection, _ = server.accept()
        with connection:
            connection.settimeout(10)
            sent = connection.recv(4096)
    assert sent[0] >> 4 == 1
    assert sent[2:9] == b"\x00\x04MQTT\x05"
    assert sent[9] & 0x02 == 0, "clean start must be 0"
    assert b"\x11" + (259_200).to_bytes(4, "big") in sent
    assert b"\x21" + (100).to_bytes(2, "big") in sent
    assert b"\x00\x0cchamberwatch" in sent


# -- stopping ------------------------------------------------------------------------------------------------


def test_a_broker_that_reads_nothing_does_not_hold_up_the_stop(mosquitto):
    """Stopping ends in time also when the broker hangs."""
    broker = mosquitto()
    link = BrokerLink(BrokerPlan(port=broker.port, status_topic="cellar/monitor"), Inbox(), lambda: NOW_MS)
    link.start()
    assert connected(link)
    broker.freeze()
    assert link.stop(1.0)


def test_stop_while_the_broker_is_away(link_to):
    """Stopping needs no broker."""
    link, _ = link_to(free_port())
    assert until(lambda: "nothing listens" in link.status().why)
    assert link.stop()
