"""Reads topics from an MQTT broker and publishes to it; a message counts as received only once it is stored.

Contract: every message of QoS 1 carries an `ack` to be called after the commit; what was not acknowledged
comes again after a reconnect (and only then), so a failed commit must call `reconnect`. The network thread
only puts on the inbox and never waits. Nothing is published while offline: what matters waits in the outbox.

Stale acknowledgements: packet ids begin at 1 again when the broker lost our session, so an `ack` of the
former connection would confirm a new message that nobody stored. Each connection therefore has a number, and
an `ack` of another number does nothing: its message comes again, or is gone with the session.
"""

from __future__ import annotations

import logging
import socket
import sys
import threading
import time
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

from chamberwatch.ingest.broker_plan import (
    MAX_PAYLOAD_BYTES,
    OFFLINE,
    ONLINE,
    BrokerPlan,
    BrokerStatus,
    connect_later,
    make_client,
    subscriptions,
)
from chamberwatch.ingest.faults import say_broker_fault, say_refusal
from chamberwatch.ingest.packet import Ack, BrokerInbox, Command, Item, Packet
from chamberwatch.ingest.publisher import Publisher
from chamberwatch.inputs import LinkBack, LinkLost
from chamberwatch.model import Reason

if TYPE_CHECKING:
    from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
    from paho.mqtt.properties import Properties
    from paho.mqtt.reasoncodes import ReasonCode

_MAX_COMMAND_CHARS = 200
_SHORT_S = 10.0
_SHORT_LIVED_TIMES = 3


