"""Weigh-ins, forecasts: what they say, and what they say when the facts are strange."""

from __future__ import annotations

import math

import numpy as np
import pytest

from chamberwatch.errors import OutOfRange
from chamberwatch.meat import prior
from chamberwatch.meat.drying import course, masses_kg
from chamberwatch.meat.forecast import Ahead, Interval, forecast, interval, resampled, weighted_quantiles
from chamberwatch.meat.hours import planned
from chamberwatch.meat.piece import piece
from chamberwatch.meat.posterior import (
    EFFECTIVE_SHARE,
    WeighedAt,
    effective_number,
    posterior,
)
from chamberwatch.model import PieceFacts

DAY_H, PLAN = 24, Ahead(12.5, 75.0)
NECK = piece(PieceFacts("N", "neck", 2100.0, diameter_mm=108.0, casing="beef-bung", salt_pct=2.75))
AIR = planned(28 * DAY_H, *PLAN[:2])
WEIGHED_H = (0.0, 72.0, 168.0, 336.0, 504.0, 672.0)


def truth(seed: int):
    """One member as if it were the piece: its weigh-ins (± 5 g) and its day of 35 %."""
    rng = np.random.default_rng(seed)
    member = prior.members(NECK, prior.draws(1000 + seed, 1), shells=24)
    masses = masses_kg(member, AIR, WEIGHED_H)[:, 0] + member.tare_error_kg[0]
    weighed = [WeighedAt(h, 1e3 * m + rng.normal(0, 5)) for h, m in zip(WEIGHED_H, masses, strict=True)]
    for moment in course(member, planned(300 * DAY_H, *PLAN[:2])):
        if moment.mass_kg[0] <= 2.1 * 0.65:
            return weighed, moment.at_h / DAY_H
    return weighed, math.inf


def test_half_way_the_date_is_found():
    """Eight pieces of this very model, weighed six times in four weeks, lie where they are said to.

    At least 5 in their middle 80 % (6.4 are expected), no median further than 20 days off, half of the middles
    narrower than 25 days. It says nothing of real meat.
    """
    inside, errors, widths = 0, [], []
    for seed in range(8):
        weighed, day = truth(seed)
        found = forecast(NECK, posterior(NECK, AIR, weighed, seed=1, count=500), AIR, PLAN).ready_days
        inside += found.low - 0.5 <= day <= found.high + 0.5
        errors.append(abs(found.middle - day))
        widths.append(found.high - found.low)
    assert inside >= 5
    assert max(errors) < 20.0
    assert np.median(widths) < 25.0


def test_too_few_fitting_members_are_redrawn():
    """Tight weigh-ins of an unusual piece leave few of the first draws and many of the redrawn."""
    member = prior.members(NECK, np.where(np.arange(len(prior.AXES)) == 0, 1.9, 0.0)[None])
    masses = masses_kg(member, AIR, WEIGHED_H)[:, 0]
    weighed = [WeighedAt(h, 1e3 * m) for h, m in zip(WEIGHED_H, masses, strict=True)]
    found = posterior(NECK, AIR, weighed, seed=3)
    assert found.prior_effective < 1000 * EFFECTIVE_SHARE <= found.effective
    assert found.weights.sum() == pytest.approx(1.0)
    assert found.widened == 1.0


def test_without_weigh_ins_every_member_counts_alike():
    """The prior itself, with its whole width."""
    found = posterior(NECK, AIR, [], seed=3, count=200)
    assert found.effective == found.prior_effective == pytest.approx(200.0)
    assert forecast(NECK, found, AIR, PLAN).ready_days.high > 70.0


@pytest.mark.parametrize(
    "weighed",
    [
        [WeighedAt(168.0, 1800.0), WeighedAt(180.0, 1500.0), WeighedAt(192.0, 1800.0)],
        [WeighedAt(168.0, 1800.0), WeighedAt(336.0, 1950.0)],
        [WeighedAt(168.0, 100.0)],
        [WeighedAt(168.0, 40_000.0)],
    ],
)
def test_weigh_ins_that_contradict_widen_the_answer(weighed):
    """Against one another, a gain, or against all sense: told as widened, with finite dates and a wide middle."""
    found = posterior(NECK, AIR, weighed, seed=3, count=300)
    told = forecast(NECK, found, AIR, PLAN)
    assert found.widened > 1.0
    assert all(math.isfinite(day) for day in told.ready_days)
    assert told.ready_days.high - told.ready_days.low > 5.0


