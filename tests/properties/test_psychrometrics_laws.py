"""Laws that hold for all moist air a probe can report, whatever the formula."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from chamberwatch.errors import OutOfRange
from chamberwatch.psychrometrics import (
    DEW_POINT_MIN_C,
    TEMP_MAX_C,
    TEMP_MIN_C,
    absolute_humidity_g_m3,
    dew_point_c,
    rh_at_temp_pct,
    sat_vapour_pressure_water_pa,
    vapour_pressure_pa,
)

TEMPS = st.floats(TEMP_MIN_C, TEMP_MAX_C)
HUMIDITIES = st.floats(0.02, 100.0)
BAD_TEMPS = st.one_of(
    st.just(math.nan), st.floats(max_value=TEMP_MIN_C, exclude_max=True), st.floats(min_value=TEMP_MAX_C, exclude_min=True)
)
BAD_HUMIDITIES = st.one_of(
    st.just(math.nan), st.floats(max_value=0.0, exclude_max=True), st.floats(min_value=100.0, exclude_min=True)
)


@given(TEMPS, TEMPS)
def test_warmer_water_has_more_vapour_pressure(one_c: float, other_c: float) -> None:
    """Saturation pressure rises with temperature, over the whole span and without a kink at 0 °C."""
    assume(abs(one_c - other_c) > 1e-9)
    low_c, high_c = sorted((one_c, other_c))
    assert sat_vapour_pressure_water_pa(low_c) < sat_vapour_pressure_water_pa(high_c)


@given(TEMPS, HUMIDITIES)
def test_dew_point_never_lies_above_the_air(temp_c: float, rh_pct: float) -> None:
    """A dew point is at most the temperature, and no lower than the formula reaches."""
    assert DEW_POINT_MIN_C <= dew_point_c(temp_c, rh_pct) <= temp_c


@given(TEMPS)
def test_saturated_air_is_at_its_dew_point(temp_c: float) -> None:
    """At 100 %RH dew point and temperature are one."""
    assert dew_point_c(temp_c, 100.0) == pytest.approx(temp_c, abs=1e-9)


@given(TEMPS, st.floats(1.0, 100.0))
def test_air_cooled_to_its_dew_point_is_saturated(temp_c: float, rh_pct: float) -> None:
    """The dew point is the inverse of the saturation formula."""
    dew_c = dew_point_c(temp_c, rh_pct)
    assume(dew_c >= TEMP_MIN_C)
    assert rh_at_temp_pct(temp_c, rh_pct, dew_c) == pytest.approx(100.0, abs=1e-6)


@given(TEMPS, HUMIDITIES, HUMIDITIES)
def test_damper_air_has_a_higher_dew_point(temp_c: float, one_pct: float, other_pct: float) -> None:
    """Dew point rises with relative humidity."""
    dry_pct, damp_pct = sorted((one_pct, other_pct))
    assume(damp_pct > dry_pct * (1 + 1e-6))
    assert dew_point_c(temp_c, dry_pct) < dew_point_c(temp_c, damp_pct)


@given(TEMPS, TEMPS, st.floats(1.0, 100.0))
def test_warmed_air_is_drier_and_comes_back(temp_c: float, new_c: float, rh_pct: float) -> None:
    """Without water gained or lost, warmer air has the lower relative humidity, and the way back undoes it."""
    there_pct = rh_at_temp_pct(temp_c, rh_pct, new_c)
    assert (there_pct <= rh_pct) == (new_c >= temp_c) or there_pct == pytest.approx(rh_pct)
    assume(there_pct <= 100.0)
    assert rh_at_temp_pct(new_c, there_pct, temp_c) == pytest.approx(rh_pct, rel=1e-9)


@given(TEMPS, HUMIDITIES)
def test_vapour_is_proportional_to_humidity(temp_c: float, rh_pct: float) -> None:
    """Half the humidity is half the pressure and half the mass; none is none."""
    assert 2 * vapour_pressure_pa(temp_c, rh_pct / 2) == pytest.approx(vapour_pressure_pa(temp_c, rh_pct))
    assert 2 * absolute_humidity_g_m3(temp_c, rh_pct / 2) == pytest.approx(absolute_humidity_g_m3(temp_c, rh_pct))
    assert vapour_pressure_pa(temp_c, 0.0) == 0.0


@given(BAD_TEMPS, HUMIDITIES)
def test_impossible_temperatures_are_refused(temp_c: float, rh_pct: float) -> None:
    """Outside -40 to 85 °C, and for NaN, every formula refuses and names the range."""
    for formula in (vapour_pressure_pa, dew_point_c, absolute_humidity_g_m3):
        with pytest.raises(OutOfRange, match="-40 to 85 °C"):
            formula(temp_c, rh_pct)
    with pytest.raises(OutOfRange, match="-40 to 85 °C"):
        sat_vapour_pressure_water_pa(temp_c)
    with pytest.raises(OutOfRange, match="-40 to 85 °C"):
        rh_at_temp_pct(12.0, rh_pct, temp_c)


@given(TEMPS, BAD_HUMIDITIES)
def test_impossible_humidities_are_refused(temp_c: float, rh_pct: float) -> None:
    """Outside 0 to 100 %RH, and for NaN, every formula refuses and names the range."""
    for formula in (vapour_pressure_pa, dew_point_c, absolute_humidity_g_m3):
        with pytest.raises(OutOfRange, match="0 to 100 %RH"):
            formula(temp_c, rh_pct)


def test_air_without_vapour_has_no_dew_point() -> None:
    """At 0 %RH, and where the dew point would lie below -100 °C, it refuses and says why."""
    with pytest.raises(OutOfRange, match="above 0 %RH"):
        dew_point_c(12.0, 0.0)
    with pytest.raises(OutOfRange, match="dew point below -100 °C"):
        dew_point_c(-40.0, 0.01)
    with pytest.raises(OutOfRange, match="dew point below -100 °C"):
        dew_point_c(85.0, 5e-324)
