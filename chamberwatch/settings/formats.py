"""The keys that say how a probe writes: its format, and where its values stand.

Which of them belong together depends on the format; that is looked at on the file as it was written
(`speech_faults`), so that a fault elsewhere hides none of these.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import Field, PlainValidator

from chamberwatch.settings.table import Table
from chamberwatch.wire.csv_columns import SEPARATORS
from chamberwatch.wire.speech import PLACES, Format, Speech, place_fault

PLACE_KEYS = ("temperature", "humidity", "time")
UNIT_OF = {"temperature_unit": "temperature", "humidity_unit": "humidity"}
_ANY_PLACE = "; ".join(f'with format "{form}" {words}' for form, words in PLACES.items())
_FORMATS = tuple(str(form) for form in Format)


def _a_place(value: Any) -> str | int:
    if isinstance(value, str) or type(value) is int:
        return value
    raise ValueError(_ANY_PLACE)


Place = Annotated[str | int, PlainValidator(_a_place)]


class SpeechTable(Table):
    """How a probe writes, on a port as on a topic."""

    format: Literal["senml", "json", "key-value", "csv"] = "senml"
    temperature: Place | None = None
    humidity: Place | None = None
    time: Place | None = None
    temperature_unit: Literal["C", "F"] | None = None
    humidity_unit: Literal["%RH", "fraction"] | None = None
    separator: Annotated[
        str, Field(pattern=r"^[,;|\t ]$", description=r'one of "," ";" "|" " " (blanks) "\t" (a tab)')
    ] | None = None  # fmt: skip


def speech_of(table: SpeechTable) -> Speech:
    """Return how that table's probe speaks."""
    return Speech(
        Format(table.format),
        table.temperature,
        table.humidity,
        table.time,
        table.temperature_unit or "C",
        table.humidity_unit or "%RH",
        table.separator or ",",
    )


def speech_faults(table: dict[str, Any], place: str) -> Iterator[str]:
    """Yield what does not fit together in one probe's port or topic; `place` says which that is."""
    named = table.get("format", "senml")
    if named not in _FORMATS:
        return  # told already
    form = Format(named)
    given = {key: table[key] for key in PLACE_KEYS if isinstance(table.get(key), str | int)}
    if form is Format.SENML:
        yield from _needless(table, place)
        return
    if not any(table.get(key) is not None for key in PLACE_KEYS[:2]):
        yield f"{place}: format {named!r} needs temperature or humidity or both: {PLACES[form]} each"
    for key, value in given.items():
        if not isinstance(value, bool) and (fault := place_fault(form, value)):
            yield f"{place}.{key}: {value!r} will not do: {fault}"
    yield from _one_place_twice(given, place)
    for key, quantity in UNIT_OF.items():
        if table.get(key) is not None and table.get(quantity) is None:
            yield f"{place}.{key}: means nothing without {quantity}"
    if form is not Format.CSV and table.get("separator") is not None:
        yield f"{place}.separator: means nothing with format {named!r}; only csv has columns to part"


def _one_place_twice(given: dict[str, Any], place: str) -> Iterator[str]:
    for value, n in Counter(given.values()).items():
        if n > 1:
            keys = " and ".join(key for key in given if given[key] == value)
            yield f"{place}: {keys} cannot both stand at {value!r}"


def _needless(table: dict[str, Any], place: str) -> Iterator[str]:
    for key in (*PLACE_KEYS, *UNIT_OF, "separator"):
        if table.get(key) is not None:
            yield (
                f"{place}.{key}: means nothing with format 'senml', which names its own values and units; "
                "for json, key-value or csv say so: format = …"
            )


def table_lines(table: SpeechTable, speech: Speech) -> list[str]:
    """Return the `key = value` lines of that port or topic, read in another way."""
    own = type(table).model_fields.keys() - SpeechTable.model_fields.keys()
    kept = [key for key in type(table).model_fields if key in own & table.model_fields_set]
    return [f"{key} = {_toml(getattr(table, key))}" for key in kept] + settings_lines(speech)


def settings_lines(speech: Speech) -> list[str]:
    """Return the `key = value` lines that make a probe be read so."""
    lines = [f'format = "{speech.format}"']
    for key in PLACE_KEYS:
        place = getattr(speech, key)
        if place is not None:
            lines.append(f"{key} = {_toml(place)}")
    if speech.temperature is not None and speech.temperature_unit != "C":
        lines.append(f'temperature_unit = "{speech.temperature_unit}"')
    if speech.humidity is not None and speech.humidity_unit != "%RH":
        lines.append(f'humidity_unit = "{speech.humidity_unit}"')
    if speech.format is Format.CSV:
        lines.append(f"separator = {_toml(speech.separator)}   # {SEPARATORS[speech.separator]}")
    return lines


def _toml(value: str | int) -> str:
    """Return a TOML value; in a string what cannot be printed, and quotes, are escaped."""
    if not isinstance(value, str):
        return str(value).lower()
    escaped = (c if c.isprintable() and c not in '"\\' else _escaped(c) for c in value)
    return '"' + "".join(escaped) + '"'


def _escaped(char: str) -> str:
    if char in '"\\':
        return "\\" + char
    return f"\\U{ord(char):08x}" if char != "\t" else "\\t"
