"""Ingoing nitrite and nitrate against worked examples and limits, with how well each is known."""

from __future__ import annotations

import pytest

from chamberwatch.errors import FactRefused
from chamberwatch.meat.nitrite import (
    COMMERCIAL_NITRATE_PPM,
    COMMERCIAL_NITRITE_PPM,
    NITRITE_ION_SHARE,
    Concern,
    Cure,
    dose,
    grams_for_ppm,
    ingoing_ppm,
)

NO_1, NO_2, WEAK = Cure(6.25), Cure(6.25, 4.0), Cure(0.6)
"""Curing salts of common labels (read on several pages; they differ on the nitrate of the second)."""


@pytest.mark.parametrize(
    ("cure_g", "part_pct", "green_g", "ppm"),
    [
        (2.5, 6.25, 1000.0, 156.25),  # computed
        (3.0, 6.25, 1000.0, 187.5),  # computed
        (10.0, 6.25, 1000.0, 625.0),  # computed
        (19.21, 6.25, 7711.0, 155.7),  # 17 lb, inputs read
        (0.70, 6.25, 454.0, 96.4),  # read: 96 ppm
        (30.0, 5.88 * 2.6 / 27.6, 1000.0, 166.2),  # read: 2.6 g at 5.88 % in 27.6 g of mix, 30 g/kg
        (30.0, 0.6, 1000.0, 180.0),  # read
    ],
)
def test_worked_examples(cure_g, part_pct, green_g, ppm):
    """Parts per million of green weight, within 0.1 %."""
    assert ingoing_ppm(cure_g, part_pct, green_g) == pytest.approx(ppm, rel=1e-3)


@pytest.mark.parametrize(
    ("ounces", "ppm"), [(1.0, COMMERCIAL_NITRITE_PPM), (0.25, 156.25), (3.5, COMMERCIAL_NITRATE_PPM), (2.75, 1718.75)]
)
def test_ounces_to_a_hundred_pounds(ounces, ppm):
    """The inspection directive's limits are ounces to 100 lb (nitrite read second hand, nitrate from memory)."""
    assert ingoing_ppm(ounces * 28.349523, 100.0, 100 * 453.59237) == pytest.approx(ppm, rel=1e-6)


def test_a_usual_dose_with_nitrate():
    """0.25 % of the second kind: 156.25 ppm nitrite, 100 ppm nitrate, 0.224 % plain salt; nothing to object."""
    found = dose(NO_2, 2.5, 1000.0)
    assert found[:3] == pytest.approx((156.25, 100.0, 0.224), abs=5e-4)
    assert found.concerns == ()


def test_nitrite_ion():
    """0.6668 of sodium nitrite: 80 mg of ion are 120 mg (molar masses)."""
    assert abs(NITRITE_ION_SHARE - 0.6668) < 5e-5
    assert abs(80.0 / NITRITE_ION_SHARE - 120.0) < 0.1


def test_curing_salt_taken_for_all_the_salt():
    """2.75 % of a 6.25 % salt: 1719 ppm, told as too much and as perhaps tenfold (computed)."""
    found = dose(NO_1, 27.5, 1000.0)
    assert found.nitrite_ppm == pytest.approx(1719, abs=0.5)
    assert set(found.concerns) == {Concern.TOO_MUCH_NITRITE, Concern.TENFOLD_TOO_MUCH}


def test_weak_salt_dosed_like_a_strong_one():
    """0.25 % of a 0.6 % salt: 15 ppm, no protection; told as too little and as perhaps tenfold (computed)."""
    found = dose(WEAK, 2.5, 1000.0)
    assert found.nitrite_ppm == pytest.approx(15.0)
    assert set(found.concerns) == {Concern.TOO_LITTLE_NITRITE, Concern.TENFOLD_TOO_LITTLE}


@pytest.mark.parametrize(
    ("cure", "grams", "kind", "expected"),
    [
        (NO_1, 3.2, {}, ()),  # 200 ppm exactly: 21 CFR 172.175 (read)
        (NO_1, 3.21, {}, (Concern.TOO_MUCH_NITRITE,)),
        (NO_1, 10.0, {"commercial": True}, ()),  # 625 ppm exactly
        (NO_1, 10.1, {"commercial": True}, (Concern.TOO_MUCH_NITRITE, Concern.TENFOLD_TOO_MUCH)),
        (Cure(0.4, 2.0), 26.0, {}, (Concern.WEAK_NITRITE, Concern.TOO_MUCH_NITRATE)),  # 104, 520 ppm
        (NO_2, 2.5, {"fried": True}, (Concern.NITRATE_IN_BACON,)),
        (NO_1, 4.0, {"fried": True, "commercial": True}, (Concern.TOO_MUCH_NITRITE,)),  # bacon 200 ppm (read)
        (NO_1, 1.0, {}, (Concern.WEAK_NITRITE,)),
        (NO_1, 0.05, {}, (Concern.TOO_LITTLE_NITRITE,)),
    ],
)
def test_limits(cure, grams, kind, expected):
    """At a limit nothing is said, beyond it the concern is; home limits unless commercial ones are asked for."""
    assert dose(cure, grams, 1000.0, **kind).concerns == expected


@pytest.mark.parametrize("ppm", [40.0, 156.25, 200.0])
def test_grams_invert_the_dose(ppm):
    """The grams for a dose bring that dose."""
    assert dose(NO_2, grams_for_ppm(ppm, NO_2, 2150.0), 2150.0).nitrite_ppm == pytest.approx(ppm)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: Cure(99.0), "nearly pure nitrite"),
        (lambda: Cure(0.0), "from above 0 to 10 %"),
        (lambda: Cure(float("nan")), "from above 0 to 10 %"),
        (lambda: Cure(6.25, 50.0), "nitrate on the label is 50 %"),
        (lambda: dose(NO_1, 2.5, 0.0), "must be above 0 g"),
        (lambda: dose(NO_1, 400.0, 1000.0), "must be from 0 to 150 g"),
        (lambda: dose(NO_1, -1.0, 1000.0), "must be from 0"),
        (lambda: ingoing_ppm(1.0, 120.0, 1000.0), "outside 0 to 100 %"),
        (lambda: grams_for_ppm(625.0, NO_1, 1000.0), "outside 0 to 200 ppm"),
        (lambda: grams_for_ppm(150.0, NO_1, float("nan")), "must be above 0 g"),
    ],
)
def test_impossible_cures_are_refused(call, said):
    """With the value, the range and the unit; pure nitrite with a warning."""
    with pytest.raises(FactRefused, match=said):
        call()
