"""What every format shares: what a probe can say, and how a value and a time it said are checked.

Rules for this file: a value comes out in °C or %RH on the 0.01 grid, within what a probe can measure, or it
is `Unreadable` with a reason; nothing is clipped, nothing is guessed.
"""

from __future__ import annotations

import json
import re
from enum import Enum
from typing import Any, Final, NamedTuple, TypeGuard

from chamberwatch.model import (
    MS_PER_S,
    PROBE_RH_MAX_PCT,
    PROBE_RH_MIN_PCT,
    PROBE_TEMP_MAX_C,
    PROBE_TEMP_MIN_C,
    Reason,
)
from chamberwatch.wire.timestamp import parse_rfc3339

MAX_PAYLOAD_BYTES = 65_536

EARLIEST_MS = 2**28 * MS_PER_S
"""1978-07-04T21:24:16Z, the earliest time SenML can write down; taken in every format."""

LATEST_MS = 7_258_118_400_000
"""2200-01-01T00:00:00Z; a later time is a probe's fault, not a date."""

_DECIMALS = 2
_HUGE = 1e300
_SHOWN_CHARS = 40
_LONGEST_NUMBER = 64
_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(\S*)", re.ASCII)
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+\D*", re.ASCII)
_SIGNS = {"C": "C", "°C": "C", "F": "F", "°F": "F", "%": "%RH", "%RH": "%RH", "%rh": "%RH"}
"""Unit signs that may stand behind a number in text, and the unit each of them is."""


class Absent(Enum):
    """The type of `ABSENT`: there is nothing at that place, which is not the same as an empty value."""

    ABSENT = "absent"


ABSENT: Final = Absent.ABSENT


class Unreadable(ValueError):  # noqa: N818  it is a finding about input, and reads as one where it is raised
    """Input that cannot be read: `reason`, and a `detail` for people."""

    def __init__(self, reason: Reason, detail: str) -> None:
        super().__init__(f"{reason}: {detail}")
        self.reason = reason
        self.detail = detail


class Unit(NamedTuple):
    """A unit values may come in: `(value + added) * factor` is the quantity's own unit."""

    name: str
    added: float = 0.0
    factor: float = 1.0


class Quantity(NamedTuple):
    """What a probe measures, and between which values it can."""

    name: str
    column: int
    """Its place in a `Reading`."""
    unit: str
    low: float
    high: float


TEMPERATURE = Quantity("temperature", 2, "°C", PROBE_TEMP_MIN_C, PROBE_TEMP_MAX_C)
HUMIDITY = Quantity("humidity", 3, "%RH", PROBE_RH_MIN_PCT, PROBE_RH_MAX_PCT)

TEMPERATURE_UNITS = {"C": Unit("C"), "F": Unit("F", -32.0, 5 / 9)}
HUMIDITY_UNITS = {"%RH": Unit("%RH"), "fraction": Unit("as a fraction", 0.0, 100.0)}
"""By the names they have in the settings."""


def stored(value: float, unit: Unit, quantity: Quantity) -> float:
    """Return a value in the quantity's unit, rounded to 0.01.

    Raises:
        Unreadable: no probe measures that.
    """
    converted = round((value + unit.added) * unit.factor, _DECIMALS)
    if not quantity.low <= converted <= quantity.high:
        span = f"{quantity.low:g} to {quantity.high:g} {quantity.unit}"
        raise Unreadable(Reason.OUT_OF_RANGE, f"{value:g} {unit.name}; a probe measures {span}")
    return converted + 0.0  # no negative zero


