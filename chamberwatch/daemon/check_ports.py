"""`check` on serial ports: open each as the watch would, and listen."""

from __future__ import annotations

import queue
import time
from collections.abc import Iterator

from chamberwatch.daemon.clock import MachineClock
from chamberwatch.daemon.findings import Finding, State, await_
from chamberwatch.daemon.plans import port_plans, speeches
from chamberwatch.ingest.packet import Inbox, Item, Packet
from chamberwatch.ingest.serial_port import PortPlan, SerialPort
from chamberwatch.model import Reading, Refusal
from chamberwatch.settings import Settings
from chamberwatch.wire.speech import Speech

OPEN_WAIT_S = 2.0
HEAR_WAIT_MOST_S = 25.0
"""The line under way as a port opens is dropped: a probe gets twice its interval, but no longer than this."""


def check_ports(settings: Settings, *, watched: bool) -> Iterator[Finding]:
    """Yield a finding a serial port: does it open, does a probe speak there, is it understood?"""
    plans = port_plans(settings.file)
    if watched:
        for plan in plans:
            text = f"{plan.url} is read by the running watch; see `now`"
            yield Finding(State.REMARK, f"probe {plan.probe}", text)
        return
    every_s = {p.name: p.every_s for p in settings.plan.probes}
    spoken = speeches(settings.file)
    opened = [_Listener(p, every_s[p.probe], spoken.get(p.probe, Speech())) for p in plans]
    for listener in opened:
        yield listener.finding()


class _Listener:
    """An opened port; all listen at once, so that a house of many probes is not looked at for minutes."""

    def __init__(self, plan: PortPlan, every_s: float, speech: Speech) -> None:
        self._plan = plan
        self._speech = speech
        self._every_s = every_s
        self._began_s = time.monotonic()
        self._inbox = Inbox(1000)
        self._port = SerialPort(plan, self._inbox, MachineClock().now_ms)
        self._port.start()

    def finding(self) -> Finding:
        """Return what came of it, and close the port."""
        url, about = self._plan.url, f"probe {self._plan.probe}"
        try:
            if not await_(lambda: self._port.status().open, OPEN_WAIT_S):
                why = self._port.status().why or f"{url} could not be opened"
                return Finding(State.FAULT, about, why)
            wait_s = min(2 * self._every_s + 1, HEAR_WAIT_MOST_S)
            state, text = self._said(wait_s)
            return Finding(state, about, f"{url} opens, {text}")
        finally:
            self._port.stop()

    def _said(self, wait_s: float) -> tuple[State, str]:
        left_s = max(0.1, self._began_s + wait_s - time.monotonic())
        try:
            packet = self._inbox.get(timeout=left_s)
        except queue.Empty:
            baud = self._plan.baud
            return State.REMARK, f"but no whole line came within {wait_s:g} s (baud {baud}? plugged in?)"
        return _understood(packet, self._plan.probe, self._speech)


def _understood(packet: Item, probe: str, speech: Speech) -> tuple[State, str]:
    if not isinstance(packet, Packet) or packet.problem is not None:
        return State.FAULT, "but what it says never ends a line: another baud, another format?"
    found = speech.decode(packet.payload, probe, 0)
    for item in found:
        if isinstance(item, Refusal):
            why = f"{item.reason} {item.detail}".rstrip()
            return State.FAULT, f"but what it says is refused: {why} (try: check --listen {probe})"
    return State.WELL, f"and it speaks: {', '.join(_air(r) for r in found if isinstance(r, Reading))}"


def _air(reading: Reading) -> str:
    temp = [] if reading.temp_c is None else [f"{reading.temp_c:.1f} °C"]
    return " ".join(temp + ([] if reading.rh_pct is None else [f"{reading.rh_pct:.0f} %RH"]))
