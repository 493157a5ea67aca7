"""What a message is worded from, and what comes out: plain values, no clock."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, tzinfo
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from chamberwatch.model import ChamberPlan, Hanging


class Message(NamedTuple):
    """`headline` is the lock-screen line; `body` is read with the phone in the hand, one thought a line."""

    headline: str
    body: str

    @property
    def text(self) -> str:
        """The whole of it, as `Event.text` keeps it."""
        return f"{self.headline}\n{self.body}" if self.body else self.headline


@dataclass(frozen=True, slots=True)
class Scene:
    """What stands around an event: the chamber's plan, what hangs there, the neighbours' last words.

    Of an event that concerns no chamber (`kinds.HOUSE_KINDS`) `chamber` may be any; it is not named.
    `other_*` is the newest reading of another working probe of that chamber (None: there is none).
    `last_*` is the newest reading of the probe the event is about, or the last one before a gap.
    `refusals` are the reasons why input was refused, commonest first. `detail` is who acknowledged.
    `rehearsal` marks every message as practice.
    """

    chamber: ChamberPlan
    pieces: tuple[Hanging, ...] = ()
    zone: tzinfo = UTC
    units: str = "metric"
    other_probe: str | None = None
    other_temp_c: float | None = None
    other_rh_pct: float | None = None
    last_temp_c: float | None = None
    last_rh_pct: float | None = None
    last_at_ms: int | None = None
    refusals: tuple[str, ...] = ()
    rehearsal: bool = False
    detail: str = ""
