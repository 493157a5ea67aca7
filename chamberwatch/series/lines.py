r"""Rows of the journal as line protocol, one text line each (pure).

Rules for this file: every number is a float (a field that is once an integer, once a float is a type conflict
at the server); a time is whole milliseconds; a line without a field does not exist; what the protocol cannot
carry is cleaned here and nowhere else.

    air,chamber=cellar,probe=rear dew_point_c=7.71,rh_pct=75,temp_c=12 1793404800000
    event,chamber=cellar,id=…,kind=humidity-low,piece=Loin\ 1,priority=medium,state=active limit=70,… 1793…

Written here and not by the client library's `Point`: that drops a non-finite number in silence, makes an
empty line of a point without fields, and lengthens a tag that ends in a backslash. Source of the syntax: the
line protocol reference of InfluxDB, v2; the tests compare with it and with the library.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Protocol

from chamberwatch.errors import OutOfRange
from chamberwatch.model import MS_PER_S, EventState
from chamberwatch.psychrometrics import dew_point_c

_ESCAPES = str.maketrans({",": r"\,", "=": r"\=", " ": r"\ "})
_CONTROL = re.compile(r"[\x00-\x1f\x7f\x85\u2028\u2029]+")
_END = re.compile(r"[\\\s]+$")


class RowLike(Protocol):
    """A reading as the journal's tail gives it out: °C and %RH, one of them may be None."""

    @property
    def at_ms(self) -> int:
        """Its time."""
        ...

    @property
    def probe(self) -> str:
        """Its probe."""
        ...

    @property
    def chamber(self) -> str:
        """The probe's chamber."""
        ...

    @property
    def temp_c(self) -> float | None:
        """Air temperature."""
        ...

    @property
    def rh_pct(self) -> float | None:
        """Relative humidity."""
        ...


class EventLike(Protocol):
    """An event as the journal's tail gives it out, with the names of the pieces that hung there."""

    @property
    def id(self) -> str:
        """Its id."""
        ...

    @property
    def at_ms(self) -> int:
        """Its time."""
        ...

    @property
    def since_ms(self) -> int:
        """When its condition began."""
        ...

    @property
    def kind(self) -> str:
        """Its kind."""
        ...

    @property
    def state(self) -> str:
        """Its state."""
        ...

    @property
    def priority(self) -> str:
        """Its priority."""
        ...

    @property
    def chamber(self) -> str:
        """Its chamber."""
        ...

    @property
    def value(self) -> float | None:
        """The value that raised it, in the kind's unit."""
        ...

    @property
    def limit(self) -> float | None:
        """The limit it broke, in the kind's unit."""
        ...

    @property
    def pieces(self) -> Sequence[str]:
        """Names of the pieces that were hanging there at its time."""
        ...


def clean_tag(text: str) -> str:
    """Return a tag value the protocol can carry: line breaks become a space, a backslash at the end goes."""
    return _END.sub("", _CONTROL.sub(" ", text)).lstrip()


def escape(text: str) -> str:
    """Escape a tag key, tag value or field key."""
    return text.translate(_ESCAPES)


def line(
    measurement: str, tags: Mapping[str, str], fields: Mapping[str, float | None], at_ms: int
) -> str | None:
    """Return one line, tags and fields by name; None when no field is a finite number.

    `measurement` and the keys are ours and need no escaping. A tag that is empty once cleaned is left out.
    """
    finite = {key: value for key, value in fields.items() if value is not None and math.isfinite(value)}
    numbers = [f"{key}={_number(value)}" for key, value in sorted(finite.items())]
    if not numbers:
        return None
    cleaned = [(key, clean_tag(value)) for key, value in sorted(tags.items())]
    head = ",".join([measurement, *(f"{key}={escape(value)}" for key, value in cleaned if value)])
    return f"{head} {','.join(numbers)} {at_ms}"


def _number(value: float) -> str:
    return repr(float(value)).removesuffix(".0")


def air_lines(rows: Iterable[RowLike]) -> list[str]:
    """Return the lines of the readings: one each."""
    made = (
        line(
            "air",
            {"chamber": row.chamber, "probe": row.probe},
            {"temp_c": row.temp_c, "rh_pct": row.rh_pct, "dew_point_c": _dew_point_c(row)},
            row.at_ms,
        )
        for row in rows
    )
    return [text for text in made if text is not None]


def event_lines(events: Iterable[EventLike]) -> list[str]:
    """Return the lines of the events: one a piece that hung there, one without a piece if none did.

    `since_s` is how long the condition had lasted at the event [s]; `open` is 1 for active, 0 for returned,
    absent otherwise.
    """
    return [text for ev in events for piece in (ev.pieces or [""]) for text in _event_line(ev, piece)]


def _event_line(event: EventLike, piece: str) -> list[str]:
    tags = {
        "chamber": event.chamber,
        "id": event.id,
        "kind": event.kind,
        "piece": piece,
        "priority": event.priority,
        "state": event.state,
    }
    fields = {
        "value": event.value,
        "limit": event.limit,
        "since_s": (event.at_ms - event.since_ms) / MS_PER_S,
        "open": {EventState.ACTIVE.value: 1.0, EventState.RETURNED.value: 0.0}.get(event.state),
    }
    text = line("event", tags, fields, event.at_ms)
    return [] if text is None else [text]


def _dew_point_c(row: RowLike) -> float | None:
    if row.temp_c is None or row.rh_pct is None:
        return None
    try:
        return round(dew_point_c(row.temp_c, row.rh_pct), 2)
    except OutOfRange:
        return None
