"""The simulator's mouth, on real pseudo-terminals (read with pyserial) and a real broker (read with paho)."""

from __future__ import annotations

import os
import queue
import threading
import time
from contextlib import ExitStack

import pytest
import serial
from ingest_parts import free_port
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from chamberwatch.ingest.serial_port import PortPlan, SerialPort
from chamberwatch.model import Reading
from chamberwatch.wire.senml import decode
from simulator import __main__ as command
from simulator.broker import BrokerSilent, Topics
from simulator.chamber import Plug, Unplug, tell
from simulator.pace import pace_of
from simulator.probes import Line
from simulator.speak import Ports, speak
from simulator.terminal import NobodyListens, Terminal
from simulator.weekend import find, read

NAMES = ("rear", "front")
START_MS = 1_793_980_800_000


def _until(condition, seconds=15.0):
    deadline_s = time.monotonic() + seconds
    while not condition() and time.monotonic() < deadline_s:
        time.sleep(0.005)
    return condition()


def _words(minutes, names=NAMES):
    """One numbered line a probe every 10 s."""
    for n in range(minutes * 6):
        for name in names:
            at_ms = START_MS + n * 10_000
            yield Line(at_ms, name, b"%s %d\n" % (name.encode(), at_ms), good=True)


class Reader:
    """Reads one port line by line into a shared list, as long as it is there."""

    def __init__(self, link, heard, lock):
        self.port = serial.Serial(str(link), timeout=0.05)
        self.thread = threading.Thread(target=self._read, args=(heard, lock))
        self.going = True
        self.thread.start()

    def _read(self, heard, lock):
        pending = b""
        while self.going:
            pending += self.port.read(max(1, self.port.in_waiting))
            *lines, pending = pending.split(b"\n")
            with lock:
                heard.extend(line.decode() for line in lines if line)

    def close(self):
        """Stop reading."""
        self.going = False
        self.thread.join(10)
        self.port.close()


@pytest.fixture
def links(tmp_path):
    """Return where the two probes' ports appear."""
    return {name: tmp_path / f"port-{name}" for name in NAMES}


@pytest.fixture
def heard(links):
    """Return the ports, spoken to and read, and the list that fills as their lines are heard."""
    lines, lock = [], threading.Lock()
    with ExitStack() as stack:
        ports = stack.enter_context(Ports(links))
        for name in NAMES:
            stack.callback(Reader(links[name], lines, lock).close)
        ports.wait_for_reader()
        yield ports, lines


def test_at_full_speed_every_line_arrives_and_no_probe_runs_ahead(heard):
    """12 h at full speed: each line once, in order, and never two slices' time between the two probes."""
    ports, lines = heard
    assert speak(_words(720), ports, pace_of("max")) == 8640
    assert _until(lambda: len(lines) == 8640)
    newest = dict.fromkeys(NAMES, START_MS)
    ahead_ms = 0
    for line in lines:
        name, at = line.split()
        assert int(at) == newest[name] + 10_000 or int(at) == START_MS
        newest[name] = int(at)
        ahead_ms = max(ahead_ms, abs(newest["rear"] - newest["front"]))
    assert ahead_ms <= 60_000


def test_drained_says_no_until_the_reader_has_taken_all(tmp_path):
    """Right after a write nothing is drained, a thousand times in a row; after the reader's read it is."""
    terminal = Terminal(tmp_path / "port")
    terminal.plug()
    reader = os.open(terminal.link.readlink(), os.O_RDWR | os.O_NOCTTY)
    taker = threading.Thread(target=lambda: [os.read(reader, 1) for _ in range(4)])
    taker.start()  # takes the greeting
    terminal.wait_for_reader(5)
    taker.join(5)
    for _ in range(1000):
        terminal.write(b"x" * 330)
        assert not terminal.drained()
        assert len(os.read(reader, 4096)) == 330
        assert terminal.drained()
    os.close(reader)
    terminal.unplug()


def test_a_pulled_plug_and_a_plug_put_back_lose_no_line_on_the_monitors_own_port(links):
    """The monitor's own port reader, unplugged and replugged in mid-story, hears each line before and after."""
    inbox = queue.Queue(1000)
    port = SerialPort(PortPlan("rear", str(links["rear"])), inbox, lambda: 0)
    words = list(_words(10, ["rear"]))
    words[30:30] = [Unplug(words[30].at_ms, "rear"), Plug(words[30].at_ms, "rear")]
    with Ports({"rear": links["rear"]}) as ports:
        port.start()
        ports.wait_for_reader()
        assert speak(words, ports, pace_of("max")) == 60
        assert _until(lambda: inbox.qsize() >= 60)
        port.stop(5)
        assert port.status().opened_count == 2
    packets = [inbox.get_nowait() for _ in range(inbox.qsize())]
    assert [p.payload for p in packets] == [w.data.strip() for w in words if isinstance(w, Line)]
    assert not any(p.problem for p in packets)


