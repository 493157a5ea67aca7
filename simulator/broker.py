"""Speaking to a real MQTT broker: each line a message of its own, acknowledged by the broker (QoS 1)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Self

from paho.mqtt.client import Client, MQTTMessageInfo
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion

from simulator.probes import Line

if TYPE_CHECKING:
    from collections.abc import Sequence

    from simulator.chamber import Word

TAKEN_S = 20.0


class BrokerSilent(Exception):  # noqa: N818  it says what is the matter
    """The broker cannot be reached or does not acknowledge."""


class Topics:
    """One topic a probe, `prefix/probe`; an unplugged probe is silent."""

    def __init__(self, host: str, port: int, prefix: str, *, taken_s: float = TAKEN_S) -> None:
        self._where = (host, port)
        self._prefix = prefix.rstrip("/")
        self._taken_s = taken_s
        self._client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)

    def __enter__(self) -> Self:
        host, port = self._where
        try:
            self._client.connect(host, port)
        except OSError as fault:
            raise BrokerSilent(f"no broker answers at {host}:{port}: {fault}") from fault
        self._client.loop_start()
        return self

    def __exit__(self, *exc: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def say(self, words: Sequence[Word]) -> None:
        """Publish the lines; return when the broker has them all, BrokerSilent if it does not."""
        owed = [self._publish(word) for word in words if isinstance(word, Line)]
        for info in owed:
            try:
                info.wait_for_publish(self._taken_s)
            except (RuntimeError, ValueError) as fault:
                raise BrokerSilent(f"the broker is gone: {fault}") from fault
            if not info.is_published():
                raise BrokerSilent(f"the broker did not take our messages for {self._taken_s:g} s")

    def finish(self) -> None:
        """Return at once: `say` has waited."""

    def _publish(self, line: Line) -> MQTTMessageInfo:
        info = self._client.publish(f"{self._prefix}/{line.probe}", line.data.strip(b"\n"), qos=1)
        if info.rc not in (MQTTErrorCode.MQTT_ERR_SUCCESS, MQTTErrorCode.MQTT_ERR_NO_CONN):
            raise BrokerSilent(f"the message cannot be sent: {info.rc}")
        return info
