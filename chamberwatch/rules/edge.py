"""What a rule tells the engine: a condition began, ended or is a one-off fact, for one probe."""

from __future__ import annotations

import hashlib
from typing import NamedTuple

from chamberwatch.model import Kind


def event_id(kind: Kind, chamber: str, probe: str, at_ms: int, what: str) -> str:
    """Return the id that this happening has however often it is derived: 16 hex digits."""
    text = "\x1f".join((kind, chamber, probe, str(at_ms), what))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


class Edge(NamedTuple):
    """A condition's edge. `value`, `limit` and `worst` carry the kind's unit (see `catalogue`)."""

    kind: Kind
    probe: str
    active: bool
    at_ms: int
    since_ms: int
    value: float | None = None
    limit: float | None = None
    worst: float | None = None
    meets_ms: int | None = None
    """A drift: when its line meets the limit."""
    detail: str = ""
    """Which of a kind's tests, where it has two; which half of a probe."""
