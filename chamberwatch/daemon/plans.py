"""From the settings' tables to what each adapter is given."""

from __future__ import annotations

from chamberwatch.ingest.broker_plan import BrokerPlan
from chamberwatch.ingest.serial_port import PortPlan
from chamberwatch.notify import ChannelPlan
from chamberwatch.series.writer import SeriesPlan
from chamberwatch.settings import secret
from chamberwatch.settings.tables import ChannelTable, File


def port_plans(file: File) -> list[PortPlan]:
    """Return the serial ports."""
    return [
        PortPlan(p.name, p.serial.port, p.serial.baud, p.serial.dtr)
        for p in file.probe
        if p.serial is not None
    ]


def broker_plan(file: File) -> BrokerPlan | None:
    """Return the broker, or None if nothing needs one."""
    topics = {p.mqtt.topic: p.name for p in file.probe if p.mqtt is not None}
    wanted = topics or file.notify.acknowledge_topic or any(c.topic for c in file.notify.channel)
    if not wanted:
        return None
    table = file.broker
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
    return [ChannelPlan(c.name, _address(c), c.topic) for c in file.notify.channel]


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
