"""What systemd is told: ready, still working, stopping. A no-op where there is no service manager.

Protocol: sd_notify(3), one datagram of NAME=VALUE lines to $NOTIFY_SOCKET ('@' stands for a leading NUL).
"""

from __future__ import annotations

import os
import socket


class ServiceManager:
    """The socket of systemd, if it gave us one."""

    def __init__(self) -> None:
        address = os.environ.get("NOTIFY_SOCKET", "")
        self._address = "\0" + address[1:] if address.startswith("@") else address
        limit_us = int(os.environ.get("WATCHDOG_USEC", "0") or 0)
        self.ping_every_s = limit_us / 4e6 if limit_us else 0.0
        """A quarter of the watchdog's limit; 0: no watchdog."""

    def ready(self, status: str) -> None:
        """Say that watching has begun."""
        self._send(f"READY=1\nSTATUS={status}")

    def alive(self, status: str) -> None:
        """Feed the watchdog; call only after real progress."""
        self._send(f"WATCHDOG=1\nSTATUS={status}")

    def stopping(self) -> None:
        """Say that the end has begun."""
        self._send("STOPPING=1")

    def _send(self, text: str) -> None:
        if not self._address:
            return
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as end:
            try:
                end.connect(self._address)
                end.sendall(text.encode())
            except OSError:
                pass  # a manager that went away must not take the watch with it
