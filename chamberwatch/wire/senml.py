"""SenML packs to readings and back: the default payload on the broker, on a serial line and in replay files.

Source: Jennings, Shelby, Arkko, Keranen, Bormann, Sensor Measurement Lists (SenML), RFC 8428 (2018), §4, §5.

Contract: `decode` is total: any bytes give readings and refusals, never an exception; only blank input
gives nothing.
Rules for this file:
- A fault of the pack refuses the whole pack, once (see `pack`). A fault of one record refuses that record
  alone; its neighbours stand.
- Stricter than the RFC: a value must name its unit, and its time must lie within 1978-07-04 and 2200.
  Laxer: a base name without its trailing "/" is taken as the probe.
- Records of other quantities (a battery's voltage) are ignored, if their name is well formed.
"""

from __future__ import annotations

import json
import re
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from chamberwatch.model import Reading, Reason, Refusal
from chamberwatch.wire import usual
from chamberwatch.wire.measured import (
    EARLIEST_MS,
    HUMIDITY,
    LATEST_MS,
    TEMPERATURE,
    Quantity,
    Unit,
    Unreadable,
    is_number,
    show,
    stored,
)
from chamberwatch.wire.pack import Record, parse, resolve

if TYPE_CHECKING:
    from collections.abc import Iterable

MAX_NAME_CHARS = 128
MAX_PROBE_CHARS = 64

RELATIVE_BELOW_S = 2**28
"""Times below this are relative to now, all others are seconds since 1970 (RFC 8428 §4.5.3)."""

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")
_NAME_RULE = "a name has A-Z a-z 0-9 - : . / _ and begins with a letter or digit"

_QUANTITIES = {q.name: q for q in (TEMPERATURE, HUMIDITY)}
_UNITS = {
    "temperature": {"Cel": Unit("Cel"), "K": Unit("K", -273.15)},
    "humidity": {"%RH": Unit("%RH")},
}
_UNIT_HINTS = {
    "%": ", which means a ratio from 0 to 1 in SenML",
    "/": ", which means a ratio from 0 to 1 in SenML",
    "C": ", which means coulomb in SenML",
    "F": ", which means farad in SenML",
}


def decode(payload: bytes, probe: str | None, now_ms: int) -> list[Reading | Refusal]:
    """Return what one SenML pack says: readings first, then refusals, each in the pack's order.

    Args:
        payload: one pack, UTF-8 JSON, at most 65,536 bytes.
        probe: whose topic or port it came from; None where any probe may speak (a replay file).
        now_ms: its arrival [ms UTC], which is also the time of records that carry none.

    Temperature and humidity of one probe and time become one reading, rounded to 0.01. A quantity given twice
    for one time becomes two readings.
    """
    try:
        pack = parse(payload)
        if pack is None:
            return []
        reading = usual.read(pack, probe, now_ms)
        if reading is not None:
            return [reading]
        records = resolve(pack)
    except Unreadable as fault:
        return [Refusal(probe, fault.reason, fault.detail, now_ms)]
    return _read(records, probe, now_ms)


def encode(readings: Iterable[Reading]) -> bytes:
    """Write readings as one pack on one line, without the newline; the inverse of `decode`.

    A reading with `timed` False is written without its time.

    Raises:
        ValueError: no readings, a reading of nothing, a value that is not finite, a name SenML cannot carry,
            a time outside 1978-07-04T21:24:16Z to 2200.
    """
    records: list[dict[str, Any]] = []
    base: dict[str, Any] = {"bt": 0}
    for reading in readings:
        wanted = _base_fields(reading)
        changed = {label: value for label, value in wanted.items() if base.get(label) != value}
        base = wanted
        first, *others = _measured(reading)
        records += [changed | first, *others]
    if not records:
        raise ValueError("no readings to write: a SenML pack holds at least one record")
    return json.dumps(records, separators=(",", ":"), allow_nan=False).encode("ascii")


def _read(records: list[Record], source: str | None, now_ms: int) -> list[Reading | Refusal]:
    rows: list[list[Any]] = []  # in the field order of Reading
    open_rows: dict[tuple[str | None, int, bool], list[Any]] = {}
    refusals: list[Refusal] = []
    for record in records:
        probe = source
        try:
            named, quantity = _named(record)
            if quantity is None:
                continue
            probe = source or named
            if named is None or named != probe:
                _check_speaker(named, source)
            value = _value(record, quantity)
            at_ms = _at_ms(record.time_s, now_ms)
        except Unreadable as fault:
            refusals.append(Refusal(probe, fault.reason, fault.detail, now_ms))
            continue
        key = probe, at_ms, record.time_s != 0
        row = open_rows.get(key)
        if row is None or row[quantity.column] is not None:
            row = open_rows[key] = [probe, at_ms, None, None, now_ms, key[2]]
            rows.append(row)
        row[quantity.column] = value
    if not rows and not refusals:
        names = ", ".join(show(record.name) for record in records[:3]) or "nothing"
        refusals.append(Refusal(source, Reason.NO_QUANTITY, f"it names {names}", now_ms))
    return [*map(Reading._make, rows), *refusals]