def read_value(said: Any, unit: Unit, quantity: Quantity) -> float:
    """Return what was said as a number, or as text like `12.4` or `12.4 °C`, in the quantity's unit.

    Raises:
        Unreadable: empty or null, no number, another unit's sign behind it, or nothing a probe measures.
    """
    if said is None or (isinstance(said, str) and not said.strip()):
        raise Unreadable(Reason.NO_VALUE, f"{quantity.name} is empty")
    value: Any = said
    if isinstance(said, str):
        found = number_in(said)
        if found is None:
            hint = "; decimals take a point, not a comma" if _DECIMAL_COMMA.fullmatch(said.strip()) else ""
            raise Unreadable(Reason.NOT_A_NUMBER, f"{quantity.name} is {show(said)}{hint}")
        if found.sign and found.sign != unit.name:
            raise Unreadable(Reason.WRONG_UNIT, f"{quantity.name} is {show(said)}, planned is {unit.name}")
        value = found.number
    if not is_number(value):
        raise Unreadable(Reason.NOT_A_NUMBER, f"{quantity.name} is {show(said)}")
    return stored(value, unit, quantity)


def read_time(said: Any) -> int:
    """Return the time that was said [ms UTC]: RFC 3339 text, or a number of seconds or ms since 1970.

    Between 1978-07-04 and 2200 no number of seconds is one of milliseconds as well, so nothing is guessed.

    Raises:
        Unreadable: none of these, or outside that span.
    """
    if said is ABSENT or said is None or (isinstance(said, str) and not said.strip()):
        raise Unreadable(Reason.BAD_TIME, "there is none, and the settings say where it stands")
    number = said
    if isinstance(said, str):
        found = number_in(said)
        if found is None or found.sign:
            return _dated(said.strip())
        number = found.number
    if not is_number(number):
        raise Unreadable(Reason.BAD_TIME, f"{show(said)} is no time")
    for factor in (MS_PER_S, 1):
        at_ms = round(number * factor)
        if EARLIEST_MS <= at_ms < LATEST_MS:
            return at_ms
    raise Unreadable(Reason.BAD_TIME, f"{show(said)}; seconds or ms since 1970, between 1978-07-04 and 2200")


class InText(NamedTuple):
    """A number found in text, and the unit whose sign stands behind it ("" if none does)."""

    number: float
    sign: str


def number_in(text: str) -> InText | None:
    """Return the number that a text is, like `12.4` or `12.4 °C`; None if it is anything else or more."""
    found = _NUMBER.fullmatch(text.strip()) if len(text) <= _LONGEST_NUMBER else None
    if found is None or (found[2] and found[2] not in _SIGNS):
        return None
    return InText(float(found[1]), _SIGNS.get(found[2], ""))


def is_number(value: Any) -> TypeGuard[float]:
    """Whether it is a JSON number that arithmetic can take: no bool, NaN, infinity, integer of 400 digits."""
    return (type(value) is float or type(value) is int) and -_HUGE <= value <= _HUGE


def show(value: Any) -> str:
    """Quote what was sent: short enough for a line, and never a character that cannot be printed."""
    if isinstance(value, list):
        return "an array"
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, str):
        return json.dumps(value if len(value) <= _SHOWN_CHARS else value[:_SHOWN_CHARS] + "...")
    return json.dumps(value)[:_SHOWN_CHARS]


def text_of(payload: bytes) -> str:
    """Return a payload as text; a byte order mark is ignored.

    Raises:
        Unreadable: longer than 65,536 bytes, or not UTF-8.
    """
    if len(payload) > MAX_PAYLOAD_BYTES:
        raise Unreadable(Reason.TOO_LONG, f"{len(payload)} bytes; at most {MAX_PAYLOAD_BYTES} are taken")
    try:
        return payload.decode().removeprefix("\ufeff")
    except UnicodeDecodeError as why:
        detail = f"byte {payload[why.start]:#04x} at position {why.start + 1} of {len(payload)}"
        raise Unreadable(Reason.NOT_TEXT, detail) from why


def _dated(text: str) -> int:
    try:
        at_ms = parse_rfc3339(text)
    except ValueError as why:
        raise Unreadable(Reason.BAD_TIME, str(why)) from why
    if not EARLIEST_MS <= at_ms < LATEST_MS:
        raise Unreadable(Reason.BAD_TIME, f"{show(text)}; a time lies within 1978-07-04 and 2200")
    return at_ms
