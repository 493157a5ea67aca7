"""What the engine is fed besides readings and refusals: time, requests, facts, link and board.

Rules for this file: immutable values, each with its time (`at_ms`, ms UTC).
"""

from __future__ import annotations

from typing import NamedTuple

from chamberwatch.model import HangingTime, Kind, Reading, Refusal


class Tick(NamedTuple):
    """Time has passed: deadlines up to `at_ms` (arrival clock) are due."""

    at_ms: int


class Resumed(NamedTuple):
    """The monitor is back; it last wrote at `alive_ms` (None: its first start)."""

    at_ms: int
    alive_ms: int | None


class Acknowledge(NamedTuple):
    """Someone is on it. `kind` None: every open alarm of the chamber; `chamber` None: of the house."""

    at_ms: int
    chamber: str | None
    kind: Kind | None
    by: str


class Hangs(NamedTuple):
    """All stays in a chamber that the planned air of now or later may depend on, as known now."""

    at_ms: int
    chamber: str
    stays: tuple[HangingTime, ...]


class Stepped(NamedTuple):
    """The wall clock was set by `by_ms` (forward above 0)."""

    at_ms: int
    by_ms: int


class DiskFree(NamedTuple):
    """How much of the journal's disk is free [%]."""

    at_ms: int
    free_pct: float


class ChannelState(NamedTuple):
    """How a channel does: `failing_since_ms` None while messages go through."""

    at_ms: int
    channel: str
    failing_since_ms: int | None
    tries: int = 0


class Tend(NamedTuple):
    """A door session: the owner is at the chamber from `at_ms` to `until_ms`."""

    at_ms: int
    chamber: str
    until_ms: int


class Shelve(NamedTuple):
    """Quiet about a chamber's alarms until `until_ms`; up to `at_ms`: not any more.

    `kind` None: about what stands there now; a named kind need not stand yet.
    """

    at_ms: int
    chamber: str
    kind: Kind | None
    until_ms: int
    by: str


class Rest(NamedTuple):
    """A probe is out of service until `until_ms`; up to `at_ms`: it is back. Its readings are still kept."""

    at_ms: int
    probe: str
    until_ms: int
    by: str


class LinkLost(NamedTuple):
    """The connection to the broker is gone."""

    at_ms: int


class LinkBack(NamedTuple):
    """The connection to the broker stands. `kept`: the broker kept our session and what it held for us."""

    at_ms: int
    kept: bool


Input = (
    Reading
    | Refusal
    | Tick
    | Resumed
    | Acknowledge
    | Hangs
    | Tend
    | Shelve
    | Rest
    | Stepped
    | DiskFree
    | ChannelState
    | LinkLost
    | LinkBack
)
