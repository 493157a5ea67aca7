"""Real parts the live tests are built from: a broker process, a probe that can be unplugged, patient looks."""

import os
import pty
import shutil
import signal
import socket
import subprocess
import time
import tty
from pathlib import Path

from chamberwatch.ingest.packet import Packet

MOSQUITTO = shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin:" + os.defpath) or "mosquitto"
TOPIC = "cellar/front"
NOW_MS = 1_793_404_800_000


def until(condition, seconds=15.0):
    """Return what `condition` gives as soon as it is true; after `seconds` return its last answer."""
    deadline_s = time.monotonic() + seconds
    while not (answer := condition()) and time.monotonic() < deadline_s:
        time.sleep(0.005)
    return answer


def free_port():
    """Return a loopback TCP port that was free a moment ago."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def answers(port):
    """True when something listens on that loopback port."""
    with socket.socket() as probe:
        probe.settimeout(1.0)
        return probe.connect_ex(("127.0.0.1", port)) == 0


class Mosquitto:
    """One real broker on a loopback port, its files in `folder`.

    `lines` are added to its settings; `persistent` makes it write its sessions to disk (only at a clean stop,
    unless `lines` say more); `config` replaces the settings altogether (the port must then be given).
    """

    def __init__(self, folder, lines=(), *, persistent=False, anonymous=True, config=None, port=None):
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder
        self.port = port or free_port()
        self.log = folder / "broker.log"
        self.config = config or folder / "broker.conf"
        if config is None:
            self.config.write_text("\n".join([
                f"listener {self.port} 127.0.0.1", f"allow_anonymous {str(anonymous).lower()}",
                # Started by root it would become another user, who may not write here.
                "user root", f"persistence {str(persistent).lower()}", f"persistence_location {folder}/", *lines, "",
            ]))
        self._process = None

    def start(self):
        """Start it and wait until it listens."""
        with self.log.open("ab") as log:
            self._process = subprocess.Popen([MOSQUITTO, "-c", str(self.config)], stdout=log, stderr=log)
        if not until(lambda: answers(self.port) or self._process.poll() is not None) or self._process.poll():
            raise AssertionError(f"mosquitto did not start:\n{self.log.read_text()}")
        return self

    def _end(self, number):
        # Again and again: a signal that comes while it is still starting is forgotten.
        def ended():
            self._process.send_signal(number)
            self._process.send_signal(signal.SIGCONT)
            try:
                return self._process.wait(0.2) is not None
            except subprocess.TimeoutExpired:
                return False

        if self._process is not None:
            assert until(ended), "mosquitto did not end"
            self._process = None

    def kill(self):
        """End it as a power cut would (SIGKILL)."""
        self._end(signal.SIGKILL)

    def stop(self):
        """End it in good order (SIGTERM)."""
        self._end(signal.SIGTERM)

    def freeze(self):
        """Let it hold its connections and do nothing more (SIGSTOP)."""
        self._process.send_signal(signal.SIGSTOP)

    def thaw(self):
        """Let it go on (SIGCONT)."""
        self._process.send_signal(signal.SIGCONT)

    def restart(self, *, kill=False):
        """Stop it, or `kill` it, and start it again on the same port with the same files."""
        self.kill() if kill else self.stop()
        return self.start()

    def publish(self, topic, payload, *options, qos=1):
        """Publish one message with the broker's own command-line client."""
        given = ["-n"] if payload is None else ["-s"]
        subprocess.run(
            ["mosquitto_pub", "-p", str(self.port), "-t", topic, "-q", str(qos), *given, *options],
            input=payload, check=True, timeout=20,
        )

    def publish_lines(self, topic, payloads):
        """Publish many messages, one a line, QoS 1, in order, over one connection."""
        subprocess.run(
            ["mosquitto_pub", "-p", str(self.port), "-t", topic, "-q", "1", "-l"],
            input=b"".join(p + b"\n" for p in payloads), check=True, timeout=60,
        )

    def retained(self, topic, seconds=1):
        """Return what is retained on `topic`, None if nothing is."""
        done = subprocess.run(
            ["mosquitto_sub", "-p", str(self.port), "-t", topic, "-C", "1", "-W", str(seconds), "-N", "--retained-only"],
            capture_output=True, check=False, timeout=20,
        )
        return done.stdout or None


class PluggedProbe:
    """A pseudo-terminal with a link to it, as a USB probe with its name below /dev/serial/by-id."""

    def __init__(self, folder: Path, name="usb-probe-if00-port0"):
        folder.mkdir(parents=True, exist_ok=True)
        self.path = folder / name
        self._board = None
        self.plug()

    def plug(self):
        """Plug it in; it becomes a new device under the same name."""
        self._board, device = pty.openpty()
        tty.setraw(device)
        self.device = os.ttyname(device)
        os.close(device)
        self.path.symlink_to(self.device)

    def unplug(self):
        """Pull it out: the device and its name are gone."""
        self.path.unlink()
        os.close(self._board)
        self._board = None

    def say(self, data: bytes):
        """Let the probe send these bytes."""
        while data:
            data = data[os.write(self._board, data):]

    def close(self):
        """Clear up whatever is left."""
        if self._board is not None:
            self.unplug()


# -- looks at a port ------------------------------------------------------------------------------------------


def opened(port, times=1):
    """True as soon as the port has been opened that many times and is open."""
    return until(lambda: port.status().open and port.status().opened_count >= times)


def next_of(inbox):
    """Return the next item, which must come."""
    return inbox.get(timeout=15)


# -- looks at a link to a broker ------------------------------------------------------------------------------


def connected(link, times=1):
    """True as soon as the link has come up that many times and stands."""
    return until(lambda: link.status().connected and link.status().connected_count >= times)


def take(inbox, kind=Packet, seconds=15.0):
    """Return the next item of that kind, leaving out others."""
    deadline_s = time.monotonic() + seconds
    while not isinstance(item := inbox.get(timeout=max(0.0, deadline_s - time.monotonic())), kind):
        pass
    return item


def take_payloads(inbox, count, *, ack):
    """Return the payloads of the next `count` packets, acknowledging each if `ack`."""
    taken = []
    while len(taken) < count:
        packet = take(inbox)
        taken.append(packet.payload)
        if ack:
            packet.ack()
    return taken


def settled(broker, inbox):
    """True when a message published now has come through: whatever was under way before it has too."""
    broker.publish(TOPIC, b"mark")
    return until(lambda: b"mark" in [i.payload for i in list(inbox.queue) if isinstance(i, Packet)])
