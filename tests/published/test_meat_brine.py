"""Water activity of brine and meat against others' tables.

How well each is known stands beside it. Where a table was remembered and not read, that is said.
"""

from __future__ import annotations

import numpy as np
import pytest
from meat_parts import REFERENCE_KG, reference

from chamberwatch.errors import OutOfRange
from chamberwatch.meat.brine import (
    SATURATED_MOL_KG,
    activity_and_slope,
    brine_water_activity,
    meat_water_activity,
    molality_at,
    osmotic_coefficient,
    saturated_brine_rh_pct,
    solids_water_activity,
)

# Robinson and Stokes, Electrolyte Solutions, 25 °C: molality, osmotic coefficient, water activity. From memory, but
# for φ(1 mol/kg) 0.936, read in a process simulator's handbook, and φ(6 mol/kg) 1.271, read in an instrument manual.
ROBINSON_STOKES = [
    (0.1, 0.9324, 0.9966),
    (0.5, 0.9209, 0.9836),
    (1.0, 0.9355, 0.9669),
    (2.0, 0.9833, 0.9316),
    (3.0, 1.0453, 0.8932),
    (4.0, 1.1158, 0.8515),
    (5.0, 1.1916, 0.8068),
    (6.0, 1.2706, 0.7598),
]
# A common table of salt in % by mass of the brine; from memory.
MASS_PER_CENT = [
    (0.88, 0.995), (1.74, 0.99), (3.43, 0.98), (6.57, 0.96), (9.38, 0.94), (11.90, 0.92), (14.18, 0.90),
    (16.28, 0.88), (18.18, 0.86),
]  # fmt: skip


@pytest.mark.parametrize(("molal", "phi", "activity"), ROBINSON_STOKES)
def test_osmotic_coefficients_of_robinson_and_stokes(molal, phi, activity):
    """Within 0.003, the distance of Pitzer's equation from the table at 6 mol/kg."""
    assert osmotic_coefficient(molal) == pytest.approx(phi, abs=0.003)


@pytest.mark.parametrize(("molal", "phi", "activity"), ROBINSON_STOKES)
def test_water_activity_of_brine(molal, phi, activity):
    """Within 0.001 of Robinson and Stokes."""
    assert brine_water_activity(molal) == pytest.approx(activity, abs=0.001)


@pytest.mark.parametrize(("per_cent", "activity"), MASS_PER_CENT)
def test_water_activity_by_mass_per_cent(per_cent, activity):
    """Within 0.001 of the table in % by mass."""
    molal = per_cent / (100.0 - per_cent) / 0.058443
    assert brine_water_activity(molal) == pytest.approx(activity, abs=0.001)


def test_what_the_instrument_manual_quotes():
    """6.0 mol/kg: osmotic coefficient 1.271 and water activity 0.760 (read; it quotes Robinson and Stokes 1965)."""
    assert osmotic_coefficient(6.0) == pytest.approx(1.271, abs=0.003)
    assert brine_water_activity(6.0) == pytest.approx(0.760, abs=0.001)


@pytest.mark.parametrize(("temp_c", "greenspan_pct"), [(10, 75.67), (15, 75.61), (20, 75.47), (25, 75.29)])
def test_air_over_saturated_brine(temp_c, greenspan_pct):
    """Within 0.2 %RH of Greenspan 1977 (title read, values from memory): the salt test of a probe."""
    assert saturated_brine_rh_pct(temp_c) == pytest.approx(greenspan_pct, abs=0.2)


def test_saturated_brine_agrees_with_the_air_over_it():
    """0.7524 of the solution's equation and 75.25 %RH of the CRC Handbook (read) at 25 °C, within 0.001."""
    assert brine_water_activity(SATURATED_MOL_KG) == pytest.approx(saturated_brine_rh_pct(25.0) / 100.0, abs=0.001)


def test_salt_crystallises_and_pins_the_activity():
    """More salt than dissolves changes nothing: white bloom, not drier brine."""
    assert brine_water_activity(9.0) == brine_water_activity(SATURATED_MOL_KG)


