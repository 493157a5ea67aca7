"""Listen to one probe for a while, as the watch would, and keep nothing.

Rules for this file: nothing is written, published or decoded; whatever was opened is closed, also when the
listener goes away early.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Iterator
from typing import NamedTuple, Protocol

from chamberwatch.daemon.clock import MachineClock
from chamberwatch.daemon.findings import await_
from chamberwatch.daemon.looking import is_watched, looker
from chamberwatch.daemon.plans import broker_plan, port_plans
from chamberwatch.errors import Unavailable, UsageError
from chamberwatch.ingest.packet import Inbox, Packet
from chamberwatch.ingest.serial_port import SerialPort
from chamberwatch.settings import Settings
from chamberwatch.settings.tables import MqttTable, ProbeTable, SerialTable

OPEN_WAIT_S, BROKER_WAIT_S = 2.0, 5.0
_LOOK_EVERY_S = 0.2


class Source(NamedTuple):
    """Where a probe speaks."""

    said: str
    """For a person: the port with its speed, or the topic with its broker."""
    nothing: str
    """What to look at when nothing comes."""
    kind: str
    """The table of the settings: `serial` or `mqtt`."""
    table: SerialTable | MqttTable


class _Ear(Protocol):
    def start(self) -> None: ...

    def stop(self) -> bool: ...


def source_of(settings: Settings, name: str) -> Source:
    """Return where the probe of that name speaks.

    Raises:
        UsageError: there is no such probe.
    """
    probe = _probe(settings, name)
    if isinstance(way := probe.serial or probe.mqtt, SerialTable):
        speed = f"{way.baud} baud"
        nothing = f"is the probe plugged in, does it send whole lines, is {speed} its speed?"
        return Source(f"{way.port} ({speed})", nothing, "serial", way)
    table, broker = _mqtt(way), settings.file.broker
    address = f"{broker.host}:{broker.port}"
    nothing = f"does the probe publish to {address}, on this exact topic (A and a differ)?"
    return Source(f"topic {table.topic} at {address}", nothing, "mqtt", table)


def hear(settings: Settings, name: str, for_s: float, ending: threading.Event) -> Iterator[Packet]:
    """Yield what the probe sends within `for_s` [s], as it comes, until `ending` is set.

    The time begins once the probe can be heard.

    Raises:
        UsageError: there is no such probe.
        Unavailable: the port or the broker cannot be used, and why.
        SettingsError: the broker's password or certificate is missing.
    """
    inbox = Inbox(1000)
    ear, why = _ear(settings, _probe(settings, name), inbox)
    ear.start()
    try:
        if told := why():
            raise Unavailable(f"probe {name}: {told}")
        yield from _until(inbox, time.monotonic() + for_s, ending)
        if told := why():
            raise Unavailable(f"probe {name}: {told}")
    finally:
        ear.stop()


def _until(inbox: Inbox, deadline_s: float, ending: threading.Event) -> Iterator[Packet]:
    while (left_s := deadline_s - time.monotonic()) > 0 and not ending.is_set():
        try:
            item = inbox.get(timeout=min(left_s, _LOOK_EVERY_S))
        except queue.Empty:
            continue
        if isinstance(item, Packet):
            if item.ack is not None:
                item.ack()  # of a session of our own; else the broker would stop at its hundredth message
            yield item


def _probe(settings: Settings, name: str) -> ProbeTable:
    for probe in settings.file.probe:
        if probe.name == name:
            return probe
    names = ", ".join(p.name for p in settings.file.probe)
    raise UsageError(f"--listen: no probe is called {name!r}; the settings have: {names}")


def _mqtt(table: MqttTable | None) -> MqttTable:
    if table is None:
        raise UsageError("--listen: that probe has neither port nor topic")
    return table


def _ear(settings: Settings, probe: ProbeTable, inbox: Inbox) -> tuple[_Ear, Callable[[], str]]:
    """Return what listens, and how to learn why it cannot ("" when it can), waiting for it a little."""
    if probe.serial is not None:
        return _at_port(settings, probe.name, inbox)
    plan = broker_plan(settings.file)
    if plan is None:
        raise UsageError("--listen: no probe speaks over a broker")
    link = looker(plan, inbox, {_mqtt(probe.mqtt).topic: probe.name})

    def why() -> str:
        if await_(lambda: link.status().connected, BROKER_WAIT_S):
            return link.status().why
        told = link.status().why
        return told if told != "connecting" else f"no answer from {plan.host}:{plan.port}"

    return link, why


def _at_port(settings: Settings, name: str, inbox: Inbox) -> tuple[_Ear, Callable[[], str]]:
    plan = next(p for p in port_plans(settings.file) if p.probe == name)
    if is_watched(settings.journal_path):
        raise Unavailable(
            f"probe {name}: {plan.url} is read by the running watch, and only one can read a port. End the "
            "watch (on a board: sudo systemctl stop chamberwatch), listen, and start it again. What it hears "
            "now, and how much it refuses: chamberwatch now"
        )
    port = SerialPort(plan, inbox, MachineClock().now_ms)

    def why() -> str:
        opened = await_(lambda: port.status().open, OPEN_WAIT_S)
        return "" if opened else port.status().why or f"{plan.url} could not be opened"

    return port, why
