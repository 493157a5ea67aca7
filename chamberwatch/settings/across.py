"""Faults that only several keys together show.

Works on the file as it was written, so that a fault elsewhere in it hides none of these.

Rules for this file: whatever is missing or of the wrong type is `faults`' business and passes here unseen.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterator
from typing import Any, NamedTuple

from chamberwatch.settings.faults import Loc, where
from chamberwatch.settings.formats import speech_faults
from chamberwatch.settings.secrets import secret, variable
from chamberwatch.settings.table import Table
from chamberwatch.settings.tables import (
    CREDENTIAL,
    BrokerTable,
    HumidityTable,
    TemperatureTable,
    UrgentTable,
)

WAYS = ("serial", "mqtt")
ADDRESSES = ("url", "credential", "topic")


class Named(NamedTuple):
    """A value and where it stands."""

    place: str
    value: str


def across(data: dict[str, Any]) -> list[str]:
    """Return one line a fault; `data` is the file's content as nested dictionaries and lists."""
    return [
        *_names(data),
        *_bands(data),
        *_phases(data),
        *_probes(data),
        *_speeches(data),
        *_channels(data),
        *_somebody(data),
        *_heartbeat(data),
        *_topics(data),
        *_secrets(data),
    ]


# -- finding one's way ------------------------------------------------------------------------------------


def _at(data: Any, *path: str) -> Any:
    for part in path:
        data = data.get(part) if isinstance(data, dict) else None
    return data


def _rows(data: dict[str, Any], *path: str) -> Iterator[tuple[Loc, dict[str, Any]]]:
    rows = _at(data, *path)
    for i, row in enumerate(rows if isinstance(rows, list | tuple) else ()):
        if isinstance(row, dict):
            yield (*path, i), row


def _named(data: dict[str, Any], rows: tuple[str, ...], *key: str) -> list[Named]:
    return [
        Named(where((*loc, *key), data), value)
        for loc, row in _rows(data, *rows)
        if isinstance(value := _at(row, *key), str)
    ]


def _number(row: dict[str, Any], table: str, key: str, model: type[Table]) -> float:
    """Return a number of a chamber's table, its default, or NaN, which no comparison holds for."""
    inner = row.get(table, {})
    if not isinstance(inner, dict):
        return math.nan
    value = inner.get(key, model.model_fields[key].default)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else math.nan


# -- the checks -------------------------------------------------------------------------------------------


def _names(data: dict[str, Any]) -> Iterator[str]:
    for what, found in (
        ("chamber", _named(data, ("chamber",), "name")),
        ("probe", _named(data, ("probe",), "name")),
        ("notify.channel", _named(data, ("notify", "channel"), "name")),
    ):
        for name, n in Counter(f.value for f in found).items():
            if n > 1 and "://" not in name:
                yield f"{what}: {n} are named {name!r}; each needs a name of its own"


def _bands(data: dict[str, Any]) -> Iterator[str]:
    for loc, row in _rows(data, "chamber"):
        place = where(loc, data)
        low_c, high_c = (_number(row, "temperature", k, TemperatureTable) for k in ("low", "high"))
        low_pct, high_pct = (_number(row, "humidity", k, HumidityTable) for k in ("low", "high"))
        least_c, most_c = (_number(row, "urgent", k, UrgentTable) for k in ("low", "high"))
        for what, unit, low, high in (
            ("temperature", "°C", low_c, high_c),
            ("humidity", "%RH", low_pct, high_pct),
            ("urgent", "°C", least_c, most_c),
        ):
            if low >= high:
                yield f"{place}.{what}: low {low:g} {unit} must be below high {high:g} {unit}"
        if least_c < most_c and (low_c < least_c or high_c > most_c):
            yield (
                f"{place}.urgent: {least_c:g} to {most_c:g} °C must enclose the planned temperature, "
                f"{low_c:g} to {high_c:g} °C"
            )


