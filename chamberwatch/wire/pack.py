"""A SenML pack taken apart: JSON checked, base fields applied. What it measures is `senml`'s business.

Source: Jennings, Shelby, Arkko, Keranen, Bormann, Sensor Measurement Lists (SenML), RFC 8428 (2018), §4, §5.

Contract: bytes in; records out or one `Unreadable`, whatever the bytes. A fault of the pack (not JSON, a
version or a must-understand field not known, a base field of the wrong type) refuses the whole pack: what
follows a broken base cannot be trusted. A record's own faults are left for its reader to find.
Of a key given twice in one record the last counts, as Python's JSON reads it.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import orjson

from chamberwatch.model import Reason
from chamberwatch.wire.json_text import load_slowly
from chamberwatch.wire.measured import ABSENT, MAX_PAYLOAD_BYTES, Unreadable, is_number, show

VERSION = 10
"""The newest SenML version understood (RFC 8428 §4.1)."""

_LABELS = frozenset(("bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"))
_BASE_LABELS = frozenset(("bn", "bt", "bu", "bv", "bs", "bver"))
_OTHER_VALUES = ("vs", "vb", "vd")


class Record(NamedTuple):
    """One record with its pack's base fields applied.

    What the sender got wrong is kept as sent (a name that is no string, a value that is no number); a time
    that is no number is None. `time_s` is still relative to now when below 2**28.
    """

    name: Any
    unit: Any
    value: Any
    time_s: float | None
    bare_name: Any
    """The name as it stood in the record, without the base name."""


class _Base(NamedTuple):
    name: str = ""
    time_s: float = 0
    unit: str | None = None
    value: float = 0


def parse(payload: bytes) -> list[Any] | None:
    """Return the JSON array of a payload, None when it is blank. A byte order mark is ignored.

    Raises:
        Unreadable: longer than 65,536 bytes, not UTF-8, not JSON, or no array.
    """
    if len(payload) > MAX_PAYLOAD_BYTES:
        raise Unreadable(Reason.TOO_LONG, f"{len(payload)} bytes; at most {MAX_PAYLOAD_BYTES} are taken")
    try:
        pack = orjson.loads(payload)
    except orjson.JSONDecodeError:
        # The quick reader says no to all that is odd; the standard one says what of it can still be read.
        return _slowly(payload)
    if type(pack) is not list:
        raise Unreadable(Reason.NOT_A_PACK, f"a pack is an array [...] of records; this is {show(pack)}")
    return pack


def _slowly(payload: bytes) -> list[Any] | None:
    pack = load_slowly(payload)
    if pack is ABSENT:
        return None
    if type(pack) is not list:
        raise Unreadable(Reason.NOT_A_PACK, f"a pack is an array [...] of records; this is {show(pack)}")
    return pack


def resolve(pack: list[Any]) -> list[Record]:
    """Apply a pack's base fields to its records (RFC 8428 §4.1, §4.5); relative times stay relative.

    Raises:
        Unreadable: a fault of the pack (see the head of this file).
    """
    if not pack:
        raise Unreadable(Reason.NOT_A_PACK, "the array is empty")
    base = _Base()
    records = []
    for fields in pack:
        if type(fields) is not dict:
            raise Unreadable(Reason.NOT_A_PACK, f"a record is an object {{...}}; this one is {show(fields)}")
        if not _LABELS.issuperset(fields):
            _check_unknown(fields)
        if not _BASE_LABELS.isdisjoint(fields):
            base = _rebased(base, fields)
            if _BASE_LABELS.issuperset(fields):
                continue  # it sets the base and measures nothing (as in RFC 8428 §5.1.7)
        bare_name, value = fields.get("n", ""), fields.get("v")
        name = base.name + bare_name if type(bare_name) is str else bare_name
        value = base.value + value if is_number(value) else _other_value(fields)
        time_s: float | None = base.time_s
        if "t" in fields:
            time_s = base.time_s + fields["t"] if is_number(fields["t"]) else None
        records.append(Record(name, fields.get("u", base.unit), value, time_s, bare_name))
    return records


def _other_value(fields: dict[str, Any]) -> Any:
    if fields.get("v") is not None:
        return fields["v"]
    return next((fields[label] for label in _OTHER_VALUES if label in fields), None)


def _check_unknown(fields: dict[str, Any]) -> None:
    for label in fields:
        if label.endswith("_"):
            raise Unreadable(Reason.MUST_UNDERSTAND, f"field {show(label)}")


def _rebased(base: _Base, fields: dict[str, Any]) -> _Base:
    name, unit = fields.get("bn", base.name), fields.get("bu", base.unit)
    time_s, value = fields.get("bt", base.time_s), fields.get("bv", base.value)
    if "bver" in fields:
        _check_version(fields["bver"])
    if type(name) is not str:
        raise Unreadable(Reason.BAD_NAME, f'"bn" must be a string, not {show(name)}')
    if unit is not None and type(unit) is not str:
        raise Unreadable(Reason.WRONG_UNIT, f'"bu" must be a string, not {show(unit)}')
    if not is_number(time_s):
        raise Unreadable(Reason.BAD_TIME, f'"bt" must be a number of seconds, not {show(time_s)}')
    if not is_number(value):
        raise Unreadable(Reason.NOT_A_NUMBER, f'"bv" must be a number, not {show(value)}')
    return _Base(name, time_s, unit, value)


def _check_version(version: Any) -> None:
    if not (is_number(version) and 1 <= version <= VERSION and version == int(version)):
        raise Unreadable(Reason.VERSION, f'"bver" is {show(version)}; understood are 1 to {VERSION}')
