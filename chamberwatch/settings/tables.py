"""The tables and keys of a settings file: types, allowed ranges, units, defaults.

Rules for this file: every number says its unit (`description`) and both bounds; `extra = "forbid"` on every
table, so that a misspelt key is a fault and never a silent default. What only several keys together show
is looked at in `across`, which also works where a key is wrong.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import Field, SecretStr, field_validator
from pydantic_settings import (
    BaseSettings,
    EnvSettingsSource,
    PydanticBaseSettingsSource,
    SettingsConfigDict,
)

from chamberwatch.model import ChamberKind
from chamberwatch.settings.formats import SpeechTable
from chamberwatch.settings.table import Table

ENV_PREFIX = "CHAMBERWATCH_"
NESTED = "__"
SINGLE_KEYS = frozenset({"UNITS", "TIMEZONE"})
"""The keys outside any table."""
NAME = r"^[A-Za-z0-9][A-Za-z0-9_.:-]*$"
TOPIC = r"^[^$+#\x00][^+#\x00]*$"
CREDENTIAL = r"^[a-z0-9]+(-[a-z0-9]+)*$"
PORT = r"^(/.+|(socket|rfc2217)://[^\s/:]+:\d+\S*)$"
HOST = r"^[^\s/@]+$"
Name = Annotated[
    str, Field(pattern=NAME, max_length=64, description="letters, digits and - _ . :, at most 64")
]
Topic = Annotated[
    str, Field(pattern=TOPIC, max_length=512, description="an exact topic, no + or #, not beginning with $")
]
Credential = Annotated[
    str,
    Field(
        pattern=CREDENTIAL,
        max_length=64,
        description="the name of a secret, not the secret: lower-case letters, digits and single -",
    ),
]


class JournalTable(Table):
    """Where everything is kept; relative to the settings file."""

    path: Annotated[Path, Field(description='a file, such as "chamberwatch.db"')]
    keep_days: Annotated[int, Field(ge=1, le=3660, description="days")] = 400

    @field_validator("path")
    @classmethod
    def _a_file(cls, path: Path) -> Path:
        if not path.name:
            raise ValueError("a file must be named here")
        return path


class TemperatureTable(Table):
    """Planned air, °C; patience in °C·min outside before the alarm."""

    low: Annotated[float, Field(ge=-10, le=40, description="°C")] = 10.0
    high: Annotated[float, Field(ge=-10, le=40, description="°C")] = 15.0
    patience: Annotated[float, Field(gt=0, le=10_000, description="°C·min")] = 60.0


class HumidityTable(Table):
    """Planned air, %RH; patience in %RH·min outside before the alarm."""

    low: Annotated[float, Field(ge=0, le=100, description="%RH")] = 70.0
    high: Annotated[float, Field(ge=0, le=100, description="%RH")] = 80.0
    patience: Annotated[float, Field(gt=0, le=10_000, description="%RH·min")] = 100.0


class UrgentTable(Table):
    """Beyond these the alarm is urgent, °C."""

    low: Annotated[float, Field(ge=-20, le=50, description="°C")] = 1.0
    high: Annotated[float, Field(ge=-20, le=50, description="°C")] = 18.0


class PhaseTable(Table):
    """The planned humidity of a hang's first days, by the youngest piece: up to `until_day`, %RH."""

    until_day: Annotated[float, Field(gt=0, le=365, description="days")]
    low: Annotated[float, Field(ge=0, le=100, description="%RH")]
    high: Annotated[float, Field(ge=0, le=100, description="%RH")]


class ChamberTable(Table):
    """One chamber."""

    name: Name
    kind: ChamberKind = ChamberKind.CURE_CHAMBER
    temperature: TemperatureTable = TemperatureTable()
    humidity: HumidityTable = HumidityTable()
    urgent: UrgentTable = UrgentTable()
    phase: Annotated[tuple[PhaseTable, ...], Field(max_length=20)] = ()


class AccuracyTable(Table):
    """What the probe's maker states: °C and %RH, either way."""

    temperature: Annotated[float, Field(gt=0, le=5, description="°C")] = 0.3
    humidity: Annotated[float, Field(gt=0, le=20, description="%RH")] = 2.5


class SerialTable(SpeechTable):
    """A port: a device path (best one of /dev/serial/by-id/…) or an address of a port server."""

    port: Annotated[
        str,
        Field(
            pattern=PORT,
            max_length=512,
            description="a device path that begins with /, socket://HOST:PORT or rfc2217://HOST:PORT",
        ),
    ]
    baud: Annotated[int, Field(ge=50, le=4_000_000, description="baud")] = 115_200
    dtr: bool = True


class MqttTable(SpeechTable):
    """A topic, exact (no + or #)."""

    topic: Topic


