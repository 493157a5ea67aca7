"""Publishes one message at a time and waits for the broker's own answer to it.

Why not the library's wait: it calls a message published when the answer says "refused", and it keeps what was
not answered, to send it at some later connection, when its sender has long tried again.
"""

from __future__ import annotations

import threading
import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from paho.mqtt.client import Client


class Publisher:
    """The publishing half of a broker connection; the other half tells it of answers and of the link."""

    def __init__(self, client: Client) -> None:
        self._client = client
        self._turn = threading.Lock()
        self._changed = threading.Condition()
        self._connection = 0
        self._linked = False
        self._answers: dict[int, bool] = {}

    def publish(self, topic: str, payload: bytes, qos: int, retain: bool, timeout_s: float) -> bool:
        """Publish; True when the broker took it in time, False when it refused, is away or does not answer.

        Raises:
            ValueError: no topic that can be published on.
        """
        deadline_s = time.monotonic() + timeout_s
        if not self._turn.acquire(timeout=timeout_s):
            return False
        try:
            return self._publish(topic, payload, qos, retain, deadline_s)
        finally:
            self._turn.release()

    def _publish(self, topic: str, payload: bytes, qos: int, retain: bool, deadline_s: float) -> bool:
        with self._changed:
            if not self._linked:
                return False
            connection = self._connection
            self._answers.clear()
        info = self._client.publish(topic, payload, qos=qos, retain=retain)
        if qos == 0 or info.rc != 0:
            return info.rc == 0
        with self._changed:
            # Nothing is answered across a reconnect, so there is no use in waiting longer.
            self._changed.wait_for(
                lambda: info.mid in self._answers or self._connection != connection,
                timeout=max(0.0, deadline_s - time.monotonic()),
            )
            return self._answers.get(info.mid, False)

    def answered(self, mid: int, *, taken: bool) -> None:
        """Note the broker's answer to message `mid`. On the network thread."""
        with self._changed:
            self._answers[mid] = taken
            self._changed.notify_all()

    def link_changed(self, *, linked: bool) -> None:
        """Note that the connection came or went: whoever waits for an answer waits in vain."""
        with self._changed:
            self._connection += 1
            self._linked = linked
            self._changed.notify_all()
