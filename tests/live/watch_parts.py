"""Parts for the tests of the whole watch: the daemon as a process of its own, its commands, who listens to it."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

from ingest_parts import until
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from chamberwatch.journal.reader import Reader

ROOT = Path(__file__).parents[2]
READY_S = 30.0
STOP_S = 10.0
"""What a service manager's patience is measured against: the promise is to be gone before it."""

CHAMBER = """
timezone = "UTC"
[journal]
path = "house.db"
[[chamber]]
name = "cellar"
temperature = { low = 10.0, high = 15.0, patience = 0.05 }
humidity = { low = 70.0, high = 80.0, patience = 0.05 }
"""
"""Patience of seconds: the rule is the one of hours, the tests cannot wait for it."""


def serial_probe(name, path, every=1):
    """Return a probe's table on a port."""
    return f'[[probe]]\nname = "{name}"\nchamber = "cellar"\nevery = {every}\nserial = {{ port = "{path}" }}\n'


def mqtt_probe(name, every=1):
    """Return a probe's table on a topic of its name."""
    return f'[[probe]]\nname = "{name}"\nchamber = "cellar"\nevery = {every}\nmqtt = {{ topic = "cellar/{name}" }}\n'


def line(temp_c=12.5, rh_pct=75.0, at_ms=None):
    """Return one reading as a probe sends it."""
    when = "" if at_ms is None else f'"bt":{at_ms / 1000:.3f},'
    return f'[{{{when}"n":"temperature","u":"Cel","v":{temp_c}}},{{"n":"humidity","u":"%RH","v":{rh_pct}}}]'.encode()


class Daemon:
    """`python -m chamberwatch watch` on a settings file of its own."""

    def __init__(self, folder, config, **environment):
        self.folder = folder
        self.config, self.journal = folder / "house.toml", folder / "house.db"
        self.config.write_text(config)
        self.out, self.log = folder / "watch.out", folder / "watch.log"
        clean = {k: v for k, v in os.environ.items() if not k.startswith("CHAMBERWATCH_") and k != "NOTIFY_SOCKET"}
        self.environment = clean | environment
        self.process = None

    def start(self, *options):
        """Start it and wait until it says that it is ready."""
        with self.out.open("wb") as out, self.log.open("ab") as log:
            self.process = subprocess.Popen(
                self._argv("watch", "--verbose", *options), stdout=out, stderr=log, cwd=ROOT, env=self.environment
            )
        until(lambda: self.said_ready() or self.process.poll() is not None, READY_S)
        assert self.said_ready(), self.log.read_text()
        return self

    def said_ready(self):
        """Whether it said so."""
        return any(text.startswith("ready: ") for text in self.out.read_text().splitlines())

    def stop(self):
        """Ask it to end as a service manager does; return its exit code and how long that took [s]."""
        began_s = time.monotonic()
        self.process.send_signal(signal.SIGTERM)
        code = self.process.wait(STOP_S)
        return code, time.monotonic() - began_s

    def kill(self):
        """End it as a power cut does, if it still runs."""
        if self.process is not None and self.process.poll() is None:
            self.process.kill()
            self.process.wait(10)

    def _argv(self, command, *options):
        return [sys.executable, "-m", "chamberwatch", command, "--config", str(self.config), *map(str, options)]

    def command(self, *argv, code=0):
        """Run a command beside it; return what it printed (and said as an error, where it must fail)."""
        done = subprocess.run(
            self._argv(*argv), capture_output=True, text=True, timeout=60, cwd=ROOT, env=self.environment, check=False
        )
        assert done.returncode == code, done.stdout + done.stderr
        return done.stdout if code == 0 else done.stdout + done.stderr

    def now(self):
        """Return `now --json`."""
        return json.loads(self.command("now", "--json"))

    def readings(self):
        """Return how many readings of each probe are in the journal."""
        with Reader(self.journal) as reader:
            return {p.probe: p.readings for p in reader.probes()}

    def alarm_states(self):
        """Return the states of the alarms that are not normal."""
        with Reader(self.journal) as reader:
            return [str(a.state) for a in reader.alarms()]

    def events(self, **wanted):
        """Return the events with these values, read beside it as the commands do."""
        with Reader(self.journal) as reader:
            found = list(reader.events())
        return [e for e in found if all(e[key] == value for key, value in wanted.items())]

    def await_event(self, **wanted):
        """Return the first event with these values, as soon as there is one."""
        found = until(lambda: self.events(**wanted), 20)
        assert found, self.command("events", "--json") + self.log.read_text()
        return found[0]


class Listener:
    """Somebody's program on a topic; keeps what comes."""

    def __init__(self, port, topic):
        self.heard = []
        subscribed = []
        self._client = Client(CallbackAPIVersion.VERSION2, client_id=f"somebody at {topic}")
        self._client.on_connect = lambda client, *_: client.subscribe(topic, 1)
        self._client.on_subscribe = lambda *_: subscribed.append(True)
        self._client.on_message = lambda _client, _data, message: self.heard.append(json.loads(message.payload))
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        assert until(lambda: subscribed), "the listener was not let in"

    def close(self):
        """Stop listening."""
        self._client.disconnect()
        self._client.loop_stop()


class ServiceManager:
    """The socket of a service manager that keeps what it is told."""

    def __init__(self, folder):
        self.path = folder / "notify"
        self._end = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._end.bind(str(self.path))
        self._end.settimeout(0.1)
        self.told = []

    def hears(self, name, times=1):
        """Whether a datagram with this `NAME=VALUE` came so often within some seconds."""

        def enough():
            with contextlib.suppress(TimeoutError):
                self.told.append(self._end.recv(4096).decode().splitlines())
            return sum(name in lines for lines in self.told) >= times

        return until(enough, 20)

    def close(self):
        """Let go of the socket."""
        self._end.close()