class ProbeTable(Table):
    """One probe, on a port or on a topic."""

    name: Name
    chamber: str
    every: Annotated[float, Field(gt=0, le=86_400, description="s")] = 10.0
    accuracy: AccuracyTable = AccuracyTable()
    serial: SerialTable | None = None
    mqtt: MqttTable | None = None


class BrokerTable(Table):
    """The MQTT broker."""

    host: Annotated[
        str, Field(pattern=HOST, max_length=255, description="a machine's name or address, no mqtt://")
    ] = "127.0.0.1"
    port: Annotated[int, Field(ge=1, le=65_535)] = 1883
    username: str | None = None
    credential: Credential | None = None
    client_id: Name = "chamberwatch"
    tls_ca: Path | None = None
    session_expiry: Annotated[int, Field(ge=60, le=4_294_967_294, description="s")] = 259_200
    status_topic: Topic = "chamberwatch/status"


class ChannelTable(Table):
    """One way to reach a person: an apprise URL (here or as a credential), or an MQTT topic."""

    name: Name
    url: SecretStr | None = None
    credential: Credential | None = None
    topic: Topic | None = None
    role: Literal["owner", "stand-in"] = "owner"
    burst: Annotated[int, Field(ge=1, le=100, description="messages at once")] = 5
    spacing: Annotated[
        float, Field(ge=0.1, le=3600, description="s between messages, once the burst is used up")
    ] = 2.0


class NotifyTable(Table):
    """Whom to tell, and the topic on which "I'm on it" comes back."""

    channel: tuple[ChannelTable, ...] = ()
    acknowledge_topic: Topic | None = None


class HeartbeatTable(Table):
    """A sign of life by HTTP, asked for as often as whoever waits for it expects."""

    url: SecretStr | None = None
    credential: Credential | None = None
    every: Annotated[float, Field(ge=10, le=86_400, description="s")] = 60.0

    @field_validator("url")
    @classmethod
    def _on_the_web(cls, url: SecretStr | None) -> SecretStr | None:
        text = "" if url is None else url.get_secret_value()
        if url is not None and (not text.startswith(("http://", "https://")) or any(map(str.isspace, text))):
            raise ValueError("http://… or https://…, without blanks")
        return url


class SeriesTable(Table):
    """A server of the influx v2 write protocol."""

    url: Annotated[str, Field(pattern=r"^https?://[^\s]+$", description="http://… or https://…")]
    org: str = "home"
    bucket: str = "chamberwatch"
    credential: Credential | None = None
    every: Annotated[float, Field(ge=1, le=3600, description="s")] = 10.0


class RehearsalTable(Table):
    """Only for rehearsals: time is taken from the readings."""

    clock: Literal["readings"]


class File(BaseSettings):
    """A whole settings file."""

    model_config = SettingsConfigDict(
        extra="forbid",
        frozen=True,
        env_prefix=ENV_PREFIX,
        env_nested_delimiter=NESTED,
    )

    units: Literal["metric", "us"] = "metric"
    timezone: Annotated[str, Field(description="a time zone name such as Europe/Lisbon")] | None = None
    journal: JournalTable
    chamber: Annotated[tuple[ChamberTable, ...], Field(min_length=1, max_length=1000, description="tables")]
    probe: Annotated[tuple[ProbeTable, ...], Field(min_length=1, max_length=10_000, description="tables")]
    broker: BrokerTable = BrokerTable()
    notify: NotifyTable = NotifyTable()
    series: SeriesTable | None = None
    heartbeat: HeartbeatTable | None = None
    rehearsal: RehearsalTable | None = None

    @classmethod
    def settings_customise_sources(
        cls,
        settings_cls: type[BaseSettings],
        init_settings: PydanticBaseSettingsSource,
        env_settings: PydanticBaseSettingsSource,
        dotenv_settings: PydanticBaseSettingsSource,
        file_secret_settings: PydanticBaseSettingsSource,
    ) -> tuple[PydanticBaseSettingsSource, ...]:
        """Let the environment win over the file (which comes in as init values)."""
        del settings_cls, dotenv_settings, file_secret_settings
        if isinstance(env_settings, EnvSettingsSource):
            # CHAMBERWATCH_BROKER is where the secret called "broker" may be, never a whole table.
            env_settings.env_vars = {
                name: value
                for name, value in env_settings.env_vars.items()
                if NESTED in name or name.upper().removeprefix(ENV_PREFIX) in SINGLE_KEYS
            }
        return env_settings, init_settings

    @field_validator("timezone")
    @classmethod
    def _known_zone(cls, name: str | None) -> str | None:
        if name is not None:
            try:
                ZoneInfo(name)
            except (ZoneInfoNotFoundError, ValueError, OSError) as error:
                raise ValueError("no time zone has that name; one is Europe/Lisbon") from error
        return name
