"""Reads lines from one serial port for ever: opens, reads, hands over, reopens.

Contract: only whole lines leave as packets, in order; the first line after an opening is dropped (it may be
half a line); a port that is missing, held or gone is a status to be read, never an exception; a probe that
merely stops talking is no fault here (the silence rule watches that).

Flow: when the inbox is full this thread waits, and the kernel's buffer (4,095 bytes for a tty) takes what
comes meanwhile; past that the kernel drops bytes and the next line is refused as garbage. `stop` still works.
"""

from __future__ import annotations

import logging
import os
import queue
import random
import socket
import termios
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

import serial

from chamberwatch.ingest.faults import say_port_fault, say_port_lost
from chamberwatch.ingest.packet import Packet, SerialInbox
from chamberwatch.model import Reason
from chamberwatch.wire.framing import Line, LineFramer

FIRST_DELAY_S, LAST_DELAY_S = 0.25, 10.0
_READ_TIMEOUT_S = 1.0
_PUT_TIMEOUT_S = 0.2
_CHUNK_BYTES = 4096
_SCHEMES = ("socket", "rfc2217")
_FORMS = "a device such as /dev/serial/by-id/..., socket://HOST:PORT or rfc2217://HOST:PORT"
# A board at a network port may lose power without a word: ask after 60 s of silence, give up after 3 * 20 s.
_KEEPALIVE = ((socket.TCP_KEEPIDLE, 60), (socket.TCP_KEEPINTVL, 20), (socket.TCP_KEEPCNT, 3))

# termios.error is not an OSError, and input buffers are emptied through termios.
_PORT_ERRORS = (OSError, termios.error)


@dataclass(frozen=True, slots=True)
class PortPlan:
    """One port: whose probe, where, how fast.

    Args:
        probe: the probe that speaks there.
        url: a device path (best one below /dev/serial/by-id), `socket://host:port` or `rfc2217://host:port`.
        baud: line speed [bit/s], 50..4000000; means nothing on `socket://`.
        dtr: the level of the DTR line while open; False for boards that restart when the port is opened.

    Raises:
        ValueError: a `url` or `baud` that no port can have.
    """

    probe: str
    url: str
    baud: int = 115_200
    dtr: bool = True

    def __post_init__(self) -> None:
        scheme, sep, address = self.url.partition("://")
        if sep and (scheme not in _SCHEMES or ":" not in address):
            raise ValueError(f"serial port {self.url!r}: give {_FORMS}")
        if not sep and not self.url.startswith("/"):
            raise ValueError(f"serial port {self.url!r}: a device path begins with /; give {_FORMS}")
        if not 50 <= self.baud <= 4_000_000:  # noqa: PLR2004  the two ends of what a UART does
            raise ValueError(f"baud {self.baud} bit/s must be between 50 and 4000000")


class PortStatus(NamedTuple):
    """How a port is doing: `why` is empty while it is open, else says what is wrong and what to do."""

    open: bool
    why: str
    opened_count: int


def backoff_s(first_s: float = FIRST_DELAY_S, last_s: float = LAST_DELAY_S) -> Iterator[float]:
    """Yield the pauses of retries: doubling from `first_s` to `last_s`, each cut by up to half at random."""
    delay_s = first_s
    while True:
        yield delay_s * random.uniform(0.5, 1.0)  # noqa: S311  spreads attempts, guards no secret
        delay_s = min(2 * delay_s, last_s)


