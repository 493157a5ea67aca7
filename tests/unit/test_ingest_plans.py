"""Which ports and brokers can be planned at all."""

import pytest
from paho.mqtt.subscribeoptions import SubscribeOptions

from chamberwatch.ingest.broker_plan import BrokerPlan, subscriptions
from chamberwatch.ingest.serial_port import PortPlan


@pytest.mark.parametrize("url", ["/dev/ttyUSB0", "/dev/serial/by-id/usb-x", "socket://cellar.lan:4001", "rfc2217://[::1]:4001"])
def test_devices_and_network_ports_can_be_planned(url):
    """A device path and the two network forms are taken as they are."""
    assert PortPlan("rear", url).url == url


@pytest.mark.parametrize("url", ["ttyUSB0", "COM3", "", "tcp://cellar:1", "socket://cellar", "loop://", "spy:///dev/ttyUSB0"])
def test_a_port_of_no_known_form_is_refused_with_the_forms(url):
    """Anything else is refused; the message shows the value and the forms that are taken."""
    with pytest.raises(ValueError, match="/dev/serial/by-id/") as refused:
        PortPlan("rear", url)
    assert repr(url) in str(refused.value)


@pytest.mark.parametrize("baud", [49, 0, -9600, 4_000_001])
def test_a_speed_no_port_has_is_refused_with_the_range(baud):
    """A speed outside 50..4000000 bit/s is refused with that range and unit."""
    with pytest.raises(ValueError, match=rf"baud {baud} bit/s must be between 50 and 4000000"):
        PortPlan("rear", "/dev/ttyUSB0", baud=baud)


@pytest.mark.parametrize(("key", "bad", "words"), [
    ("port", 0, "port 0 must be between 1 and 65535"),
    ("port", 65_536, "port 65536 must be between 1 and 65535"),
    ("session_expiry_s", 0, "session_expiry_s 0 must be between 1 and 4294967294"),
    ("keepalive_s", 1, "keepalive_s 1 must be between 5 and 3600"),
    ("will_delay_s", -1, "will_delay_s -1 must be between 0 and 3600"),
    ("receive_maximum", 0, "receive_maximum 0 must be between 1 and 65535"),
    ("host", "", "host ''"),
    ("host", "mqtt://cellar.lan", "no mqtt://"),
    ("host", "cellar lan", "no spaces"),
    ("host", "x" * 64 + ".lan", "no machine's name or address"),
    ("client_id", "", "client_id is empty"),
    ("topics", {"cellar/+": "a"}, "topic 'cellar/\\+': \\+ and # stand for many topics"),
    ("topics", {"cellar/#": "a"}, "give each probe's exact topic"),
    ("topics", {"": "a"}, "a topic is empty"),
    ("topics", {"$SYS/x": "a"}, "must not begin with \\$"),
    ("topics", {"a\0b": "a"}, "zero character"),
    ("topics", {"x" * 65_536: "a"}, "longer than 65535 bytes"),
    ("acknowledge_topic", "cellar/#", "stand for many topics"),
    ("status_topic", "", "a topic is empty"),
])
def test_what_no_broker_takes_is_refused(key, bad, words):
    """Each impossible value is refused with its key, the value and what is allowed."""
    with pytest.raises(ValueError, match=words):
        BrokerPlan(**{key: bad})


@pytest.mark.parametrize("key", ["acknowledge_topic", "status_topic"])
def test_one_topic_has_one_use(key):
    """A probe's topic cannot also be ours."""
    with pytest.raises(ValueError, match="cannot have a second use"):
        BrokerPlan(topics={"cellar/front": "front"}, **{key: "cellar/front"})


def test_a_plan_does_not_change_afterwards():
    """The topics are the plan's own: a later change of the mapping it was made from does not reach it."""
    topics = {"cellar/front": "front"}
    plan = BrokerPlan(topics=topics)
    topics["cellar/+"] = "any"
    assert dict(plan.topics) == {"cellar/front": "front"}


def test_the_password_stays_out_of_sight():
    """Neither repr nor str of a plan shows the password."""
    plan = BrokerPlan(username="anna", password="wr0ng-secret")
    assert "wr0ng-secret" not in f"{plan!r}{plan}"
    assert "anna" in repr(plan)


def test_everything_is_read_with_qos_1_and_old_commands_never():
    """Each topic is asked for with QoS 1; a probe's retained message once at most, a retained command never."""
    plan = BrokerPlan(topics={"a": "x", "b": "y"}, acknowledge_topic="c")
    asked = {topic: (options.QoS, options.retainHandling) for topic, options in subscriptions(plan)}
    once, never = SubscribeOptions.RETAIN_SEND_IF_NEW_SUB, SubscribeOptions.RETAIN_DO_NOT_SEND
    assert asked == {"a": (1, once), "b": (1, once), "c": (1, never)}