class BrokerLink:
    """Owns the connection to one broker and its network thread.

    Args:
        plan: which broker and topics.
        inbox: takes packets, commands and news of the link; its `put_nowait` must not wait.
        now_ms: the clock [ms UTC] that stamps arrivals.
        log: told when the link's state changes.

    Raises:
        SettingsError: the file of `plan.tls_ca` cannot be used.
    """

    def __init__(
        self,
        plan: BrokerPlan,
        inbox: BrokerInbox,
        now_ms: Callable[[], int],
        log: logging.Logger | None = None,
    ) -> None:
        self._plan = plan
        self._inbox = inbox
        self._now_ms = now_ms
        self._log = log or logging.getLogger(__name__)
        self._status = BrokerStatus(connected=False, why="not started", connected_count=0)
        self._state_lock = threading.RLock()
        self._generation = 0
        self._linked = False
        self._lost_told = False
        self._since_s = 0.0
        self._short_lived = 0
        self._asked: dict[int, list[str]] = {}
        self._dropped_topics: set[str] = set()
        self._client = make_client(plan)
        self._publisher = Publisher(self._client)
        self._client.on_pre_connect = self._on_pre_connect
        self._client.on_connect = self._on_connect
        self._client.on_connect_fail = self._on_connect_fail
        self._client.on_disconnect = self._on_disconnect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = self._on_message
        self._client.on_publish = self._on_publish

    # -- for the watch loop and the notifier --------------------------------------------------------------

    def start(self) -> None:
        """Connect in the background and stay connected; returns at once, also when no broker answers."""
        self._tell(connected=False, why="connecting")
        connect_later(self._client, self._plan)
        self._client.loop_start()

    def stop(self, timeout_s: float = 5.0) -> bool:
        """Say "offline", disconnect, end the thread; True when it ended in time. The queue is kept."""
        deadline_s = time.monotonic() + timeout_s
        if self._plan.status_topic is not None:
            self.publish(self._plan.status_topic, OFFLINE, retain=True, timeout_s=timeout_s / 2)
        self._new_generation(linked=False)
        self._client.disconnect()
        # loop_stop waits as long as it takes; a broker that reads nothing must not hold up the shutdown.
        ending = threading.Thread(target=self._client.loop_stop, name="broker ending", daemon=True)
        ending.start()
        ending.join(max(0.0, deadline_s - time.monotonic()))
        if ending.is_alive():
            self._cut()
            ending.join(1.0)
        self._tell(connected=False, why="stopped")
        return not ending.is_alive()

    def status(self) -> BrokerStatus:
        """How the connection is doing now."""
        return self._status

    def reconnect(self) -> None:
        """Drop the connection and make it anew, so that the broker sends again what was not acknowledged.

        Call it after a failed commit: within one connection nothing is ever sent twice, and the flow stops
        once `receive_maximum` messages are unacknowledged.
        """
        with self._state_lock:
            self._generation += 1
        # An end of our own making tells nothing about another program.
        self._since_s = float("-inf")
        self._cut()

    def publish(
        self, topic: str, payload: bytes, qos: int = 1, retain: bool = False, timeout_s: float = 5.0
    ) -> bool:
        """Publish and wait for the broker's answer up to `timeout_s`; True when it took the message.

        False while offline, when refused and when no answer came (it may then have been taken all the same:
        a message can arrive twice, but is never lost in silence). One at a time; `qos` 0 waits for nothing.
        """
        return self._publisher.publish(topic, payload, qos, retain, timeout_s)

    # -- acknowledgements ---------------------------------------------------------------------------------

    def _ack_of(self, message: MQTTMessage) -> Ack | None:
        return partial(self._ack, message.mid, self._generation) if message.qos else None

    def _ack(self, mid: int, generation: int) -> None:
        # Under the lock the check and the sending are one: on_disconnect takes it before the library empties
        # its out queue, so no acknowledgement can slip from one connection into the next.
        with self._state_lock:
            if generation == self._generation:
                self._client.ack(mid, 1)

    def _new_generation(self, *, linked: bool) -> None:
        with self._state_lock:
            self._generation += 1
            self._linked = linked
        self._publisher.link_changed(linked=linked)

    # -- on the network thread: never wait, never raise ---------------------------------------------------

    def _on_pre_connect(self, client: Client, _data: Any) -> None:
        # What was published but not answered was reported as failed; it must not go out by itself later.
        client.drop_out_messages()

    def _on_connect(
        self, client: Client, _data: Any, flags: ConnectFlags, reason: ReasonCode, _props: Properties | None
    ) -> None:
        if reason.is_failure:
            self._lost(self._say_refusal(reason))
            return
        self._new_generation(linked=True)
        self._lost_told = False
        self._since_s = time.monotonic()
        self._dropped_topics.clear()
        self._tell(connected=True, why="")
        self._put(LinkBack(self._now_ms(), kept=flags.session_present))
        if wanted := subscriptions(self._plan):
            _, mid = client.subscribe(wanted)
            self._asked = {} if mid is None else {mid: [topic for topic, _ in wanted]}
        if self._plan.status_topic is not None:
            client.publish(self._plan.status_topic, ONLINE, qos=1, retain=True)

    def _on_connect_fail(self, _client: Client, _data: Any) -> None:
        # The library calls this while it handles the exception, and tells it nowhere else.
        self._lost(say_broker_fault(sys.exception(), self._plan.host, self._plan.port))

    def _on_disconnect(
        self, _client: Client, _data: Any, flags: DisconnectFlags, why: ReasonCode, _props: Properties | None
    ) -> None:
        was_linked = self._linked
        self._new_generation(linked=False)
        if flags.is_disconnect_packet_from_server:
            self._lost(self._say_refusal(why))
        elif was_linked:
            self._lost(self._say_broken_off())

    def _on_subscribe(
        self, _client: Client, _data: Any, mid: int, reasons: list[ReasonCode], _props: Properties | None
    ) -> None:
        asked = self._asked.pop(mid, [])
        refused = [topic for topic, reason in zip(asked, reasons, strict=False) if reason.is_failure]
        if refused:
            names = ", ".join(refused)
            self._tell(connected=True, why=f"the broker does not let us read {names}: check its access list")

    def _on_publish(
        self, _client: Client, _data: Any, mid: int, reason: ReasonCode, _props: Properties | None
    ) -> None:
        self._publisher.answered(mid, taken=not reason.is_failure)

    def _on_message(self, client: Client, _data: Any, message: MQTTMessage) -> None:
        ack = self._ack_of(message)
        topic = _topic_of(message)
        ours = topic == self._plan.acknowledge_topic
        if (ours or topic in self._plan.topics) and message.payload.strip():
            self._put(self._command(message, ack) if ours else self._packet(topic, message, ack))
            return
        if not ours and topic not in self._plan.topics:
            self._drop_topic(client, topic)
        # Nothing to store: an empty message (it clears a retained one) or a topic no longer planned.
        if ack is not None:
            ack()

    def _command(self, message: MQTTMessage, ack: Ack | None) -> Command:
        text = message.payload[: 4 * _MAX_COMMAND_CHARS].decode(errors="replace").strip()
        return Command(text[:_MAX_COMMAND_CHARS], self._now_ms(), ack)

    def _drop_topic(self, client: Client, topic: str) -> None:
        # The broker's session still holds a subscription of former settings.
        if topic and topic not in self._dropped_topics:
            self._dropped_topics.add(topic)
            self._log.info("broker: no probe is planned for topic %s; it is read no longer", topic)
            client.unsubscribe(topic)

    def _packet(self, topic: str, message: MQTTMessage, ack: Ack | None) -> Packet:
        too_long = len(message.payload) > MAX_PAYLOAD_BYTES
        account = b"%d bytes, at most %d are taken" % (len(message.payload), MAX_PAYLOAD_BYTES)
        return Packet(
            source=f"mqtt:{topic}",
            probe=self._plan.topics[topic],
            payload=account if too_long else bytes(message.payload),
            arrived_ms=self._now_ms(),
            ack=ack,
            problem=Reason.TOO_LONG if too_long else None,
            retained=message.retain,
        )

    def _put(self, item: Item) -> None:
        try:
            self._inbox.put_nowait(item)
        except Exception:  # noqa: BLE001  whatever it is, it would end the network thread (see ingest.guard)
            # What could not be handed over is not acknowledged, so a new connection brings it again.
            self._log.exception("the inbox refused what the broker sent; it will be sent again")
            self.reconnect()

    # -- state --------------------------------------------------------------------------------------------

    def _cut(self) -> None:
        # Only the socket: the network thread then finds the connection gone and makes a new one by itself.
        # The plain socket's shutdown, since TLS's would let that thread write in the clear for a moment.
        sock = self._client.socket()
        if isinstance(sock, socket.socket):
            try:
                socket.socket.shutdown(sock, socket.SHUT_RDWR)
            except OSError:
                self._log.debug("the connection was gone already")

    def _lost(self, why: str) -> None:
        self._tell(connected=False, why=why)
        if not self._lost_told:
            self._lost_told = True
            self._put(LinkLost(self._now_ms()))

    def _say_refusal(self, reason: ReasonCode) -> str:
        plan = self._plan
        return say_refusal(reason.value, reason.getName(), username=plan.username, client_id=plan.client_id)

    def _say_broken_off(self) -> str:
        # A broker that gives our kept session to another program closes the connection without a reason.
        lasted_s = time.monotonic() - self._since_s
        self._short_lived = self._short_lived + 1 if lasted_s < _SHORT_S else 0
        address = f"{self._plan.host}:{self._plan.port}"
        if self._short_lived < _SHORT_LIVED_TIMES:
            return f"the connection to {address} broke off"
        own = f"our client id {self._plan.client_id!r}"
        return f"the connection to {address} keeps breaking off: does another program use {own}?"

    def _tell(self, *, connected: bool, why: str) -> None:
        before = self._status
        count = before.connected_count + (connected and not before.connected)
        self._status = BrokerStatus(connected, why, count)
        if (before.connected, before.why) != (connected, why):
            level = logging.INFO if why in ("", "connecting", "stopped") else logging.WARNING
            self._log.log(level, "broker %s:%d: %s", self._plan.host, self._plan.port, why or "connected")


def _topic_of(message: MQTTMessage) -> str:
    try:
        return message.topic
    except UnicodeDecodeError:
        # No topic of ours, and an exception here would end the network thread.
        return ""