def test_unplugged_the_path_is_gone_and_replugged_it_is_another_terminal(links):
    """Pulling the plug removes the by-id path; putting it back points the path at a new device."""
    terminal = Terminal(links["rear"])
    terminal.plug()
    first = os.open(links["rear"].readlink(), os.O_RDONLY | os.O_NOCTTY)
    terminal.unplug()
    assert not links["rear"].is_symlink()
    assert os.read(first, 10) == b""  # what a reader meets when its adapter is pulled
    terminal.plug()
    assert links["rear"].exists()
    os.close(first)
    terminal.unplug()


def test_nobody_listening_is_an_error_where_everything_must_be_heard(links):
    """In lock-step a port that nobody opens is told, with its path; so is a monitor that has died."""
    terminal = Terminal(links["rear"])
    terminal.plug()
    with pytest.raises(NobodyListens, match=r"nobody opened .*port-rear within 0\.05 s"):
        terminal.wait_for_reader(0.05)
    with pytest.raises(NobodyListens):
        terminal.wait_for_reader(60.0, lambda: False)
    terminal.unplug()


def test_at_the_wall_clocks_pace_lines_said_to_nobody_are_lost_and_counted(links):
    """A real probe does not wait: with no reader its lines are lost, and nothing blocks."""
    with Ports(links, patient=False) as ports:
        assert speak(_words(5), ports, pace_of("100000")) == 60
        assert ports.lost == 60


def test_a_factor_paces_the_story(heard):
    """At 600 times real time a story of 10 minutes takes a second, give or take; never less."""
    ports, lines = heard
    began_s = time.monotonic()
    speak(_words(10), ports, pace_of("600"))
    took_s = time.monotonic() - began_s
    assert _until(lambda: len(lines) == 120)
    assert took_s >= 0.7


def _subscriber(port, topic, heard):
    ready = threading.Event()
    client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
    client.on_subscribe = lambda *_: ready.set()
    client.on_message = lambda _c, _u, message: heard.append((message.topic, message.payload, message.qos))
    client.connect("127.0.0.1", port)
    client.loop_start()
    client.subscribe(topic, qos=1)
    assert ready.wait(10)
    return client


@pytest.mark.external
def test_a_real_broker_gets_every_line_timed_and_at_qos_1(mosquitto):
    """Each line is one message on its probe's topic, QoS 1, in order, and decodes to its own time."""
    broker, heard = mosquitto(), []
    client = _subscriber(broker.port, "larder/#", heard)
    words = list(tell(read(find("hour"))))[:240]
    with Topics("127.0.0.1", broker.port, "larder/") as mouth:
        assert speak(words, mouth, pace_of("max")) == 240
    assert _until(lambda: len(heard) == 240)
    client.disconnect()
    client.loop_stop()
    for word, (topic, payload, qos) in zip(words, heard, strict=True):
        assert (topic, qos) == (f"larder/{word.probe}", 1)
        (reading,) = decode(payload, word.probe, 0)
        assert isinstance(reading, Reading)
        assert (reading.at_ms, reading.timed) == (word.at_ms, True)


@pytest.mark.external
def test_a_broker_that_dies_is_told(mosquitto):
    """A broker killed in mid-story ends the speaking with a clear word, not with silence."""
    broker = mosquitto()
    with Topics("127.0.0.1", broker.port, "larder", taken_s=1.0) as mouth:
        mouth.say(list(_words(1)))
        broker.kill()
        with pytest.raises(BrokerSilent, match="broker"):
            mouth.say(list(_words(1)))


def test_no_broker_is_told():
    """Where nothing listens the address is told."""
    port = free_port()
    with pytest.raises(BrokerSilent, match=f"no broker answers at 127.0.0.1:{port}"), Topics("127.0.0.1", port, "x"):
        pass


@pytest.mark.external
def test_speaking_now_stamps_now_and_begins_where_told(mosquitto, capsys, monkeypatch):
    """At pace 1 the story's moment that was asked for is now: stamps are the wall clock's, values that moment's."""
    broker, heard = mosquitto(), []
    client = _subscriber(broker.port, "larder/#", heard)
    began_ms = round(time.time() * 1000)
    monkeypatch.setattr(command, "tell", lambda *args: _until_time(tell(*args), began_ms + 5_000))
    argv = ["speak", "hour", "--broker", f"127.0.0.1:{broker.port}", "--from", "Sat 10:20"]
    assert command.main(argv) == 0
    assert _until(lambda: len(heard) == 2)
    client.disconnect()
    client.loop_stop()
    for topic, payload, _ in heard:
        (reading,) = decode(payload, topic.rpartition("/")[2], 0)
        assert began_ms <= reading.at_ms <= began_ms + 5_000
        assert reading.rh_pct < 60  # the door stands open then
    assert "2 lines spoken" in capsys.readouterr().out


def _until_time(words, end_ms):
    return (word for word in words if word.at_ms < end_ms)


@pytest.mark.parametrize("where", ["localhost", "localhost:", ":1883", "localhost:mqtt"])
def test_a_broker_that_cannot_be_understood_is_refused(where, capsys):
    """HOST:PORT is asked for where something else was given; exit code 64."""
    assert command.main(["speak", "hour", "--broker", where]) == 64
    assert "--broker takes HOST:PORT" in capsys.readouterr().err
