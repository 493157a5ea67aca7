"""Which broker, which topics, and the client that speaks to it, set up so that no message can get lost."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import NamedTuple

from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from chamberwatch.errors import SettingsError

ONLINE, OFFLINE = b"online", b"offline"
THREE_DAYS_S = 259_200
MAX_PAYLOAD_BYTES = 8_192
"""A longer message is refused as too long; a pack of four probes takes about 300 bytes."""
# The broker drops what is larger; else one message could fill this machine's memory.
_MAX_PACKET_BYTES = 1_048_576
_MAX_TOPIC_BYTES = 65_535  # MQTT 5.0 §4.7.3


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokerPlan:
    """One broker and what is read and written there.

    Args:
        host: name or address.
        port: 1..65535.
        username: None: the broker asks for none.
        password: never shown, also not by repr().
        client_id: fixed and ours alone: the broker keeps the queue under this name.
        tls_ca: file of the authority that signed the broker's certificate; None: no TLS.
        session_expiry_s: how long the broker keeps our queue while we are away [s], 1..4294967294.
        topics: which probe speaks on which topic; exact topics, no wildcards.
        acknowledge_topic: where someone may write an acknowledgement; None: nowhere.
        status_topic: where "online" and "offline" are retained; None: nowhere.
        keepalive_s: silence after which either side tests the connection [s], 5..3600.
        will_delay_s: how long we may be gone before the broker says "offline" for us [s], 0..3600.
        receive_maximum: messages the broker may send ahead of our acknowledgements, 1..65535.

    Raises:
        ValueError: a value no broker takes; names the setting, the value and the range.
    """

    host: str = "127.0.0.1"
    port: int = 1883
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    client_id: str = "chamberwatch"
    tls_ca: Path | None = None
    session_expiry_s: int = THREE_DAYS_S
    topics: Mapping[str, str] = field(default_factory=dict)
    acknowledge_topic: str | None = None
    status_topic: str | None = None
    keepalive_s: int = 30
    will_delay_s: int = 5
    receive_maximum: int = 100

    def __post_init__(self) -> None:
        _check_host(self.host)
        _check_range("port", self.port, 1, 65_535)
        _check_range("session_expiry_s", self.session_expiry_s, 1, 4_294_967_294)
        _check_range("keepalive_s", self.keepalive_s, 5, 3_600)
        _check_range("will_delay_s", self.will_delay_s, 0, 3_600)
        _check_range("receive_maximum", self.receive_maximum, 1, 65_535)
        # Without a name of its own the broker gives a new session each time, and the queue is lost.
        if not self.client_id:
            raise ValueError("broker client_id is empty: it must be a fixed name that no other program uses")
        for topic in self.topics:
            check_topic(topic)
        for ours in (t for t in (self.acknowledge_topic, self.status_topic) if t is not None):
            check_topic(ours)
            if ours in self.topics:
                raise ValueError(f"topic {ours!r} is a probe's topic and cannot have a second use")
        object.__setattr__(self, "topics", MappingProxyType(dict(self.topics)))


class BrokerStatus(NamedTuple):
    """How the connection is doing: `why` is empty while all is well, else says what is wrong."""

    connected: bool
    why: str
    connected_count: int


def check_topic(topic: str) -> None:
    """Refuse (ValueError) what is no exact MQTT topic, saying what is wrong with it."""
    if not topic:
        raise ValueError("a topic is empty: give one such as cellar/front")
    if "+" in topic or "#" in topic:
        raise ValueError(f"topic {topic!r}: + and # stand for many topics; give each probe's exact topic")
    if "\0" in topic or topic.startswith("$"):
        raise ValueError(f"topic {topic!r}: must not begin with $ nor hold a zero character")
    if len(topic.encode()) > _MAX_TOPIC_BYTES:
        raise ValueError(f"topic {topic[:40]!r}...: longer than {_MAX_TOPIC_BYTES} bytes")


def _check_range(key: str, value: int, low: int, high: int) -> None:
    if not low <= value <= high:
        raise ValueError(f"broker {key} {value} must be between {low} and {high}")


def _check_host(host: str) -> None:
    try:
        fit = bool(host) and not any(c.isspace() or c in "/@" for c in host) and bool(host.encode("idna"))
    except UnicodeError:
        fit = False
    if not fit:
        raise ValueError(f"broker host {host!r} is no machine's name or address (no mqtt://, no spaces)")


def subscriptions(plan: BrokerPlan) -> list[tuple[str, SubscribeOptions]]:
    """What to subscribe to at each connection, always all of it: a broker that lost our session forgot it."""
    # A retained message is an old one. A probe's comes once, when the subscription is new, marked retained.
    wanted = [
        (topic, SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_SEND_IF_NEW_SUB))
        for topic in plan.topics
    ]
    if plan.acknowledge_topic is not None:
        # An old "I'm on it" must never quiet a new alarm.
        never = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_DO_NOT_SEND)
        wanted.append((plan.acknowledge_topic, never))
    return wanted


def make_client(plan: BrokerPlan) -> Client:
    """Return a client set up for `plan`, not yet connected.

    Raises:
        SettingsError: the `tls_ca` file cannot be read or holds no certificate.
    """
    # manual_ack: the library's own acknowledgement goes out before anything is stored (measured: 40 of 4,000
    # messages lost).
    client = Client(CallbackAPIVersion.VERSION2, client_id=plan.client_id, protocol=MQTTv5, manual_ack=True)
    if plan.username is not None:
        client.username_pw_set(plan.username, plan.password)
    if plan.tls_ca is not None:
        _trust(client, plan.tls_ca)
    if plan.status_topic is not None:
        will = _properties(PacketTypes.WILLMESSAGE)
        will.WillDelayInterval = plan.will_delay_s
        client.will_set(plan.status_topic, OFFLINE, qos=1, retain=True, properties=will)
    client.reconnect_delay_set(min_delay=1, max_delay=15)
    return client


def connect_later(client: Client, plan: BrokerPlan) -> None:
    """Tell the client where to connect; its network thread then does so, again and again if need be."""
    connect = _properties(PacketTypes.CONNECT)
    connect.SessionExpiryInterval = plan.session_expiry_s
    connect.ReceiveMaximum = plan.receive_maximum
    connect.MaximumPacketSize = _MAX_PACKET_BYTES
    # The library's default starts clean at the first connection of a process: the queue would be thrown away.
    client.connect_async(
        plan.host, plan.port, keepalive=plan.keepalive_s, clean_start=False, properties=connect
    )


def _properties(packet_type: int) -> Properties:
    return Properties(packet_type)  # type: ignore[no-untyped-call]


def _trust(client: Client, authority: Path) -> None:
    try:
        client.tls_set(ca_certs=str(authority))
    except OSError as error:  # ssl.SSLError is one
        raise SettingsError(f"broker tls_ca {str(authority)!r} cannot be used: {error}") from error