def _named(record: Record) -> tuple[str | None, Quantity | None]:
    name = record.name
    if type(name) is not str:
        raise Unreadable(Reason.BAD_NAME, f"a name is a string, not {show(name)}")
    if len(name) > MAX_NAME_CHARS:  # before the cache, which must stay small
        detail = f"name of {len(name)} characters; at most {MAX_NAME_CHARS} are taken: {show(name)}"
        raise Unreadable(Reason.BAD_NAME, detail)
    return _split_name(name, record.bare_name)


@lru_cache(maxsize=1024)
def _split_name(name: str, bare_name: str) -> tuple[str | None, Quantity | None]:
    if not name:
        raise Unreadable(Reason.BAD_NAME, 'the record has no name; write "n":"temperature" or "n":"humidity"')
    if not _NAME.fullmatch(name):
        raise Unreadable(Reason.BAD_NAME, f"{show(name)}; {_NAME_RULE}")
    probe, _, last = name.rpartition("/")
    if last not in _QUANTITIES and bare_name in _QUANTITIES:  # the base name lacks its "/"
        probe, last = name.removesuffix(bare_name).rstrip("-:._"), bare_name
    quantity = _QUANTITIES.get(last)
    if quantity is not None and len(probe) > MAX_PROBE_CHARS:
        detail = f"probe name of {len(probe)} characters; at most {MAX_PROBE_CHARS} are taken: {show(probe)}"
        raise Unreadable(Reason.BAD_NAME, detail)
    return probe or None, quantity


def _check_speaker(named: str | None, source: str | None) -> None:
    if source is None:
        raise Unreadable(Reason.NO_PROBE, 'a base name must say whose it is, like "bn":"rear/"')
    if named is not None:
        raise Unreadable(Reason.WRONG_PROBE, f'it names "{named}", but came where "{source}" speaks')


def _value(record: Record, quantity: Quantity) -> float:
    value, unit = record.value, record.unit
    if value is None:
        raise Unreadable(Reason.NO_VALUE, f'{quantity.name} has no value "v", or it is null')
    if not is_number(value):
        raise Unreadable(Reason.NOT_A_NUMBER, f"{quantity.name} is {show(value)}")
    known = _UNITS[quantity.name].get(unit) if type(unit) is str else None
    if known is None:
        raise Unreadable(Reason.WRONG_UNIT, _unit_detail(unit, quantity))
    return stored(value, known, quantity)


def _unit_detail(unit: Any, quantity: Quantity) -> str:
    got = "no unit" if unit is None else f"unit {show(unit)}"
    hint = _UNIT_HINTS.get(unit, "") if type(unit) is str else ""
    taken = " or ".join(f'"{name}"' for name in _UNITS[quantity.name])
    return f"{got}{hint}; {quantity.name} is taken in {taken}"


def _at_ms(time_s: float | None, now_ms: int) -> int:
    if time_s is None:
        raise Unreadable(Reason.BAD_TIME, '"t" must be a number of seconds')
    if time_s == 0:
        return now_ms
    at_ms = round(time_s * 1000)
    if time_s < RELATIVE_BELOW_S:
        at_ms += now_ms
    if not EARLIEST_MS <= at_ms < LATEST_MS:
        raise Unreadable(Reason.BAD_TIME, f"{time_s:.10g} s; a time lies within 1978-07-04 and 2200")
    return at_ms


def _base_fields(reading: Reading) -> dict[str, Any]:
    if len(reading.probe) > MAX_PROBE_CHARS or not _NAME.fullmatch(reading.probe):
        raise ValueError(f"probe {show(reading.probe)}, 1 to {MAX_PROBE_CHARS} characters: {_NAME_RULE}")
    if not reading.timed:
        return {"bn": reading.probe + "/", "bt": 0}
    if not EARLIEST_MS <= reading.at_ms < LATEST_MS:
        raise ValueError(f"time {reading.at_ms} ms: SenML is written for 1978-07-04T21:24:16Z to 2200")
    whole_s, part_ms = divmod(reading.at_ms, 1000)
    return {"bn": reading.probe + "/", "bt": reading.at_ms / 1000 if part_ms else whole_s}


def _measured(reading: Reading) -> list[dict[str, Any]]:
    taken = (("temperature", "Cel", reading.temp_c), ("humidity", "%RH", reading.rh_pct))
    measured = [{"n": name, "u": unit, "v": value} for name, unit, value in taken if value is not None]
    if not measured:
        raise ValueError(f"probe {reading.probe}: a reading of neither temperature nor humidity")
    return measured
