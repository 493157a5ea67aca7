"""The daemon killed (SIGKILL) again and again under a broker's load, restarted at once; then everything is counted.

A publisher sends timed SenML, QoS 1, for two probes without pause. At the end every (probe, time) published must be
in the journal exactly once; every event that a straight replay of the same lines gives must be there exactly once,
by its id; and every notice must have come on the channel's topic at least once.
"""

from __future__ import annotations

import json
import random
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from bench_parts import (
    ROOT,
    Figure,
    Mosquitto,
    Watch,
    clean_environment,
    now_ms,
    over_broker,
    pack,
    until,
    write_settings,
)
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

PROBES = ("rear", "front")
KILLS, KILLS_SHORT = 20, 3
PER_S = 400
EVERY_MS = 5_000
SINCE_MS = 22 * 3_600_000
"""The first reading is so old. All fit into the time up to now, so that none is refused as of the future."""
LEAST_S, MOST_S, MOST_SHORT_S = 0.3, 4.0, 1.5
"""A kill comes so long after a start: from its first moments (it needs about a second to be ready) to full work."""
DRAIN_S, TELL_S = 120.0, 240.0
TOLD = "told"
TROUBLES = ((17.9, 75.0), (12.5, 62.0), (12.5, 89.0), (7.1, 75.0))
"""Air outside the band [°C, %RH], one after another; none is urgent, so nothing repeats."""
CYCLE, TROUBLED = 840, 360
"""Of so many readings of a probe (70 min) so many (30 min) are in trouble."""


def air(n: int) -> tuple[float, float]:
    """Return a probe's reading number `n`: calm, then one of the troubles, then calm."""
    cycle, at = divmod(n, CYCLE)
    if at >= TROUBLED:
        return 12.5 + (n % 7) / 100, 75.0 + (n % 11) / 100
    temp_c, rh_pct = TROUBLES[cycle % len(TROUBLES)]
    return temp_c + (n % 7) / 100, rh_pct + (n % 11) / 100


@dataclass
class Publisher:
    """Sends the probes' readings at a steady pace from a thread, until told to end; remembers them."""

    port: int
    said: list[tuple[str, bytes]] = field(default_factory=list)
    ending: threading.Event = field(default_factory=threading.Event)

    def start(self) -> None:
        """Begin."""
        self._client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        self._client.max_inflight_messages_set(200)
        self._client.connect("127.0.0.1", self.port)
        self._client.loop_start()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        start_ms, began_s, n = now_ms() - SINCE_MS, time.monotonic(), 0
        while not self.ending.is_set() and n * EVERY_MS < SINCE_MS:
            for probe in PROBES:
                payload = pack(probe, start_ms + n * EVERY_MS, *air(n))
                self.said.append((probe, payload))
                self._last = self._client.publish(f"air/{probe}", payload, qos=1)
            n += 1
            time.sleep(max(0.0, began_s + n * len(PROBES) / PER_S - time.monotonic()))

    def stop(self) -> None:
        """End, and wait until the broker has it all."""
        self.ending.set()
        self._thread.join()
        self._last.wait_for_publish(60)
        self._client.disconnect()
        self._client.loop_stop()


class Listener:
    """Keeps the ids told on the channel's topic."""

    def __init__(self, port: int) -> None:
        self.ids: list[str] = []
        self._client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        self._client.on_message = self._take
        self._client.connect("127.0.0.1", port)
        self._client.subscribe(TOLD, qos=1)
        self._client.loop_start()

    def _take(self, _client: Client, _data: object, message: MQTTMessage) -> None:
        self.ids.append(json.loads(message.payload)["id"])

    def close(self) -> None:
        """Leave."""
        self._client.disconnect()
        self._client.loop_stop()


def run(*, short: bool = False, kills: int | None = None) -> list[Figure]:
    """Measure."""
    kills = kills or (KILLS_SHORT if short else KILLS)
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        broker = Mosquitto(folder / "broker", ["max_queued_messages 100000"]).start()
        try:
            return _run(folder, broker, kills, MOST_SHORT_S if short else MOST_S)
        finally:
            broker.kill()


