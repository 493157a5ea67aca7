"""Reading a TOML table with care: each key once, each fault told with its place and what is taken."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, TypeVar

from chamberwatch.model import MS_PER_DAY, MS_PER_H, MS_PER_MIN

if TYPE_CHECKING:
    from collections.abc import Iterable

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_WHEN = re.compile(r"(Mon|Tue|Wed|Thu|Fri|Sat|Sun) ([01]\d|2[0-3]):([0-5]\d)")

T = TypeVar("T")


class Misunderstood(ValueError):  # noqa: N818  it says what is the matter
    """What a person wrote cannot be used; the text says what and what is taken."""


class Table:
    """A TOML table that knows its place, hands each key out once, and objects to what is left over."""

    def __init__(self, values: dict[str, Any], place: str, start_ms: int = 0) -> None:
        self._values = dict(values)
        self._place = place
        self.start_ms = start_ms

    def take(self, key: str, kind: type[T], default: T | None = None) -> T:
        """Return a key's value of that kind; Misunderstood with its place if it is another, or missing."""
        value = self._values.pop(key, default)
        if value is None:
            raise Misunderstood(f"{self._at(key)} is missing")
        if kind is float and isinstance(value, int) and not isinstance(value, bool):
            value = float(value)
        if not isinstance(value, kind) or (kind is int and isinstance(value, bool)):
            raise Misunderstood(f"{self._at(key)} = {value!r} should be {_KINDS[kind]}")
        return value

    def when(self, key: str, default_ms: int | None = None) -> int:
        """Return a key's moment [ms UTC]; see `moment_ms`."""
        value = self._values.pop(key, default_ms)
        if value is None:
            raise Misunderstood(f"{self._at(key)} is missing")
        try:
            return moment_ms(value, self.start_ms)
        except Misunderstood as fault:
            raise Misunderstood(f"{self._at(key)} {fault}") from fault

    def tables(self, key: str) -> list[Table]:
        """Return a key's list of tables, empty if it is missing."""
        rows = self.take(key, list, [])
        if not all(isinstance(row, dict) for row in rows):
            raise Misunderstood(f"{self._at(key)} should be a list of tables")
        return [Table(row, f"{self._at(key)} {n}: ", self.start_ms) for n, row in enumerate(rows, 1)]

    def table(self, key: str) -> Table:
        """Return a key's table, empty if it is missing."""
        return Table(self.take(key, dict, {}), f"{self._at(key)}: ", self.start_ms)

    def rest(self, kind: type[T]) -> dict[str, T]:
        """Return all keys not taken yet, each of one kind."""
        return {key: self.take(key, kind) for key in list(self._values)}

    def done(self) -> None:
        """Object to keys that nobody took."""
        if self._values:
            raise Misunderstood(f"{self._at(min(self._values))} is not a key that is known here")

    def _at(self, key: str) -> str:
        return f"{self._place}{key}"


_KINDS: dict[type, str] = {
    str: "text",
    int: "a whole number",
    float: "a number",
    list: "a list",
    dict: "a table",
    bool: "true or false",
}


def moment_ms(value: object, start_ms: int) -> int:
    """Return a moment [ms UTC]; "Sat 23:40" is the first at or after `start_ms`."""
    if isinstance(value, int) and not isinstance(value, bool):
        return value
    if isinstance(value, datetime):
        if value.tzinfo is None:
            raise Misunderstood(f"= {value} needs an offset, such as {value}Z")
        return round(value.timestamp() * 1000)
    match = _WHEN.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        raise Misunderstood(f'= {value!r} should be like "Sat 23:40" or 2026-11-07T23:40:00Z')
    start = datetime.fromtimestamp(start_ms / 1000, UTC)
    ahead = (DAYS.index(match[1]) - start.weekday()) % 7
    midnight = start.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=ahead)
    at_ms = round(midnight.timestamp() * 1000) + int(match[2]) * MS_PER_H + int(match[3]) * MS_PER_MIN
    return at_ms if at_ms >= start_ms else at_ms + 7 * MS_PER_DAY


def day_and_time(at_ms: int) -> str:
    """Return a moment in the story's words: "Sat 23:40"."""
    at = datetime.fromtimestamp(at_ms / 1000, UTC)
    return f"{DAYS[at.weekday()]} {at:%H:%M}"


def one_of(value: str, known: Iterable[object], what: str) -> str:
    """Return `value` if it is one of the known; Misunderstood with the list of them if not."""
    names = [str(k) for k in known]
    if value not in names:
        raise Misunderstood(f"{what} {value!r} is not one of {', '.join(names)}")
    return value
