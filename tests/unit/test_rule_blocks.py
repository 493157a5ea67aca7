"""Five-minute means and the mean of the last full cycle."""

import pytest
from rule_parts import at, fold, same_after_restarts, saw

from chamberwatch.model import MS_PER_MIN
from chamberwatch.rules import blocks

PERIOD_MS = 20 * MS_PER_MIN


def step(state, item, period_ms=PERIOD_MS):
    """One (minute, value)."""
    return blocks.step(state, at(item[0]), item[1], period_ms), None


def filled(values, first=1, period_ms=PERIOD_MS):
    """Return the state after values one minute apart."""
    items = enumerate(values, first)
    return fold(lambda s, i: step(s, i, period_ms), blocks.State(), items)[0]


def test_the_mean_is_over_the_last_full_cycle():
    """A saw-tooth's mean is its middle, wherever in the cycle it is asked for."""
    for end in range(60, 80):
        state = filled([saw(m) for m in range(1, end + 1)])
        assert blocks.mean_of_last(state, at(end), PERIOD_MS) == pytest.approx(12.4, abs=0.02)


def test_too_little_seen_is_no_mean():
    """Less than about 0.8 of the period: None, never a guess."""
    state = filled([12.0] * 11)

    assert blocks.mean_of_last(state, at(11), 60 * MS_PER_MIN) is None
    assert blocks.mean_of_last(blocks.State(), at(11), PERIOD_MS) is None


def test_after_a_gap_old_blocks_are_not_the_last_cycle():
    """What was measured before a gap says nothing about now."""
    state = filled([12.0] * 40)
    state = step(state, (300, 14.0))[0]

    assert blocks.mean_of_last(state, at(300), PERIOD_MS) is None


def test_what_is_kept_is_bounded():
    """Four hours while no cycle is known, then a cycle and two blocks."""
    assert len(filled([12.0] * 2000, period_ms=None).closed) == blocks.KEPT
    assert len(filled([12.0] * 2000).closed) == PERIOD_MS // blocks.BLOCK_MS + 2


def test_restart_in_the_middle_changes_nothing():
    """Through JSON and back, the same blocks."""
    same_after_restarts(step, blocks.State(), [(m, saw(m)) for m in range(1, 150) if m % 11])
