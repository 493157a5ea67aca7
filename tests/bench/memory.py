"""Resident memory of the real daemon after a minute of readings at high pace, and what its imports weigh.

Floor: a bare interpreter of the same kind. `weights()` tells what each library adds, in the order in which the
daemon takes them up; run this file to see it.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from bench_parts import (
    ROOT,
    Figure,
    Mosquitto,
    Watch,
    clean_environment,
    free_port,
    now_ms,
    over_broker,
    over_serial,
    pack,
    write_settings,
)
from ingest_parts import PluggedProbe
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

PROBES = ("rear", "front")
MOST_MIB, MOST_ALL_MIB = 60, 110
PACE_S = 0.005
SECONDS, SECONDS_SHORT = 60.0, 0.5
TOPIC_CHANNEL = '[[notify.channel]]\nname = "house"\ntopic = "told"\n'
IMPORTS = (
    "json, sqlite3", "pydantic_settings", "chamberwatch.settings", "chamberwatch.engine, chamberwatch.words",
    "serial", "paho.mqtt.client", "chamberwatch.daemon.service", "apprise", "influxdb_client",
)  # fmt: skip

Say = Callable[[str, bytes], None]


@contextmanager
def on_serial(folder: Path) -> Iterator[tuple[dict[str, str], str, Say]]:
    """Two probes on pseudo-terminals."""
    probes = {name: PluggedProbe(folder, name) for name in PROBES}
    try:
        yield over_serial({n: p.path for n, p in probes.items()}), "", lambda n, data: probes[n].say(data + b"\n")
    finally:
        for probe in probes.values():
            probe.close()


@contextmanager
def on_broker(folder: Path, more: str = "") -> Iterator[tuple[dict[str, str], str, Say]]:
    """Two probes on a broker, and a channel on it."""
    broker = Mosquitto(folder / "broker").start()
    client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    table = f"[broker]\nport = {broker.port}\n{TOPIC_CHANNEL}{more}"

    def say(name: str, data: bytes) -> None:
        client.publish(f"air/{name}", data, qos=1)

    try:
        yield over_broker(*PROBES), table, say
    finally:
        client.disconnect()
        client.loop_stop()
        broker.kill()


def resident_mib(folder: Path, probes: dict[str, str], more: str, say: Say, seconds: float) -> float:
    """Run the daemon under readings of both probes for so long; return its resident memory then [MiB]."""
    watch = Watch(write_settings(folder, probes, more), "--verbose").start()
    ending = threading.Event()
    speaker = threading.Thread(target=_speak, args=(say, ending), daemon=True)
    speaker.start()
    try:
        time.sleep(seconds)
        return watch.resident_mib()
    finally:
        ending.set()
        speaker.join(5)
        watch.kill()


def _speak(say: Say, ending: threading.Event) -> None:
    """Both probes in turn; every tenth line is noise, since refusing must not cost memory either."""
    n = 0
    while not ending.is_set():
        n += 1
        for name in PROBES:
            good = pack(name, now_ms(), 12.0 + (n % 97) / 100, 75.0 - (n % 53) / 100)
            say(name, good if n % 10 else good[: n % len(good)])
        time.sleep(PACE_S)


def bare_mib() -> float:
    """Return the resident memory of an interpreter that does nothing [MiB]."""
    return _weigh([])[0]


def _weigh(steps: list[str]) -> list[float]:
    """Return the resident memory [MiB] of a fresh interpreter, bare and after each step of imports."""
    look = "print(next(int(r.split()[1]) for r in open('/proc/self/status') if r.startswith('VmRSS')) / 1024)"
    code = "\n".join([look, *(f"import {step}\n{look}" for step in steps)])
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env=clean_environment(), capture_output=True, text=True, check=True
    )
    return [float(line) for line in done.stdout.split()]


def weights() -> str:
    """Return what each import adds, as lines of text."""
    sizes = _weigh(list(IMPORTS))
    rows = zip(("bare interpreter", *IMPORTS), sizes, [0.0, *sizes], strict=False)
    return "\n".join(f"{after - before:6.1f} MiB  {after:6.1f} in all  {name}" for name, after, before in rows)


def run(*, short: bool = False) -> list[Figure]:
    """Measure."""
    seconds, bare = SECONDS_SHORT if short else SECONDS, bare_mib()
    everything = (
        f'[[notify.channel]]\nname = "web"\nurl = "json://127.0.0.1:{free_port()}/"\n'
        f'[series]\nurl = "http://127.0.0.1:{free_port()}"\n'
    )
    figures = []
    for name, most, source in (
        ("memory, two serial ports, no more", MOST_MIB, on_serial),
        ("memory, broker and MQTT channel", MOST_MIB, on_broker),
        ("memory, and web channel and series", MOST_ALL_MIB, lambda folder: on_broker(folder, everything)),
    ):
        with tempfile.TemporaryDirectory() as made, ExitStack() as parts:
            probes, more, say = parts.enter_context(source(Path(made)))
            value = resident_mib(Path(made) / "watch", probes, more, say, seconds)
        figures.append(Figure(name, value, "MiB", most, floor=bare, remark=f"after {seconds:g} s of readings"))
    return figures


if __name__ == "__main__":
    print(weights())
