"""When a piece is ready, how far it is, and how moist it is where: quantiles over weighted members."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.errors import OutOfRange
from chamberwatch.meat.brine import activity_and_slope
from chamberwatch.meat.drying import Moment, body, course
from chamberwatch.meat.hours import Air, planned

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    import numpy.typing as npt

    from chamberwatch.meat.drying import State
    from chamberwatch.meat.members import Members
    from chamberwatch.meat.piece import Piece
    from chamberwatch.meat.posterior import Posterior

    Floats = npt.NDArray[np.float64]

LONGEST_DAYS = 365
"""A date beyond a year after the hang is no date."""
FORECAST_MEMBERS = 200
H_PER_DAY = 24
LOW, MIDDLE, HIGH = 0.1, 0.5, 0.9


class Interval(NamedTuple):
    """Median and the ends of the middle 80 %."""

    low: float
    middle: float
    high: float


class Ahead(NamedTuple):
    """The air to come: its mean [°C, %RH], and how far it is as good as measured (1) or only supposed (0).

    Supposed air is off by each member's own guess at air nobody measured (`prior.GAP_RH_PCT`, `GAP_TEMP_C`).
    """

    temp_c: float
    rh_pct: float
    known: float = 1.0

    def hours(self, count: int) -> Air:
        """Return so many hours of it.

        Valid: -30..60 °C, 1..100 %RH, known 0..1 -> else raises OutOfRange.
        """
        import numpy as np

        if not 0.0 <= self.known <= 1.0:
            raise OutOfRange(f"air known to {self.known:g} is outside 0 to 1")
        return planned(count, self.temp_c, self.rh_pct)._replace(known=np.full(count, self.known))


class Forecast(NamedTuple):
    """An estimate of one piece; days since the hang, parts of green weight, water activities.

    `open_end` says that more than one member in ten had not reached the target a year after the hang, or
    never would: `ready_days.high` is then 365 and means "or later, or never". `reached` is the share of
    members already at the target. All of it is an estimate: no water activity was measured.
    """

    ready_days: Interval
    open_end: bool
    reached: float
    loss_pct: Interval
    surface_aw: Interval
    core_aw: Interval
    mean_aw: Interval
    ready_mean_aw: Interval


def weighted_quantiles(values: Floats, weights: Floats, shares: Sequence[float]) -> list[float]:
    """Quantiles of weighted values: the least value that at least such a share of weight does not exceed."""
    import numpy as np

    order = np.argsort(values, kind="stable")
    heaped = np.cumsum(weights[order])
    places = np.searchsorted(heaped, np.asarray(shares) * heaped[-1] * (1.0 - 1e-12))
    return [float(values[order][min(place, len(values) - 1)]) for place in places]


def interval(values: Floats, weights: Floats) -> Interval:
    """Return median and middle 80 % of weighted values."""
    return Interval(*weighted_quantiles(values, weights, (LOW, MIDDLE, HIGH)))


def resampled(posterior: Posterior, count: int = FORECAST_MEMBERS) -> Members:
    """Return evenly weighted members in place of weighted ones: each as often as its weight says."""
    import numpy as np

    if count < 1:
        raise OutOfRange(f"{count} members are fewer than 1")
    heaped = np.cumsum(posterior.weights)
    rungs = (np.arange(count) + 0.5) / count * heaped[-1]
    return posterior.members.picked(np.searchsorted(heaped, rungs))


def forecast(piece: Piece, posterior: Posterior, air: Air, ahead: Ahead) -> Forecast:
    """Return when the piece is ready, and where it stands at the end of the air.

    Args: air by the hour from the hang to now; ahead: the air from now on.
    Valid: air of at least an hour and less than 365 days, `ahead` as it says -> else raises OutOfRange.
    Error: see `posterior`.
    """
    import numpy as np

    hours = len(air.temp_c)
    if not 1 <= hours < LONGEST_DAYS * H_PER_DAY:
        raise OutOfRange(f"{hours} hours of air are outside 1 h to {LONGEST_DAYS} days: no date can be told")
    members = resampled(posterior)
    until = air.then(ahead.hours(LONGEST_DAYS * H_PER_DAY - hours))
    target_kg = piece.green_weight_g / 1e3 * (1.0 - piece.target_loss_pct / 100.0)
    ready = np.full(len(members), math.inf)
    before, now = members.hung_kg, None
    for moment in course(members, until):
        _note_ready(ready, before, moment, target_kg)
        before = moment.mass_kg
        now = moment if now is None or moment.at_h <= hours else now
        if moment.at_h >= hours and np.all(np.isfinite(ready)):
            break
    return _told(piece, members, ready, now, hours)


def _note_ready(ready: Floats, before: Floats, moment: Moment, target_kg: float) -> None:
    """Write down the day on which members crossed the target in this step."""
    import numpy as np

    crossed = np.isinf(ready) & (moment.mass_kg <= target_kg)
    if crossed.any():
        gone = np.maximum(before - moment.mass_kg, 1e-12)[crossed]
        share = np.clip((before[crossed] - target_kg) / gone, 0.0, 1.0)
        ready[crossed] = (moment.at_h - (1.0 - share) * moment.step_h) / H_PER_DAY


def _told(piece: Piece, members: Members, ready: Floats, now: Moment | None, hours: int) -> Forecast:
    import numpy as np

    even = np.full(len(members), 1.0 / len(members))
    if now is None:
        raise OutOfRange("no hour of air: nothing dried")
    green_kg = piece.green_weight_g / 1e3
    surface, core, mean = activities(members, now.state)
    when = interval(np.minimum(ready, LONGEST_DAYS), even)
    return Forecast(
        when,
        bool(np.mean(ready > LONGEST_DAYS) > 1.0 - HIGH),
        float(np.mean(ready <= hours / H_PER_DAY)),
        interval(100.0 * (1.0 - now.mass_kg / green_kg), even),
        interval(surface, even),
        interval(core, even),
        interval(mean, even),
        interval(_activity_at(members, green_kg * (1.0 - piece.target_loss_pct / 100.0)), even),
    )


def activities(members: Members, state: State) -> tuple[Floats, Floats, Floats]:
    """Water activity of surface, core and the whole evened out; see `brine.meat_water_activity`."""
    fixed = body(members)
    mean_x = (members.shares()[:, None] * state.x).sum(axis=0)
    surface, core, mean = (
        activity_and_slope(x, fixed.lean_per_solids, fixed.salt_per_solids)[0]
        for x in (state.surface_x, state.x[0], mean_x)
    )
    return surface, core, mean


def _activity_at(members: Members, mass_kg: float) -> Floats:
    """Mean water activity of members once they weigh so much; of the driest meat where they never could."""
    import numpy as np

    water = np.maximum(mass_kg - members.solids_kg, 0.05 * members.lean_kg)
    return activity_and_slope(water, members.lean_kg, members.salt_kg)[0]
