"""How one probe speaks: its format, and where in a line or message its values stand.

Contract: `Speech.decode` is total like `senml.decode`: any bytes give readings and refusals, never an
exception; only blank input gives nothing.
Rules for this file:
- One line or message is one reading, of the probe whose port or topic it came from.
- A quantity that is not there is no fault (a probe may send its two in two messages); neither is one.
- A faulty quantity is refused alone. A faulty time refuses the whole: when it was cannot be told.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import islice
from typing import Any, NamedTuple

from chamberwatch.model import Reading, Reason, Refusal
from chamberwatch.wire import csv_columns, json_document, key_value, pointer, senml
from chamberwatch.wire.measured import (
    ABSENT,
    HUMIDITY,
    HUMIDITY_UNITS,
    TEMPERATURE,
    TEMPERATURE_UNITS,
    Unreadable,
    read_time,
    read_value,
    show,
)

Place = str | int
"""Where a value stands: a JSON pointer, a key, or a column's number from 1."""

LONGEST_PLACE = 200
_NAMES_SHOWN = 4


class Format(StrEnum):
    """How a probe writes; the value is what stands in the settings."""

    SENML = "senml"
    JSON = "json"
    KEY_VALUE = "key-value"
    CSV = "csv"


PLACES = {
    Format.JSON: "a JSON pointer like /temperature or /air/t",
    Format.KEY_VALUE: "a key's name like t, without blanks , ; & and =",
    Format.CSV: f"a column's number, 1 to {csv_columns.MOST_COLUMNS}",
}
"""What says where a value stands, by format."""


@dataclass(frozen=True, slots=True)
class Speech:
    """How one probe speaks. What a format does not use keeps its default.

    Args:
        format: how it writes; SenML names its own quantities, units and times.
        temperature: where that stands; None: it sends none.
        humidity: where that stands; None: it sends none.
        time: where that stands, RFC 3339 or Unix seconds or ms; None: stamped on arrival.
        temperature_unit: "C" or "F".
        humidity_unit: "%RH" (0..100) or "fraction" (0..1).
        separator: what parts CSV columns, one of `, ; | tab blank`.

    Raises:
        ValueError: a place or unit that the format does not have, or no place at all.
    """

    format: Format = Format.SENML
    temperature: Place | None = None
    humidity: Place | None = None
    time: Place | None = None
    temperature_unit: str = "C"
    humidity_unit: str = "%RH"
    separator: str = ","

    def __post_init__(self) -> None:
        places = [p for p in (self.temperature, self.humidity, self.time) if p is not None]
        for place in places:
            if fault := place_fault(self.format, place):
                raise ValueError(f"{place!r}: {fault}")
        if self.format is not Format.SENML and self.temperature is None and self.humidity is None:
            raise ValueError(f"format {self.format}: where do temperature and humidity stand?")
        if self.temperature_unit not in TEMPERATURE_UNITS or self.humidity_unit not in HUMIDITY_UNITS:
            raise ValueError(f"unit {self.temperature_unit!r} or {self.humidity_unit!r} is not known")
        if self.separator not in csv_columns.SEPARATORS:
            raise ValueError(f"separator {self.separator!r} is not known")

    def decode(self, payload: bytes, probe: str | None, now_ms: int) -> list[Reading | Refusal]:
        """Return what one line or message says: its reading first, then what of it is refused.

        Args:
            payload: at most 65,536 bytes of UTF-8.
            probe: whose topic or port it came from; None (anyone) only with SenML, which names it.
            now_ms: its arrival [ms UTC], which is also its time if it carries none.
        """
        if self.format is Format.SENML:
            return senml.decode(payload, probe, now_ms)
        if probe is None:
            return [Refusal(None, Reason.NO_PROBE, f"format {self.format} names no probe", now_ms)]
        try:
            said = self._said(payload)
            at_ms = now_ms if said is None or self.time is None else read_time(said.time)
        except Unreadable as fault:
            return [Refusal(probe, fault.reason, fault.detail, now_ms)]
        return [] if said is None else self._reading(said, Reading(probe, at_ms, None, None, now_ms))

    def _reading(self, said: _Said, stamp: Reading) -> list[Reading | Refusal]:
        refusals: list[Reading | Refusal] = []
        values: list[float | None] = []
        for raw, unit, quantity in (
            (said.temperature, TEMPERATURE_UNITS[self.temperature_unit], TEMPERATURE),
            (said.humidity, HUMIDITY_UNITS[self.humidity_unit], HUMIDITY),
        ):
            value = None
            try:
                value = None if raw is ABSENT else read_value(raw, unit, quantity)
            except Unreadable as fault:
                refusals.append(Refusal(stamp.probe, fault.reason, fault.detail, stamp.arrived_ms))
            values.append(value)
        temp_c, rh_pct = values
        if temp_c is None and rh_pct is None:
            return refusals
        timed = self.time is not None
        return [stamp._replace(temp_c=temp_c, rh_pct=rh_pct, timed=timed), *refusals]

    def _said(self, payload: bytes) -> _Said | None:
        reader = reader_of(self.format, self.separator)
        held = reader.parse(payload)
        if held is ABSENT:
            return None
        places = self.temperature, self.humidity, self.time
        said = _Said(*(ABSENT if place is None else reader.at(held, place) for place in places))
        if said.temperature is ABSENT and said.humidity is ABSENT:
            wanted = " and no ".join(show(p) for p in places[:2] if p is not None)
            holds = ", ".join(show(place) for place, _ in islice(reader.leaves(held), _NAMES_SHOWN))
            raise Unreadable(Reason.NO_QUANTITY, f"no {wanted}; it has {holds or 'nothing to read'}")
        return said


class _Said(NamedTuple):
    """What stands at the places, as sent."""

    temperature: Any
    humidity: Any
    time: Any


class Reader(NamedTuple):
    """One format's way through a payload."""

    parse: Callable[[bytes], Any]
    at: Callable[[Any, Any], Any]
    leaves: Callable[[Any], Iterable[tuple[Place, Any]]]


def reader_of(form: Format, separator: str = ",") -> Reader:
    """Return the reader of a format that is not SenML."""
    if form is not Format.CSV:
        return _READERS[form]

    def at(cells: list[str], column: int) -> str:
        return csv_columns.at(cells, column, separator)

    def leaves(cells: list[str]) -> Iterator[tuple[int, str]]:
        return csv_columns.leaves(cells, separator)

    return Reader(lambda payload: csv_columns.parse(payload, separator), at, leaves)


_READERS = {
    Format.JSON: Reader(json_document.parse, json_document.at, json_document.leaves),
    Format.KEY_VALUE: Reader(key_value.parse, key_value.at, key_value.leaves),
}


def place_fault(form: Format, place: Place) -> str:
    """Return why `place` is none in that format, "" if it is one."""
    if form is Format.SENML:
        return "SenML names its own quantities: nothing says where they stand"
    takes = f"format {form} takes {PLACES[form]}"
    if form is Format.CSV:
        whole = type(place) is int and 1 <= place <= csv_columns.MOST_COLUMNS
        return "" if whole else takes
    if not isinstance(place, str) or len(place) > LONGEST_PLACE:
        return takes
    if form is Format.KEY_VALUE:
        return "" if key_value.KEY.fullmatch(place) else takes
    try:
        pointer.parse(place)
    except ValueError as why:
        return str(why)
    return ""
