"""The humidity planned for a chamber, by the pieces that hang."""

from dataclasses import replace

import pytest
from rule_parts import CELLAR, HUMIDITY, T0

from chamberwatch.model import MS_PER_DAY, MS_PER_H, HangingTime, Phase
from chamberwatch.rules import planned

PHASED = replace(CELLAR, phases=(Phase(3, 80, 90), Phase(14, 78, 85)))


def stay(hung_day=0.0, from_day=None, to_day=None):
    """Return a piece's stay; hung where it is unless said otherwise [days after T0]."""
    begins = hung_day if from_day is None else from_day
    return HangingTime(day(hung_day), day(begins), None if to_day is None else day(to_day))


def day(days):
    """Return a time [ms]."""
    return T0 + round(days * MS_PER_DAY)


def limits(plan, stays, days):
    """Return low and high planned at a time [%RH]."""
    band = planned.humidity_band(plan, stays, day(days))
    assert band.patience == plan.humidity.patience
    return band.low, band.high


def test_without_pieces_the_plain_band_holds():
    """Phases are counted from a piece; an empty chamber has none."""
    assert planned.humidity_band(CELLAR, (), T0) == HUMIDITY
    assert planned.humidity_band(PHASED, (), T0) == HUMIDITY


def test_a_new_wet_piece_may_dampen_the_air_for_three_days():
    """The damp limit is raised for 72 h and falls back on the minute; the dry one stays."""
    new = (HUMIDITY.low, planned.NEW_PIECE_HIGH_PCT)
    last = planned.NEW_PIECE_MS / MS_PER_DAY

    assert limits(CELLAR, [stay()], 0) == new
    assert limits(CELLAR, [stay()], last - 1e-6) == new
    assert limits(CELLAR, [stay()], last) == (HUMIDITY.low, HUMIDITY.high)
    assert planned.NEW_PIECE_MS == 72 * MS_PER_H


def test_phases_follow_the_youngest_piece():
    """Old pieces do not make a new one's air dry."""
    old, new = stay(-40), stay(0)

    assert limits(PHASED, [old], 0) == (70, 80)
    assert limits(PHASED, [old, new], 1) == (80, 92)
    assert limits(PHASED, [old, new], 5) == (78, 85)
    assert limits(PHASED, [old, new], 14) == (70, 80)


def test_a_piece_counts_while_it_hangs_here():
    """Before its stay and after it, it plans nothing."""
    passing = stay(0, 1, 2)

    assert limits(PHASED, [passing], 0.5) == (70, 80)
    assert limits(PHASED, [passing], 1) == (80, 92)
    assert limits(PHASED, [passing], 2) == (70, 80)


def test_a_moved_piece_is_as_old_as_its_hang():
    """Moved in on day 5, it is in its second phase at once, and not new."""
    assert limits(PHASED, [stay(0, 5)], 5) == (78, 85)


def test_a_damper_plan_is_not_lowered_by_a_new_piece():
    """The new piece's limit is a least one."""
    very_damp = replace(CELLAR, phases=(Phase(3, 85, 96),))

    assert limits(very_damp, [stay()], 1) == (85, 96)


@pytest.mark.parametrize("bad", [(0, 80, 90), (3, 90, 80), (3, 80, 80), (3, -1, 80), (3, 80, 101)])
def test_a_phase_that_cannot_be_is_refused(bad):
    """Days above 0, a band within 0 to 100 %RH."""
    with pytest.raises(ValueError, match=r"until_day|humidity"):
        Phase(*bad)
