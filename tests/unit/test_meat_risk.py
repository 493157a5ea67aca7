"""What the air did beyond the planned air: crust, mold, warmth; by a piece in each and its twin."""

from __future__ import annotations

import numpy as np
import pytest

from chamberwatch.errors import OutOfRange
from chamberwatch.meat import prior
from chamberwatch.meat.drying import State, hung
from chamberwatch.meat.hours import Air, filled, planned
from chamberwatch.meat.piece import piece
from chamberwatch.meat.posterior import posterior
from chamberwatch.meat.risk import Departure, crust_mm, departure, toll
from chamberwatch.model import PieceFacts

DAY_H, TEMP_C, RH_PCT = 24, 12.5, 75.0


def spell(first_day: int, days: float, *, temp_c: float = TEMP_C, rh_pct: float = RH_PCT, after: int = 0) -> Air:
    """Planned air but for a spell that begins on a day."""
    air = planned(round((first_day + days + after) * DAY_H), TEMP_C, RH_PCT)
    part = slice(first_day * DAY_H, round((first_day + days) * DAY_H))
    air.temp_c[part], air.rh_pct[part] = temp_c, rh_pct
    return air


def found(air: Air, casing: str = "none", fan: str = "always") -> Departure:
    """Departure of a bare neck from its twin."""
    neck = piece(PieceFacts("N", "neck", 2100.0, diameter_mm=105.0, casing=casing, salt_pct=2.75), fan=fan)
    return departure(posterior(neck, air, [], seed=2, count=100), air, planned(len(air.temp_c), TEMP_C, RH_PCT))


def test_planned_air_is_no_departure():
    """The twin hangs in it: nothing beyond, at any age."""
    for days in (3, 40):
        told = found(planned(days * DAY_H, TEMP_C, RH_PCT))
        assert all(value == 0.0 for part in told[:4] for value in part)
        assert told[4:8] == (0.0, 0.0, 0.0, 0.0)


def test_a_dry_spell_makes_an_old_piece_a_crust():
    """Two days at 55 %RH on day 35: half a millimetre and more for most, and less mold than planned."""
    told = found(spell(35, 2, rh_pct=55.0))
    assert told.crust_mm.middle > 0.5
    assert told.crust_ahead > 0.5
    assert told.mold_days.middle <= 0.0
    assert told.loss_kg.low > 0.0


def test_a_young_piece_bears_the_same_spell():
    """On day 3 its outside is still too wet for a crust."""
    assert found(spell(3, 2, rh_pct=55.0)).crust_mm.middle == 0.0


def test_a_tight_casing_shields_the_meat():
    """The same spell behind a beef bung makes less crust than on bare meat."""
    spelled = spell(35, 2, rh_pct=55.0)
    assert found(spelled, "beef-bung").crust_mm.high < found(spelled).crust_mm.high


def test_a_crust_goes_again():
    """Six days of planned air after the spell the outside is soft again in the middle of the members."""
    assert found(spell(35, 2, rh_pct=55.0, after=6)).crust_mm.middle < 0.1


def test_a_damp_spell_grows_mold():
    """Three days at 95 %RH on day 15 put mold more than a day ahead for most; two at 80 hardly."""
    assert found(spell(15, 3, rh_pct=95.0)).mold_ahead > 0.5
    assert found(spell(15, 2, rh_pct=80.0)).mold_days.middle < 0.2


def test_a_warm_day_counts_twice_over():
    """24 h at 20 °C: about two tenfold multiplications beyond the twin (23 h by hand), 105.6 degree-hours."""
    told = found(spell(3, 1, temp_c=20.0))
    assert 1.5 <= told.bacteria_log10.middle <= 2.2
    assert told.bacteria_ahead == 1.0
    assert told.degree_hours == pytest.approx(24 * (20.0 - 15.6))


def test_cold_air_is_no_bacterial_departure():
    """Two days at 4 °C: less growth than planned."""
    assert found(spell(3, 2, temp_c=4.0)).bacteria_log10.high < 0.0


def test_unmeasured_hours_are_counted_apart():
    """Ten hours nobody measured: said, in no degree-hours, and the departure is no longer certain."""
    plan = planned(60, TEMP_C, RH_PCT)
    temps = plan.temp_c.copy()
    temps[40:50] = np.nan
    told = found(filled(temps, plan.rh_pct, plan))
    assert told.unknown_h == 10
    assert told.degree_hours == 0.0
    assert told.loss_kg.low < told.loss_kg.high


def test_depth_of_crust_between_shells():
    """A profile built by hand: dry to the middle of the third shell from outside, then wet at once."""
    neck = piece(PieceFacts("N", "neck", 2100.0, diameter_mm=105.0, salt_pct=2.75))
    members = prior.members(neck, np.zeros((1, len(prior.AXES))))
    wet = hung(members)
    x = wet.x.copy()
    x[-3:] = 0.1
    dry_mm = crust_mm(members, State(x, np.array([0.1]), wet.temp_c))[0]
    x[-4] = 0.1
    deeper_mm = crust_mm(members, State(x, np.array([0.1]), wet.temp_c))[0]
    assert 0.4 < dry_mm < deeper_mm < 10.0
    assert crust_mm(members, wet)[0] == 0.0


def test_without_air_there_is_no_toll():
    """Nothing was done yet; and a plan must be as long as the air."""
    neck = piece(PieceFacts("N", "neck", 2100.0))
    prior_only = posterior(neck, planned(3, TEMP_C, RH_PCT), [], seed=2, count=10)
    with pytest.raises(OutOfRange, match="no hour of air"):
        toll(prior_only.members, planned(0, TEMP_C, RH_PCT))
    with pytest.raises(OutOfRange, match="3 hours of air, but 2 of planned air"):
        departure(prior_only, planned(3, TEMP_C, RH_PCT), planned(2, TEMP_C, RH_PCT))
