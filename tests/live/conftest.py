"""Real parts, one set a test.

`mosquitto` starts brokers, `pty_pair` is a probe on a pseudo-terminal, `link_to` starts broker links and
`read_port` serial ports, `daemon` whole watches; whatever a test started is ended after it.
"""

import itertools
import logging

import pytest
from ingest_parts import NOW_MS, TOPIC, Mosquitto, PluggedProbe
from watch_parts import Daemon

from chamberwatch.ingest import serial_port
from chamberwatch.ingest.broker import BrokerLink
from chamberwatch.ingest.broker_plan import BrokerPlan
from chamberwatch.ingest.packet import Inbox
from chamberwatch.ingest.serial_port import PortPlan, SerialPort


@pytest.fixture
def mosquitto(tmp_path):
    """Return a factory: `mosquitto(lines=(), persistent=False, anonymous=True)` starts a broker and returns it."""
    started = []

    def start(*args, **kwargs):
        broker = Mosquitto(tmp_path / f"broker-{len(started)}", *args, **kwargs)
        started.append(broker)
        return broker.start()

    yield start
    for broker in started:
        broker.kill()


@pytest.fixture
def pty_pair(tmp_path):
    """Return a probe on a pseudo-terminal: `path` to open, `say(bytes)`, `unplug()`, `plug()`."""
    probe = PluggedProbe(tmp_path / "by-id")
    yield probe
    probe.close()


@pytest.fixture
def link_to():
    """Return a factory that starts a link to a port; gives the link and its inbox. All are stopped at the end."""
    links = []

    def start(port, inbox=None, **plan):
        inbox = Inbox() if inbox is None else inbox
        plan = {"topics": {TOPIC: "front"}, **plan}
        link = BrokerLink(BrokerPlan(port=port, **plan), inbox, lambda: NOW_MS, logging.getLogger("test"))
        links.append(link)
        link.start()
        return link, inbox

    yield start
    for link in links:
        assert link.stop(), "the link's thread did not end"


@pytest.fixture
def read_port(monkeypatch):
    """Return a factory that starts a port on a URL, retrying each 10 ms; gives the port and its inbox."""
    monkeypatch.setattr(serial_port, "backoff_s", lambda: itertools.repeat(0.01))
    ports = []

    def start(url, inbox=None, **plan):
        inbox = Inbox(100) if inbox is None else inbox
        port = SerialPort(PortPlan("rear", str(url), **plan), inbox, lambda: NOW_MS, logging.getLogger("test"))
        ports.append(port)
        port.start()
        return port, inbox

    yield start
    for port in ports:
        assert port.stop(5.0), "the port's thread did not end"


@pytest.fixture
def daemon(tmp_path):
    """Return a maker of daemons in this test's folder; none outlives the test."""
    made = []

    def make(config, **environment):
        made.append(Daemon(tmp_path, config, **environment))
        return made[-1]

    yield make
    for one in made:
        one.kill()
