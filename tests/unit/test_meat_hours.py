"""Hourly air: what is taken, how gaps are filled, how steps are cut."""

from __future__ import annotations

import numpy as np
import pytest

from chamberwatch.errors import OutOfRange
from chamberwatch.meat import prior
from chamberwatch.meat.drying import course, masses_kg
from chamberwatch.meat.hours import FINE_HOURS, Air, blocks, checked, filled, planned
from chamberwatch.meat.members import Members
from chamberwatch.meat.piece import piece
from chamberwatch.model import PieceFacts

NAN = float("nan")


def test_gaps_take_the_planned_air_and_say_so():
    """An hour without temperature or humidity is wholly the plan's, and marked."""
    air = filled([12.0, NAN, 13.0], [70.0, 71.0, NAN], planned(4, 12.5, 75.0))
    assert list(air.temp_c) == [12.0, 12.5, 12.5]
    assert list(air.rh_pct) == [70.0, 75.0, 75.0]
    assert list(air.known) == [1.0, 0.0, 0.0]


def test_no_reading_at_all_is_all_plan():
    """A chamber without a probe: nothing known, nothing refused."""
    air = filled([NAN] * 5, [NAN] * 5, planned(5, 12.5, 75.0))
    assert air.known.sum() == 0.0


def test_bone_dry_air_is_held_at_one_per_cent():
    """0 %RH, as a broken probe shows, is taken for 1."""
    assert checked([10.0], [0.0]).rh_pct[0] == 1.0


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: checked([12.0, 12.0], [70.0]), "2 hours of temperature, but 1 of humidity"),
        (lambda: checked([90.0], [70.0]), "outside -30 to 60 °C"),
        (lambda: checked([NAN], [70.0]), "outside -30 to 60 °C"),
        (lambda: checked([12.0], [101.0]), "outside 0 to 100 %RH"),
        (lambda: planned(-1, 12.0, 70.0), "fewer than none"),
        (lambda: filled([12.0], [70.0], planned(0, 12.0, 70.0)), "1 hours of air, but 0 of planned air"),
        (lambda: filled([12.0], [], planned(3, 12.0, 70.0)), "but 0 of humidity"),
    ],
)
def test_impossible_air_is_refused(call, said):
    """With what is wrong and the range."""
    with pytest.raises(OutOfRange, match=said):
        call()


def test_steps_cover_every_hour_once():
    """Single hours for two days, then threes at whole multiples; a rest at the end is a shorter step."""
    cut = list(blocks(planned(56, 12.5, 75.0)))
    assert [b.end_h - b.begin_h for b in cut] == [1] * FINE_HOURS + [3, 3, 2]
    assert [b.begin_h for b in cut[1:]] == [b.end_h for b in cut[:-1]]
    assert cut[-1].length_s == 7200.0


def test_more_hours_at_the_end_leave_whole_steps_alone():
    """What was dried up to a whole step stays as it was when air comes in."""
    long, short = ([b for b in blocks(planned(n, 12.5, 75.0)) if b.end_h <= 51] for n in (60, 53))
    assert long == short


def test_steps_take_the_mean_and_how_much_of_it_is_known():
    """Three hours, one unmeasured: two thirds known."""
    air = planned(51, 12.0, 70.0)
    air.temp_c[48:] = 11.0, 12.0, 16.0
    air.known[49] = 0.0
    last = list(blocks(air))[-1]
    assert (last.temp_c, last.rh_pct, last.known) == pytest.approx((13.0, 70.0, 2 / 3))


@pytest.fixture(scope="module")
def members() -> Members:
    """Six guesses at a tenderloin."""
    facts = PieceFacts("T", "tenderloin", 450.0, diameter_mm=50.0)
    return prior.members(piece(facts), prior.draws(1, 6))


def test_masses_before_between_and_after(members):
    """The mass when hung before the hang, straight between steps, the last one beyond the air."""
    air = planned(60, 12.5, 75.0)
    found = masses_kg(members, air, [-5.0, 0.0, 51.0, 52.5, 54.0, 99.0])
    ends = {m.at_h: m.mass_kg for m in course(members, air)}
    assert np.array_equal(found[0], members.hung_kg)
    assert np.array_equal(found[1], members.hung_kg)
    assert found[3] == pytest.approx((ends[51] + ends[54]) / 2)
    assert np.array_equal(found[5], ends[60])


def test_without_air_nothing_dries(members):
    """No hour, no step: the mass when hung."""
    assert np.array_equal(masses_kg(members, planned(0, 12.5, 75.0), 3.0)[0], members.hung_kg)


def test_impossible_members_are_refused(members):
    """No water, or less than no casing, is nobody's guess."""
    columns = {name: getattr(members, name) for name in Members.__slots__}
    with pytest.raises(OutOfRange, match="water_kg must be above 0"):
        Members(**{**columns, "water_kg": members.water_kg * 0.0})
    with pytest.raises(OutOfRange, match="casing_s_m must not be below 0"):
        Members(**{**columns, "casing_s_m": members.casing_s_m - 1.0})


@pytest.mark.parametrize("call", [lambda: prior.draws(-1), lambda: prior.draws(1, 0)])
def test_impossible_draws_are_refused(call):
    """A seed is 0 or more, draws are one or more."""
    with pytest.raises(OutOfRange, match="draws"):
        call()


def test_draws_of_another_kind_are_refused(members):
    """Axes must be those of the prior, the pace of a chamber within -1 to 1."""
    hung = piece(PieceFacts("T", "tenderloin", 450.0))
    with pytest.raises(OutOfRange, match="axes"):
        prior.members(hung, np.zeros((5, 3)))
    with pytest.raises(OutOfRange, match="pace"):
        prior.members(hung, prior.draws(1, 5), pace=2.0)


def test_a_chambers_pace_moves_diffusivity_alone():
    """Finished pieces that dried faster by a tenth make every member's diffusivity a tenth greater."""
    hung = piece(PieceFacts("T", "tenderloin", 450.0))
    usual, faster = (prior.members(hung, prior.draws(1, 5), pace=pace) for pace in (0.0, 0.1))
    assert faster.d_ref_m2_s == pytest.approx(usual.d_ref_m2_s * np.exp(0.1))
    assert np.array_equal(faster.surface_m_s, usual.surface_m_s)


def test_a_known_hanging_weight_is_shown_by_the_scale():
    """Every member weighs when hung what the scale showed, less how far its tare is off."""
    hung = piece(PieceFacts("T", "tenderloin", 450.0, salt_pct=2.5), hung_g=430.0)
    members = prior.members(hung, prior.draws(1, 50))
    assert members.hung_kg + members.tare_error_kg == pytest.approx(np.full(50, 0.430))


def test_air_after_air():
    """Later air is put behind."""
    joined = planned(2, 12.0, 70.0).then(planned(1, 13.0, 80.0))
    assert isinstance(joined, Air)
    assert list(joined.temp_c) == [12.0, 12.0, 13.0]
