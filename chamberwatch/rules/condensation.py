"""`condensation-risk`: the air's dew point lies above a piece's surface, so water settles on it.

The surface follows the air as a first-order lag of `SURFACE_LAG_MS`; the air's dew point above it for more
than 60 min in a row is told, and returned once it is below by `BACK_C`.

Missing input: no step; a gap is bridged by the time that passed, at most one lag. Source: the dew point
from psychrometrics; the lag of a 2 kg piece's outer layer is an estimate (meat 3.3 kJ/kg K, 10 W/m² K),
ours.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from chamberwatch.errors import OutOfRange
from chamberwatch.model import MS_PER_MIN
from chamberwatch.psychrometrics import dew_point_c
from chamberwatch.rules.minute import Minute

SURFACE_LAG_MS = 90 * MS_PER_MIN
WAIT_MS = 60 * MS_PER_MIN
BACK_C = 0.5
DRY_PCT, DRY_C = 90.0, 1.3
"""Below 90 %RH the dew point is over 1.3 °C under the air (a test checks it): no need to compute it."""


class State(NamedTuple):
    """The surface [°C], the last minute, since when the dew point lies above it, whether the alarm stands."""

    surface_c: float = -999.0
    last_ms: int = 0
    wet_since_ms: int = 0
    active: bool = False


class Found(NamedTuple):
    """An edge with the dew point and the surface [°C]."""

    active: bool
    dew_c: float
    surface_c: float
    since_ms: int


def step(state: State, minute: Minute) -> tuple[State, Found | None]:
    """Follow one minute."""
    if minute.temp_c is None or minute.rh_pct is None:
        return state, None
    surface_c = round(_surface(state, minute.at_ms, minute.temp_c), 4)
    if not state.active and minute.rh_pct < DRY_PCT and minute.temp_c - surface_c < DRY_C:
        return State(surface_c, minute.at_ms), None
    try:
        dew_c = dew_point_c(minute.temp_c, minute.rh_pct)
    except OutOfRange:
        return state, None
    since_ms = (state.wet_since_ms or minute.at_ms) if dew_c > surface_c else 0
    if state.active:
        if dew_c < surface_c - BACK_C:
            return State(surface_c, minute.at_ms), Found(False, dew_c, surface_c, state.wet_since_ms)  # noqa: FBT003
        return State(surface_c, minute.at_ms, state.wet_since_ms, active=True), None
    rises = since_ms > 0 and minute.at_ms - since_ms >= WAIT_MS
    new = State(surface_c, minute.at_ms, since_ms, rises)
    return new, Found(True, dew_c, surface_c, since_ms) if rises else None  # noqa: FBT003


def _surface(state: State, at_ms: int, temp_c: float) -> float:
    if state.last_ms == 0:
        return temp_c
    passed_ms = min(at_ms - state.last_ms, SURFACE_LAG_MS)
    return temp_c + (state.surface_c - temp_c) * math.exp(-passed_ms / SURFACE_LAG_MS)