def _run(folder: Path, broker: Mosquitto, kills: int, most_s: float) -> list[Figure]:
    more = f'[broker]\nport = {broker.port}\n[[notify.channel]]\nname = "house"\ntopic = "{TOLD}"\n'
    config = write_settings(folder / "watch", over_broker(*PROBES), more)
    watch, listener, publisher = Watch(config).start().online(broker), Listener(broker.port), Publisher(broker.port)
    try:
        publisher.start()
        _kill_again_and_again(watch, kills, most_s)
        publisher.stop()
        journal = config.with_name("chamberwatch.db")
        until(lambda: _count(journal) >= len(publisher.said), DRAIN_S)
        until(lambda: not _owed(journal), TELL_S)
        code = watch.stop()
    finally:
        watch.kill()
        listener.close()
    assert code == 0, f"the daemon ended with {code}"
    straight = _straight(folder, config, publisher.said)
    return _judge(journal, publisher.said, straight, listener.ids, kills)


def _kill_again_and_again(watch: Watch, kills: int, most_s: float) -> None:
    chance = random.Random()
    for _ in range(kills):
        time.sleep(chance.uniform(LEAST_S, most_s))
        assert watch.alive(), watch.log.read_text(encoding="utf-8")
        watch.kill()
        watch.start(wait=False)


def _count(journal: Path) -> int:
    return len(_rows(journal, "SELECT 1 FROM reading"))


def _owed(journal: Path) -> int:
    return len(_rows(journal, "SELECT 1 FROM notice WHERE state = 'owed'"))


def _rows(journal: Path, query: str) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(f"file:{journal}?mode=ro", uri=True, timeout=10)) as db:
        return db.execute(query).fetchall()


def _straight(folder: Path, config: Path, said: list[tuple[str, bytes]]) -> Path:
    """Replay the same lines into another journal without any kill; return it."""
    lines, journal = folder / "said.senml", folder / "straight.db"
    lines.write_bytes(b"".join(payload + b"\n" for _, payload in said))
    argv = [sys.executable, "-m", "chamberwatch", "replay", "--config", str(config), "--journal", str(journal), str(lines)]
    subprocess.run(argv, cwd=ROOT, env=clean_environment(), check=True, capture_output=True, timeout=120)
    return journal


AIR_EVENTS = "SELECT id, kind, state, note, at_ms, chamber FROM event WHERE kind GLOB 'temperature-*' OR kind GLOB 'humidity-*'"
COUNTED = "SELECT coalesce(sum(readings), 0) FROM probe"
NOTICES = "SELECT DISTINCT event_id FROM notice"


def _judge(journal: Path, said: list[tuple[str, bytes]], straight: Path, told: list[str], kills: int) -> list[Figure]:
    published = {(probe, round(json.loads(payload)[0]["bt"] * 1000)) for probe, payload in said}
    kept = _rows(journal, "SELECT name, at_ms FROM reading JOIN probe ON probe.id = probe_id")
    (counted,) = _rows(journal, COUNTED)[0]
    assert isinstance(counted, int)
    wanted, got = _rows(straight, AIR_EVENTS), _rows(journal, AIR_EVENTS)
    assert len(wanted) >= kills // 3, "there was too little to miss"
    owed = {event_id for (event_id,) in _rows(journal, NOTICES)}
    remark = f"{kills} kills, {len(said):,} messages"
    return [
        Figure("kill -9: readings lost", len(published - set(kept)), "", 0, remark=remark),
        Figure("kill -9: readings doubled", len(kept) - len(set(kept)) + abs(counted - len(kept)), "", 0),
        Figure("kill -9: events missed", len(set(wanted) - set(got)), "", 0, remark=f"{len(wanted)} by a straight replay"),
        Figure("kill -9: events doubled or made up", len(got) - len(set(got) & set(wanted)), "", 0),
        Figure(
            "kill -9: notices never sent", len(owed - set(told)), "", 0,
            remark=f"{len(owed)} owed, {len(told)} came",
        ),
    ]  # fmt: skip
