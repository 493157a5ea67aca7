"""From the settings' tables to what each adapter is given.

Raises:
    SettingsError: an adapter refuses a value that the tables let pass.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from chamberwatch.errors import SettingsError
from chamberwatch.heartbeat import PulsePlan
from chamberwatch.ingest.broker_plan import BrokerPlan
from chamberwatch.ingest.serial_port import PortPlan
from chamberwatch.notify import ChannelPlan
from chamberwatch.series.writer import SeriesPlan
from chamberwatch.settings import secret
from chamberwatch.settings.formats import speech_of
from chamberwatch.settings.tables import ChannelTable, File
from chamberwatch.wire.speech import Format, Speech


@contextmanager
def _refusals(where: str) -> Iterator[None]:
    try:
        yield
    except ValueError as error:
        raise SettingsError(f"{where}: {error}") from None


def port_plans(file: File) -> list[PortPlan]:
    """Return the serial ports."""
    plans = []
    for probe in file.probe:
        if probe.serial is not None:
            with _refusals(f"probe {probe.name}.serial"):
                port = probe.serial
                plans.append(PortPlan(probe.name, port.port, port.baud, port.dtr))
    return plans


def speeches(file: File) -> dict[str, Speech]:
    """Return how each probe speaks that does not speak SenML, by the probe's name."""
    found = {p.name: speech_of(table) for p in file.probe if (table := p.serial or p.mqtt) is not None}
    return {name: speech for name, speech in found.items() if speech.format is not Format.SENML}


def broker_plan(file: File) -> BrokerPlan | None:
    """Return the broker, or None if nothing needs one."""
    topics = {p.mqtt.topic: p.name for p in file.probe if p.mqtt is not None}
    wanted = topics or file.notify.acknowledge_topic or any(c.topic for c in file.notify.channel)
    if not wanted:
        return None
    table = file.broker
    with _refusals("broker"):
        return BrokerPlan(
            host=table.host,
            port=table.port,
            username=table.username,
            password=secret(table.credential) if table.credential else None,
            client_id=table.client_id,
            tls_ca=table.tls_ca,
            session_expiry_s=table.session_expiry,
            topics=topics,
            acknowledge_topic=file.notify.acknowledge_topic,
            status_topic=table.status_topic,
        )


def channel_plans(file: File) -> list[ChannelPlan]:
    """Return the channels, their secret addresses looked up."""
    with _refusals("notify"):
        return [
            ChannelPlan(c.name, _address(c), c.topic, burst=c.burst, every_s=c.spacing)
            for c in file.notify.channel
        ]


def pulse_plan(file: File) -> PulsePlan | None:
    """Return where the sign of life goes, or None if nobody waits for one."""
    table = file.heartbeat
    if table is None:
        return None
    url = table.url.get_secret_value() if table.url is not None else secret(table.credential or "")
    with _refusals("heartbeat"):
        return PulsePlan(url or "", table.every)


def _address(table: ChannelTable) -> str | None:
    if table.url is not None:
        return table.url.get_secret_value()
    return secret(table.credential) if table.credential else None


def series_plan(file: File) -> SeriesPlan | None:
    """Return the series server, or None."""
    table = file.series
    if table is None:
        return None
    token = secret(table.credential) if table.credential else None
    return SeriesPlan(table.url, table.org, table.bucket, token or "", table.every)
