"""From the reading that trips an alarm, published at a broker, to the message about it on the channel's topic.

Each alarm has a chamber of its own. Floor: the same hop with a program in the middle that only passes messages on.
Alarms come PAUSE_S apart: a channel is given five messages at once and then one every 2 s, so that a storm does not
ring a phone to pieces, and that rest is no latency of ours.
"""

from __future__ import annotations

import json
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from bench_parts import Figure, Mosquitto, Watch, now_ms, over_broker, pack, until, write_settings
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

ALARMS, ALARMS_SHORT = 30, 2
PAUSE_S = 2.1
FLOOR_PAUSE_S = SHORT_PAUSE_S = 0.3
MOST_S = 1.0
WAIT_S = 10.0
EVERY_MS = 60_000
TOO_WARM_C = 17.5
READINGS = 24
"""2.5 °C over, a reading a minute: the 24th fills the default patience of 60 °C·min and trips."""
ECHO = """
import socket, sys
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
client.on_message = lambda client, data, message: client.publish("told", message.payload, qos=1)
client.on_subscribe = lambda *args: print("ready", flush=True)
client.on_socket_open = lambda client, data, end: end.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
client.connect("127.0.0.1", int(sys.argv[1]))
client.subscribe("air/echo", qos=1)
client.loop_forever()
"""


class Ends:
    """Both ends of the hop: publishes at one, notes when something comes out at the other."""

    def __init__(self, port: int) -> None:
        self._heard: list[tuple[float, bytes]] = []
        self._client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        self._client.on_message = self._take
        self._client.on_socket_open = self._at_once
        self._client.connect("127.0.0.1", port)
        self._client.subscribe("told", qos=1)
        self._client.loop_start()

    def _take(self, _client: Client, _data: object, message: MQTTMessage) -> None:
        self._heard.append((time.perf_counter(), bytes(message.payload)))

    @staticmethod
    def _at_once(_client: Client, _data: object, end: Any) -> None:
        # Else a message waits up to 40 ms for the acknowledgement (TCP) of the one before: no latency of ours.
        end.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def say(self, name: str, payload: bytes) -> None:
        """Publish."""
        self._client.publish(f"air/{name}", payload, qos=1)

    def hop_s(self, name: str, payload: bytes, wanted: bytes) -> float:
        """Publish and return the seconds until a message with `wanted` in it, the first such, comes out."""
        assert not self._found_s(wanted), f"{name} was told too early"
        began_s = time.perf_counter()
        self.say(name, payload)
        found_s = until(lambda: self._found_s(wanted), WAIT_S)
        assert found_s, f"nothing was told of {name}"
        return float(found_s - began_s)

    def _found_s(self, wanted: bytes) -> float:
        return next((at_s for at_s, payload in self._heard if wanted in payload), 0.0)

    def close(self) -> None:
        """Leave."""
        self._client.disconnect()
        self._client.loop_stop()


def run(*, short: bool = False) -> list[Figure]:
    """Measure."""
    count = ALARMS_SHORT if short else ALARMS
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        broker = Mosquitto(folder / "broker", ["set_tcp_nodelay true"]).start()
        ends = Ends(broker.port)
        try:
            floor = _floor(ends, broker.port, count)
            ours = _ours(folder, ends, broker, count)
        finally:
            ends.close()
            broker.kill()
    return [
        Figure("reading to message, half of them", _part(ours, 0.50), "s", MOST_S, floor=_part(floor, 0.50)),
        Figure(
            "reading to message, p99", _part(ours, 0.99), "s", MOST_S, floor=_part(floor, 0.99),
            remark=f"{count} alarms; floor: a hop that only passes on",
        ),
    ]  # fmt: skip


def _part(values: list[float], share: float) -> float:
    return sorted(values)[min(len(values) - 1, round(share * (len(values) - 1)))]


def _floor(ends: Ends, port: int, count: int) -> list[float]:
    argv = [sys.executable, "-c", ECHO, str(port)]
    with subprocess.Popen(argv, stdout=subprocess.PIPE) as echo:
        assert echo.stdout is not None
        echo.stdout.readline()
        taken = []
        for n in range(count):
            time.sleep(FLOOR_PAUSE_S)
            taken.append(ends.hop_s("echo", b"<%d>" % n, b"<%d>" % n))
        echo.terminate()
    return taken


def _ours(folder: Path, ends: Ends, broker: Mosquitto, count: int) -> list[float]:
    names = tuple(f"c{n:02d}" for n in range(count))
    more = f'[broker]\nport = {broker.port}\n[[notify.channel]]\nname = "house"\ntopic = "told"\n'
    probes = {name: f"every = {EVERY_MS // 1000}\n{source}" for name, source in over_broker(*names).items()}
    watch = Watch(write_settings(folder / "watch", probes, more, chambers=names)).start().online(broker)
    try:
        return [_trip_s(ends, name, SHORT_PAUSE_S if count == ALARMS_SHORT else PAUSE_S) for name in names]
    finally:
        watch.kill()


def _trip_s(ends: Ends, name: str, pause_s: float) -> float:
    """Warm one chamber until a last reading trips its alarm; return how long that took to be told [s]."""
    packs = [pack(name, now_ms() - (READINGS - n) * EVERY_MS, TOO_WARM_C, 75.0) for n in range(1, READINGS + 1)]
    for payload in packs[:-1]:
        ends.say(name, payload)
    time.sleep(pause_s)
    return ends.hop_s(name, packs[-1], json.dumps({"kind": "temperature-high", "chamber": name})[1:-1].encode())
