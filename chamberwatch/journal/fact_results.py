"""What recording a fact gives back, for the wording of the answer."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from chamberwatch.model import Alarm, Kind


class Hung(NamedTuple):
    """A piece began a stay; `again`: it had hung before."""

    piece: str
    chamber: str
    at_ms: int
    until_ms: int | None
    again: bool


class Moved(NamedTuple):
    """A piece went from one chamber to another."""

    piece: str
    from_chamber: str
    chamber: str
    at_ms: int


class TakenDown(NamedTuple):
    """A piece's stay in `chamber`, begun at `from_ms`, ended."""

    piece: str
    chamber: str
    from_ms: int
    at_ms: int


class Started(NamedTuple):
    """A piece began to salt, in a cold chamber or where no probe watches (None)."""

    piece: str
    chamber: str | None
    at_ms: int


class Staged(NamedTuple):
    """A piece came to a stage; `before` is the one it was in, None for its first."""

    piece: str
    stage: str
    at_ms: int
    before: str | None
    chamber: str | None


class Cut(NamedTuple):
    """A piece was cut open and judged: days since it was first hung, loss [%] at its last weigh-in."""

    piece: str
    at_ms: int
    days: int
    loss_pct: float | None
    target_loss_pct: float
    crust_mm: float | None
    centre: str
    salt: str
    verdict: str


class Weighed(NamedTuple):
    """A weigh-in [g, % of green weight]; `lost_g` since the one before at `last_ms`, None for the first."""

    piece: str
    at_ms: int
    mass_g: float
    tare_g: float
    net_g: float
    loss_pct: float
    target_loss_pct: float
    last_ms: int | None
    lost_g: float | None


class Noted(NamedTuple):
    """A remark about a piece or a chamber."""

    about: str
    at_ms: int


class Discarded(NamedTuple):
    """A piece is gone; `chamber`: where it was hanging, None if it was not."""

    piece: str
    at_ms: int
    chamber: str | None


class Tended(NamedTuple):
    """A door session, asked of the watch as `request_id`."""

    request_id: int
    chamber: str
    from_ms: int
    until_ms: int


class Shelved(NamedTuple):
    """Quiet asked of the watch as `request_id`; `kinds`: about what; `until_ms` None: not any more."""

    request_id: int
    chamber: str
    kinds: tuple[Kind, ...]
    until_ms: int | None


class Rested(NamedTuple):
    """A probe's rest, asked of the watch as `request_id`; `until_ms` None: it is over.

    `eyes`: the chamber's other probes.
    """

    request_id: int
    probe: str
    chamber: str
    until_ms: int | None
    eyes: tuple[str, ...]


class Acknowledged(NamedTuple):
    """Someone is on it, asked of the watch as `request_id`; `alarms`: those it is about, as they stand."""

    request_id: int
    alarms: tuple[Alarm, ...]
