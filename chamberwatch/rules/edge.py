"""What a rule tells the engine: a condition began, ended or is a one-off fact, for one probe."""

from __future__ import annotations

from typing import NamedTuple

from chamberwatch.model import Kind


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