@pytest.mark.parametrize(
    ("weigh_in", "error_g"),
    [(WeighedAt(10.0, math.nan), 5.0), (WeighedAt(10.0, 0.0), 5.0), (WeighedAt(-1.0, 1800.0), 5.0), (WeighedAt(1.0, 1800.0), 0.0)],
)
def test_impossible_weigh_ins_are_refused(weigh_in, error_g):
    """No number, no weight, before the hang, or a scale without error."""
    with pytest.raises(OutOfRange, match=r"above 0 g"):
        posterior(NECK, AIR, [weigh_in], seed=1, count=50, scale_error_g=error_g)


@pytest.mark.parametrize("hours", [0, 365 * DAY_H])
def test_no_air_and_a_year_of_it_get_no_date(hours):
    """A piece hung this very minute, or for a year: said, with the range."""
    with pytest.raises(OutOfRange, match="no date can be told"):
        forecast(NECK, posterior(NECK, AIR, [], seed=1, count=50), planned(hours, *PLAN[:2]), PLAN)


def test_a_target_that_damp_air_never_reaches_is_open():
    """At 92 %RH nobody gets to 35 %: the end is open, the late end a year."""
    found = forecast(NECK, posterior(NECK, AIR, [], seed=1, count=100), AIR, Ahead(12.5, 92.0))
    assert found.open_end
    assert found.ready_days.high == 365.0


def test_a_target_reached_is_told_as_reached():
    """After 200 days nearly every member is past 35 %, on days that lie behind."""
    air = planned(200 * DAY_H, *PLAN[:2])
    found = forecast(NECK, posterior(NECK, AIR, [], seed=1, count=100), air, PLAN)
    assert found.reached > 0.95
    assert found.ready_days.middle < 100.0
    assert not found.open_end


def test_where_it_is_moist():
    """Surface drier than the whole, the whole than the core; at 35 % the whole would be between 0.89 and 0.94."""
    found = forecast(NECK, posterior(NECK, AIR, [], seed=1, count=200), AIR, PLAN)
    assert found.surface_aw.middle < found.mean_aw.middle < found.core_aw.middle
    assert 0.89 < found.ready_mean_aw.low < found.ready_mean_aw.high < 0.95
    assert 18.0 < found.loss_pct.middle < 30.0


def test_a_target_below_the_solids_is_told_in_numbers():
    """A fatty jowl that could never lose 55 % has an open end and a finite activity."""
    jowl = piece(PieceFacts("J", "jowl", 900.0, thickness_mm=35.0, fat="fatty", target_loss_pct=55.0))
    air = planned(100, *PLAN[:2])
    found = forecast(jowl, posterior(jowl, air, [], seed=1, count=60), air, PLAN)
    assert found.open_end
    assert 0.0 < found.ready_mean_aw.low < 1.0


def test_quantiles_of_weights():
    """The least value whose weight and all below it make the share."""
    values, weights = np.array([3.0, 1.0, 2.0]), np.array([0.5, 0.25, 0.25])
    assert weighted_quantiles(values, weights, (0.25, 0.5, 0.51, 1.0)) == [1.0, 2.0, 3.0, 3.0]
    assert interval(values, weights) == Interval(1.0, 2.0, 3.0)


def test_effective_number():
    """Equal weights count all, one weight counts one."""
    assert effective_number(np.full(7, 0.3)) == pytest.approx(7.0)
    assert effective_number(np.array([0.0, 2.0, 0.0])) == 1.0


def test_resampling_follows_the_weights():
    """A member of half the weight is there half the times; less than one member is refused."""
    found = posterior(NECK, planned(3, *PLAN[:2]), [], seed=1, count=4)
    weighty = found._replace(weights=np.array([0.5, 0.25, 0.25, 0.0]))
    picked = resampled(weighty, 8)
    counts = [int((picked.d_ref_m2_s == d).sum()) for d in found.members.d_ref_m2_s]
    assert counts == [4, 2, 2, 0]
    with pytest.raises(OutOfRange, match="fewer than 1"):
        resampled(found, 0)