def _phases(data: dict[str, Any]) -> Iterator[str]:
    for loc, row in _rows(data, "chamber"):
        for i, phase in enumerate(p for p in row.get("phase") or () if isinstance(p, dict)):
            low, high = phase.get("low"), phase.get("high")
            if isinstance(low, int | float) and isinstance(high, int | float) and low >= high:
                yield f"{where((*loc, 'phase', i), data)}: low {low:g} %RH must be below high {high:g} %RH"


def _probes(data: dict[str, Any]) -> Iterator[str]:
    chambers = list(dict.fromkeys(f.value for f in _named(data, ("chamber",), "name")))
    known = ", ".join(chambers) or "none"
    for found in _named(data, ("probe",), "chamber"):
        if found.value not in chambers:
            yield f"{found.place}: {found.value!r} is not among the chambers ({known})"
    for loc, row in _rows(data, "probe"):
        given = [way for way in WAYS if row.get(way) is not None]
        if len(given) != 1:
            told = "has both" if given else "has neither"
            yield (
                f"{where(loc, data)}: needs exactly one of serial = {{ port = … }} and "
                f"mqtt = {{ topic = … }}; it {told}"
            )
    yield from _used_twice("port", _named(data, ("probe",), "serial", "port"))


def _speeches(data: dict[str, Any]) -> Iterator[str]:
    for loc, row in _rows(data, "probe"):
        for way in WAYS:
            if isinstance(table := row.get(way), dict):
                yield from speech_faults(table, where((*loc, way), data))


def _channels(data: dict[str, Any]) -> Iterator[str]:
    for loc, row in _rows(data, "notify", "channel"):
        given = [key for key in ADDRESSES if row.get(key) is not None]
        if len(given) != 1:
            yield (
                f"{where(loc, data)}: needs exactly one of url, credential (the name of a secret url) and "
                f"topic; it has {' and '.join(given) or 'none'}"
            )


def _somebody(data: dict[str, Any]) -> Iterator[str]:
    roles = [row.get("role", "owner") for _, row in _rows(data, "notify", "channel")]
    if roles and all(role == "stand-in" for role in roles):
        yield "notify.channel: every channel is a stand-in's, so nobody is told while you are there"


def _heartbeat(data: dict[str, Any]) -> Iterator[str]:
    table = data.get("heartbeat")
    if isinstance(table, dict):
        given = [key for key in ("url", "credential") if table.get(key) is not None]
        if len(given) != 1:
            has = " and ".join(given) or "none"
            yield (
                f"heartbeat: needs exactly one of url and credential (the name of a secret url); it has {has}"
            )


def _topics(data: dict[str, Any]) -> Iterator[str]:
    """Yield topics with two uses: what we publish there would come back as if a probe had said it."""
    found = _named(data, ("probe",), "mqtt", "topic") + _named(data, ("notify", "channel"), "topic")
    asked = _at(data, "notify", "acknowledge_topic")
    if isinstance(asked, str):
        found.append(Named("notify.acknowledge_topic", asked))
    status = _at(data, "broker", "status_topic")
    usual = BrokerTable.model_fields["status_topic"].default
    found.append(Named("broker.status_topic", status if isinstance(status, str) else usual))
    yield from _used_twice("topic", found)


def _used_twice(what: str, found: list[Named]) -> Iterator[str]:
    for value, n in Counter(f.value for f in found).items():
        if n > 1:
            places = " and ".join(f.place for f in found if f.value == value)
            yield f"{places}: the {what} {value!r} can have one use only"


def _secrets(data: dict[str, Any]) -> Iterator[str]:
    found = _named(data, ("notify", "channel"), "credential")
    for table in ("broker", "series", "heartbeat"):
        name = _at(data, table, "credential")
        if isinstance(name, str):
            found.append(Named(f"{table}.credential", name))
    for place, name in found:
        if re.fullmatch(CREDENTIAL, name) and secret(name) is None:
            yield f"{place}: no systemd credential {name!r} and no environment variable {variable(name)}"