class SerialPort:
    """Owns the thread that reads one port.

    Args:
        plan: which port.
        inbox: takes the packets; `put` may wait.
        now_ms: the clock [ms UTC] that stamps arrivals.
        log: told when the port's state changes, once a change.
    """

    def __init__(
        self, plan: PortPlan, inbox: SerialInbox, now_ms: Callable[[], int], log: logging.Logger | None = None
    ) -> None:
        self._plan = plan
        self._inbox = inbox
        self._now_ms = now_ms
        self._log = log or logging.getLogger(__name__)
        self._source = f"serial:{plan.url}"
        self._framer = LineFramer()
        self._stopping = threading.Event()
        self._status = PortStatus(open=False, why="not started", opened_count=0)
        self._port: serial.Serial | None = None
        self._port_lock = threading.Lock()
        self._delays = backoff_s()
        self._thread = threading.Thread(target=self._run, name=f"serial {plan.probe}", daemon=True)

    def start(self) -> None:
        """Begin reading; returns at once, also when there is no such port yet."""
        self._thread.start()

    def stop(self, timeout_s: float = 2.0) -> bool:
        """End the thread and close the port. True when it ended within `timeout_s`."""
        self._stopping.set()
        with self._port_lock:
            # Only a device's reader can be woken; the others look up every second.
            cancel = getattr(self._port, "cancel_read", None)
            if cancel is not None:
                cancel()
        if self._thread.ident is not None:
            self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def status(self) -> PortStatus:
        """How the port is doing now."""
        return self._status

    def _run(self) -> None:
        while not self._stopping.is_set():
            self._read_until_lost()
            self._stopping.wait(next(self._delays))
        self._tell(open_=False, why="stopped")

    def _read_until_lost(self) -> None:
        try:
            port = self._open()
        except (*_PORT_ERRORS, ValueError) as error:  # ValueError: a speed this port cannot do
            self._tell(open_=False, why=say_port_fault(error, self._plan.url))
            return
        self._tell(open_=True, why="")
        try:
            lost = self._read(port)
        finally:
            self._close(port)
        if lost is not None:
            self._tell(open_=False, why=say_port_lost(lost, self._plan.url))

    def _open(self) -> serial.Serial:
        # exclusive: two readers would each get half of the bytes. The path is resolved anew at each opening,
        # so a by-id link follows the probe to whatever device it became.
        plan = self._plan
        port = serial.serial_for_url(
            plan.url, do_not_open=True, baudrate=plan.baud, timeout=_READ_TIMEOUT_S, exclusive=True
        )
        # Before the opening: the change of that line is what restarts a board.
        port.dtr = plan.dtr
        port.open()
        try:
            port.reset_input_buffer()
            if plan.url.startswith("socket://"):
                _keep_alive(port.fileno())
        except BaseException:
            port.close()
            raise
        # Forgets what the lost port left behind, too: two halves must never make one line.
        self._framer.skip_partial()
        with self._port_lock:
            self._port = port
        return port

    def _close(self, port: serial.Serial) -> None:
        with self._port_lock:
            self._port = None
        try:
            port.close()
        except _PORT_ERRORS as error:
            self._log.debug("%s: closing said %s", self._source, error)

    def _read(self, port: serial.Serial) -> BaseException | None:
        """Read until told to stop (None) or the port is lost (what it said)."""
        while not self._stopping.is_set():
            try:
                data = port.read(1)
                if data:
                    data += port.read(min(port.in_waiting, _CHUNK_BYTES))
            except _PORT_ERRORS as error:
                return error
            # Our own code stands outside that try: a fault of ours must not pass for an unplugged probe.
            if data:
                self._delays = backoff_s()
                self._hand_over(data)
        return None

    def _hand_over(self, data: bytes) -> None:
        arrived_ms = self._now_ms()
        for found in self._framer.feed(data):
            if isinstance(found, Line):
                self._put(Packet(self._source, self._plan.probe, found.payload, arrived_ms))
            else:
                account = b"%d bytes without a line end" % found.dropped_bytes
                self._put(
                    Packet(self._source, self._plan.probe, account, arrived_ms, problem=Reason.TOO_LONG)
                )

    def _put(self, packet: Packet) -> None:
        while True:
            try:
                self._inbox.put(packet, timeout=_PUT_TIMEOUT_S)
            except queue.Full:
                # Only a full inbox gives up at a stop: what was read and has room is handed over.
                if self._stopping.is_set():
                    return
            else:
                return

    def _tell(self, *, open_: bool, why: str) -> None:
        before = self._status
        self._status = PortStatus(open=open_, why=why, opened_count=before.opened_count + open_)
        if (before.open, before.why) != (open_, why):
            level = logging.INFO if open_ or self._stopping.is_set() else logging.WARNING
            self._log.log(level, "%s: %s", self._source, why or "open")


def _keep_alive(fd: int) -> None:
    with socket.socket(fileno=os.dup(fd)) as twin:
        twin.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        for option, value in _KEEPALIVE:
            twin.setsockopt(socket.IPPROTO_TCP, option, value)
