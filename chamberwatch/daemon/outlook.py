"""When a piece is ready and where it stands, as of a time: the figures of `forecast`, from journal to date.

Everything here is an estimate, and none of it says that food is safe.
"""

from __future__ import annotations

import zlib
from typing import TYPE_CHECKING, Any, NamedTuple

from chamberwatch.daemon.course import Course, course
from chamberwatch.daemon.learning import Learnt, learnt
from chamberwatch.meat.forecast import LONGEST_DAYS, Ahead, Forecast, Interval, forecast
from chamberwatch.meat.posterior import Posterior, posterior
from chamberwatch.model import MS_PER_DAY
from chamberwatch.wire.timestamp import format_rfc3339

if TYPE_CHECKING:
    from collections.abc import Callable

    from chamberwatch.journal.pieces import Piece as Recorded
    from chamberwatch.journal.reader import Reader

H_PER_DAY = 24


class Outlook(NamedTuple):
    """A piece's forecast; `ready_ms`: the middle 80 % and the median of when it reaches its target."""

    name: str
    as_of_ms: int
    course: Course
    posterior: Posterior
    forecast: Forecast
    ready_ms: Interval
    learnt: Learnt | None = None
    """What finished pieces of its kind moved, None if there are none."""

    def document(self) -> dict[str, Any]:
        """Return `forecast --json`: names and shapes are a contract; %, RFC 3339 UTC, water activity 0..1."""
        told = self.forecast
        return {
            "piece": self.name,
            "as_of": format_rfc3339(self.as_of_ms),
            "target_loss_pct": self.course.piece.target_loss_pct,
            "loss_pct": round(told.loss_pct.middle, 2),
            "loss_low_pct": round(told.loss_pct.low, 2),
            "loss_high_pct": round(told.loss_pct.high, 2),
            "ready": format_rfc3339(round(self.ready_ms.middle)),
            "ready_low": format_rfc3339(round(self.ready_ms.low)),
            "ready_high": format_rfc3339(round(self.ready_ms.high)),
            "open_end": told.open_end,
            "surface_aw": round(told.surface_aw.middle, 3),
            "core_aw": round(told.core_aw.middle, 3),
            "mean_aw": round(told.mean_aw.middle, 3),
        }


def outlook(
    reader: Reader,
    recorded: Recorded,
    as_of_ms: int,
    when: Callable[[int], str],
    change: Callable[[Ahead], Ahead] = lambda ahead: ahead,
) -> Outlook:
    """Return the forecast of a piece as of a time [ms UTC].

    `when` writes a time for a person; `change` says how the air to come differs from what is expected.

    Raises:
        FactRefused: the piece cannot be given a date; the text says why.
    """
    known = course(reader, recorded, as_of_ms, when)
    taught = learnt(reader.pieces(), recorded, as_of_ms)
    pace, seed = (taught.pace if taught is not None else 0.0), zlib.crc32(recorded.name.encode())
    left = posterior(known.piece, known.air, known.weighed, seed=seed, pace=pace)
    return outlook_of(recorded, known._replace(ahead=change(known.ahead)), left)._replace(learnt=taught)


def outlook_of(recorded: Recorded, known: Course, left: Posterior) -> Outlook:
    """Return the forecast for a course whose members are already weighed."""
    told = forecast(known.piece, left, known.air, known.ahead)
    latest_ms = recorded.hung_ms + LONGEST_DAYS * MS_PER_DAY
    days = Interval(*(min(known.clock.at_ms(day * H_PER_DAY), latest_ms) for day in told.ready_days))
    return Outlook(recorded.name, known.clock.until_ms, known, left, told, days)
