"""The tables and keys of a settings file: types, allowed ranges, units, defaults.

Rules for this file: every number says its unit (`description`) and both bounds; `extra = "forbid"` on every
table, so that a misspelt key is a fault and never a silent default.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import BaseModel, ConfigDict, Field, SecretStr, field_validator, model_validator
from pydantic_settings import BaseSettings, PydanticBaseSettingsSource, SettingsConfigDict

from chamberwatch.model import ChamberKind

ENV_PREFIX = "CHAMBERWATCH_"
NAME = r"^[A-Za-z0-9][A-Za-z0-9_.:-]*$"
TOPIC = r"^[^+#\x00]+$"
Name = Annotated[
    str, Field(pattern=NAME, max_length=64, description="letters, digits and - _ . :, at most 64")
]
Topic = Annotated[str, Field(pattern=TOPIC, max_length=512, description="an exact topic, no + or #")]
Credential = Annotated[
    str, Field(pattern=r"^[a-z0-9][a-z0-9-]*$", max_length=64, description="lower-case letters, digits and -")
]


class Table(BaseModel):
    """Any table: unknown keys and non-finite numbers are faults."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class JournalTable(Table):
    """Where everything is kept; relative to the settings file."""

    path: Path
    keep_days: Annotated[int, Field(ge=1, le=3660, description="days")] = 400


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


class ChamberTable(Table):
    """One chamber."""

    name: Name
    kind: ChamberKind = ChamberKind.CURE_CHAMBER
    temperature: TemperatureTable = TemperatureTable()
    humidity: HumidityTable = HumidityTable()
    urgent: UrgentTable = UrgentTable()

    @model_validator(mode="after")
    def _ordered(self) -> ChamberTable:
        for what, unit, low, high in (
            ("temperature", "°C", self.temperature.low, self.temperature.high),
            ("humidity", "%RH", self.humidity.low, self.humidity.high),
            ("urgent", "°C", self.urgent.low, self.urgent.high),
        ):
            if not low < high:
                raise ValueError(f"{what}: low {low:g} {unit} must be below high {high:g} {unit}")
        if not (self.urgent.low <= self.temperature.low and self.temperature.high <= self.urgent.high):
            raise ValueError(
                f"urgent {self.urgent.low:g}..{self.urgent.high:g} °C must enclose temperature "
                f"{self.temperature.low:g}..{self.temperature.high:g} °C"
            )
        return self


class AccuracyTable(Table):
    """What the probe's maker states: °C and %RH, either way."""

    temperature: Annotated[float, Field(gt=0, le=5, description="°C")] = 0.3
    humidity: Annotated[float, Field(gt=0, le=20, description="%RH")] = 2.5


class SerialTable(Table):
    """A port: a path (best /dev/serial/by-id/…) or a pyserial URL."""

    port: Annotated[str, Field(min_length=1, max_length=512, description="a path or a pyserial URL")]
    baud: Annotated[int, Field(ge=50, le=4_000_000, description="baud")] = 115_200
    format: Literal["senml"] = "senml"
    dtr: bool = True


class MqttTable(Table):
    """A topic, exact (no + or #)."""

    topic: Topic
    format: Literal["senml"] = "senml"


class ProbeTable(Table):
    """One probe, on a port or on a topic."""

    name: Name
    chamber: str
    every: Annotated[float, Field(gt=0, le=86_400, description="s")] = 10.0
    accuracy: AccuracyTable = AccuracyTable()
    serial: SerialTable | None = None
    mqtt: MqttTable | None = None

    @model_validator(mode="after")
    def _one_way(self) -> ProbeTable:
        if (self.serial is None) == (self.mqtt is None):
            raise ValueError("needs exactly one of serial = { port = … } and mqtt = { topic = … }")
        return self


class BrokerTable(Table):
    """The MQTT broker."""

    host: Annotated[str, Field(min_length=1, max_length=255)] = "127.0.0.1"
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

    @model_validator(mode="after")
    def _one_way(self) -> ChannelTable:
        if sum(x is not None for x in (self.url, self.credential, self.topic)) != 1:
            raise ValueError("needs exactly one of url, credential (the name of a secret URL) and topic")
        return self


class NotifyTable(Table):
    """Whom to tell, and the topic on which "I'm on it" comes back."""

    channel: tuple[ChannelTable, ...] = ()
    acknowledge_topic: Topic | None = None


class SeriesTable(Table):
    """A server of the influx v2 write protocol."""

    url: Annotated[str, Field(pattern=r"^https?://[^\s]+$")]
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
        env_nested_delimiter="__",
    )

    units: Literal["metric", "us"] = "metric"
    timezone: str | None = None
    journal: JournalTable
    chamber: Annotated[tuple[ChamberTable, ...], Field(min_length=1, max_length=1000)]
    probe: Annotated[tuple[ProbeTable, ...], Field(min_length=1, max_length=10_000)]
    broker: BrokerTable = BrokerTable()
    notify: NotifyTable = NotifyTable()
    series: SeriesTable | None = None
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
        return env_settings, init_settings

    @field_validator("timezone")
    @classmethod
    def _known_zone(cls, name: str | None) -> str | None:
        if name is not None:
            try:
                ZoneInfo(name)
            except (ZoneInfoNotFoundError, ValueError, OSError) as error:
                raise ValueError("is not a time zone name such as Europe/Lisbon") from error
        return name