def test_an_ideal_solution_would_be_far_too_wet_at_a_dry_surface():
    """At 6 mol/kg Raoult's law is 0.06 too high (computed): brine here is no ideal solution."""
    assert 55.51 / (55.51 + 2 * 6.0) - brine_water_activity(6.0) == pytest.approx(0.062, abs=0.003)


@pytest.mark.parametrize(("water_per_solids", "activity"), [(3.0, 0.990), (0.35, 0.90)])
def test_meat_without_salt_at_its_two_anchors(water_per_solids, activity):
    """Fresh lean pork and the desorption of beef and pork, both from memory; the curve was drawn through them."""
    assert solids_water_activity(water_per_solids) == pytest.approx(activity, abs=0.001)


def test_coppa_of_the_rule_book():
    """Water 44, salt 4.5: 1.75 mol/kg and brine of 0.941 (rule of a protected coppa read, arithmetic ours)."""
    molal = 4.5 / 58.443 / 44e-3
    assert molal == pytest.approx(1.75, abs=0.005)
    assert brine_water_activity(molal) == pytest.approx(0.941, abs=0.001)


@pytest.mark.parametrize(
    ("water_pct", "fat_pct", "salt_pct", "row"),
    [
        (63.0, 17.5, 2.00, (0.954, 0.947, 0.936, 0.921, 0.896)),
        (63.0, 17.5, 2.75, (0.942, 0.933, 0.919, 0.899, 0.866)),
        (63.0, 17.5, 3.50, (0.930, 0.918, 0.901, 0.876, 0.832)),
        (72.0, 6.0, 2.75, (0.952, 0.946, 0.938, 0.927, 0.912)),
    ],
)
def test_evened_out_activity_by_loss(water_pct, fat_pct, salt_pct, row):
    """A separate calculation at 25 to 45 % of raw weight and salt, within 0.002.

    A weight target is no activity target: 35 % leaves a neck at 0.92, far above the 0.88 of the Food Code's table B (read in state codes) and just at the
    0.92 of 9 CFR 319.106 (read); a lean loin is above both.
    """
    members = reference(water=water_pct / 100, fat=fat_pct / 100, salt=salt_pct / 100)
    found = [members.equalised_water_activity(loss, members.hung_kg)[0] for loss in (25, 30, 35, 40, 45)]
    assert found == pytest.approx(row, abs=0.002)
    assert found[2] > 0.88


def test_the_derivative_is_that_of_the_activity():
    """Against central differences, on both sides of saturation."""
    water, step = np.array([0.05, 0.1, 0.4, 1.5, 3.0]), 1e-6
    _, slope = activity_and_slope(water, 0.5, 0.07)
    ends = [activity_and_slope(water + by, 0.5, 0.07)[0] for by in (step, -step)]
    assert slope == pytest.approx((ends[0] - ends[1]) / (2 * step), rel=1e-6)


def test_brine_inverts():
    """The molality of an activity has that activity."""
    assert brine_water_activity(molality_at(0.9)) == pytest.approx(0.9, abs=1e-9)


@pytest.mark.parametrize(
    ("call", "value"),
    [
        (osmotic_coefficient, 6.2),
        (osmotic_coefficient, float("nan")),
        (brine_water_activity, -0.1),
        (molality_at, 0.7),
        (saturated_brine_rh_pct, 5.0),
        (solids_water_activity, 0.0),
        (lambda water: meat_water_activity(water, 0.2, 0.03), 0.0),
    ],
)
def test_what_no_equation_covers_is_refused(call, value):
    """Outside its range a formula says so, with the value and the range."""
    with pytest.raises(OutOfRange, match="outside"):
        call(value)


def test_the_reference_piece_starts_where_its_source_says():
    """Raw neck with 2.75 % salt: 0.966 (the reference run's own start)."""
    members = reference()
    assert members.equalised_water_activity(0.0, members.hung_kg)[0] == pytest.approx(0.966, abs=0.001)
    assert members.hung_kg[0] == pytest.approx(REFERENCE_KG * 1.0275)
