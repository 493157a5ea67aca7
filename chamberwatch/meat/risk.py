"""What the air did to a piece, against its twin: the same members hung in the planned air.

Rules for this file: departures only, never a fixed number (in a good chamber the surface of every piece gets
dry in time); each departure is an estimate with a middle 80 %; nothing here is ever a statement that meat is
safe.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.errors import OutOfRange
from chamberwatch.meat.brine import activity_and_slope
from chamberwatch.meat.drying import State, body, course, frame_of
from chamberwatch.meat.forecast import Interval, interval, resampled
from chamberwatch.meat.growth import (
    P_EXPANSUM,
    S_AUREUS,
    degree_hours,
    growth_bound_log10,
    growth_rate,
)

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from chamberwatch.meat.hours import Air
    from chamberwatch.meat.members import Members
    from chamberwatch.meat.posterior import Posterior

    Floats = npt.NDArray[np.float64]

CRUST_X, CRUST_AW = 0.6, 0.75
"""[kg water/kg dry solids, 1] Drier and less active than both, meat is crust: hardness of ham rises steeply
below 0.6 and 0.7 (read, a thesis on the texture of ham); 0.75 is where its salt crystallises."""
CRUST_AHEAD_MM, MOLD_AHEAD_DAYS, BACTERIA_AHEAD_LOG10 = 0.5, 1.0, 1.0
"""From these departures on the owner is told; our own choice."""
MOLD_DAY_TEMP_C, MOLD_DAY_AW = 12.5, 0.95
"""A day of mold growth is one at such a surface: what a well-hung piece has in its first days."""
RISK_MEMBERS = 100
H_PER_DAY = 24.0


class Toll(NamedTuple):
    """What a course of air has done to each member so far."""

    crust_mm: Floats
    mold_days: Floats
    bacteria_log10: Floats
    mass_kg: Floats


class Departure(NamedTuple):
    """What the air did beyond what the planned air would have done: an estimate, middle 80 % of the members.

    `ahead` are the shares of members at or beyond the limits above. Degree-hours are of the chamber's
    measured air, above 15.6 °C; `unknown_h` are hours nobody measured, which the degree-hours leave out.
    """

    crust_mm: Interval
    mold_days: Interval
    bacteria_log10: Interval
    loss_kg: Interval
    crust_ahead: float
    mold_ahead: float
    bacteria_ahead: float
    degree_hours: float
    unknown_h: int


def crust_mm(members: Members, state: State) -> Floats:
    """Depth of meat that is crust: drier than 0.6 kg/kg and less active than 0.75.

    Equation: the length below both limits on a line from the surface through the shells' middles, straight
    between.
    Args: members and their state.   Returns: [mm] for each member, 0 and up.
    Source: see CRUST_X.   Error: below a tenth of the outermost shell; what it does to a bite is not known.
    """
    import numpy as np

    fixed = body(members)
    now = frame_of(members, fixed, state.x)
    x = np.vstack([state.surface_x[None], state.x[::-1]])
    middles = (now.outer_m[-1] - (now.outer_m - now.half_depth_m))[::-1]
    depth_mm = 1e3 * np.vstack([np.zeros_like(state.surface_x)[None], middles])
    activity, _ = activity_and_slope(x, fixed.lean_per_solids, fixed.salt_per_solids)
    below = np.minimum((CRUST_X - x) / CRUST_X, (CRUST_AW - activity) / CRUST_AW)
    near, far = below[:-1], below[1:]
    apart = np.maximum(np.abs(near - far), 1e-12)
    partly = np.clip(np.maximum(near, far) / apart, 0.0, 1.0)
    share = np.where((near > 0) & (far > 0), 1.0, partly)
    result: Floats = (share * np.diff(depth_mm, axis=0)).sum(axis=0)
    return result


def toll(members: Members, air: Air) -> Toll:
    """Return what air from the hang on has done to each member.

    Mold grows at the casing's outer side, as `growth.P_EXPANSUM` would; bacteria in the core, as
    `growth.S_AUREUS` would without lag or competitors: a bound, not a count.
    Equation: mold: Σ γ(T, coat) / γ(12.5 °C, 0.95) Δt;  bacteria: Σ μ(T, core) / ln 10 Δt.
    Valid: air of at least one hour -> else raises OutOfRange.
    """
    import numpy as np

    if not len(air.temp_c):
        raise OutOfRange("no hour of air: nothing was done to the piece")
    fixed = body(members)
    mold, bacteria = np.zeros(len(members)), np.zeros(len(members))
    day = float(growth_rate(P_EXPANSUM, MOLD_DAY_TEMP_C, MOLD_DAY_AW))
    moment = None
    for moment in course(members, air):
        core, _ = activity_and_slope(moment.state.x[0], fixed.lean_per_solids, fixed.salt_per_solids)
        mold += growth_rate(P_EXPANSUM, moment.state.temp_c, moment.coat_aw) / day * moment.step_h / H_PER_DAY
        bacteria += growth_bound_log10(S_AUREUS, moment.state.temp_c, core) * moment.step_h
    if moment is None:
        raise OutOfRange("no hour of air: nothing was done to the piece")
    return Toll(crust_mm(members, moment.state), mold, bacteria, moment.mass_kg)


def departure(posterior: Posterior, air: Air, plan: Air) -> Departure:
    """Return what the air did to a piece beyond what the planned air would have done.

    Args: air from the hang to now; plan: the planned air of the same hours at least.
    Valid: those, at least one hour -> else raises OutOfRange.   Error: see `drying` and `growth`: an
    estimate.
    """
    import numpy as np

    hours = len(air.temp_c)
    if len(plan.temp_c) < hours:
        raise OutOfRange(f"{hours} hours of air, but {len(plan.temp_c)} of planned air")
    members = resampled(posterior, RISK_MEMBERS)
    here = toll(members, air)
    twin = toll(members, type(air)(*(column[:hours] for column in plan)))
    even = np.full(len(members), 1.0 / len(members))
    crust, mold = here.crust_mm - twin.crust_mm, here.mold_days - twin.mold_days
    bacteria = here.bacteria_log10 - twin.bacteria_log10
    seen = air.known > 0
    return Departure(
        interval(crust, even),
        interval(mold, even),
        interval(bacteria, even),
        interval(twin.mass_kg - here.mass_kg, even),
        float(np.mean(crust >= CRUST_AHEAD_MM)),
        float(np.mean(mold >= MOLD_AHEAD_DAYS)),
        float(np.mean(bacteria >= BACTERIA_AHEAD_LOG10)),
        degree_hours(air.temp_c[seen], np.ones(int(seen.sum()))),
        int((~seen).sum()),
    )
