"""Dew on a surface that is colder than the air's dew point."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rule_parts import at, fold, minutes, minutes_after, same_after_restarts

from chamberwatch.errors import OutOfRange
from chamberwatch.model import MS_PER_MIN
from chamberwatch.psychrometrics import dew_point_c
from chamberwatch.rules import condensation

WAIT = condensation.WAIT_MS / MS_PER_MIN
COLD = condensation.State(4.0, at(0))
"""A surface at 4 °C, as a piece from the salting fridge has."""


def told(temps, rhs, state=COLD, first=1):
    """Return (minute, Found) of every edge."""
    return [(minutes_after(m.at_ms), f) for m, f in fold(condensation.step, state, minutes(temps, rhs, first))[1]]


def settling(until, start_c=4.0, air_c=14.0):
    """Return the surface's temperatures by the exact solution of a first-order lag."""
    lag = condensation.SURFACE_LAG_MS / MS_PER_MIN
    return [air_c + (start_c - air_c) * math.exp(-m / lag) for m in range(1, until + 1)]


def test_a_cold_piece_in_warm_damp_air_is_told_after_an_hour():
    """4 °C into 14 °C at 85 %RH (dew point 11.5 °C): wet for two hours, told after one, dated from the first."""
    (minute, found), *_ = told([14.0] * 300, 85.0)

    assert found.active
    assert minute == 1 + WAIT
    assert minutes_after(found.since_ms) == 1
    assert found.dew_c == pytest.approx(dew_point_c(14.0, 85.0))
    assert found.surface_c == pytest.approx(settling(61)[-1], abs=0.01)


def test_returned_when_the_surface_is_clearly_above_the_dew_point():
    """One edge up, one down, by half a degree."""
    up, down = told([14.0] * 600, 85.0)

    assert (up[1].active, down[1].active) == (True, False)
    assert down[1].surface_c - down[1].dew_c == pytest.approx(condensation.BACK_C, abs=0.1)
    assert down[1].since_ms == up[1].since_ms


def test_an_hour_less_a_minute_is_not_told():
    """Dew that dries within the hour does no harm."""
    assert told([14.0] * 60 + [14.0] * 200, [85.0] * 60 + [50.0] * 200) == []


def test_a_break_begins_the_hour_anew():
    """It must be wet in a row."""
    assert told([14.0] * 110, [95.0] * 55 + [40.0] + [95.0] * 54) == []


@pytest.mark.parametrize("rh_pct", [60.0, 85.0, 99.0])
def test_steady_air_never_wets_what_hangs_in_it(rh_pct):
    """Air's dew point is never above its own temperature."""
    assert told([12.5] * 2000, rh_pct, condensation.State()) == []


def test_a_missing_half_is_no_step():
    """Temperature and humidity are needed together."""
    for minute in (minutes([None], 90.0)[0], minutes([14.0], [None])[0]):
        assert condensation.step(COLD, minute) == (COLD, None)


def test_air_that_no_formula_covers_is_no_step():
    """0 %RH has no dew point; nothing is said, nothing raised."""
    assert told([80.0] * 100, 0.0) == []


def test_a_gap_is_bridged_by_at_most_one_lag():
    """One value after a night moves the surface most of the way, not all of it."""
    state, _ = condensation.step(COLD, minutes([14.0], 50.0, 1000)[0])

    assert state.surface_c == pytest.approx(14.0 - 10.0 / math.e, abs=1e-3)


def test_restart_in_the_middle_changes_nothing():
    """Through JSON and back, the same edges."""
    assert same_after_restarts(condensation.step, COLD, minutes([14.0] * 500, 85.0)) == 2


@given(st.floats(-20, 50), st.floats(0.1, condensation.DRY_PCT, exclude_max=True), st.floats(-5, 5))
def test_the_short_way_is_taken_only_where_nothing_can_be_wet(temp_c, rh_pct, colder_c):
    """Air that is passed over unlooked at has its dew point below the surface."""
    try:
        dew_c = dew_point_c(temp_c, rh_pct)
    except OutOfRange:
        return
    if colder_c < condensation.DRY_C:
        assert dew_c <= temp_c - colder_c


@given(st.lists(st.tuples(st.floats(-10, 35), st.floats(1, 100)), min_size=1, max_size=200))
def test_the_surface_stays_between_what_the_air_was(samples):
    """A lag never overshoots."""
    state = condensation.State()
    for minute in minutes([t for t, _ in samples], [h for _, h in samples]):
        state, _ = condensation.step(state, minute)
        assert min(t for t, _ in samples) - 0.001 <= state.surface_c <= max(t for t, _ in samples) + 0.001
