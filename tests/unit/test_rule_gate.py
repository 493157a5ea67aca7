"""Jumps no air can make wait for the next reading."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chamberwatch.rules import gate

P = gate.Params(10.0, 90_000)


def run(values, every_ms=10_000):
    """Return all samples passed on and how many glitches were dropped."""
    state, out, glitches = gate.State(), [], 0
    for i, value in enumerate(values):
        state, passed = gate.step(P, state, (i + 1) * every_ms, value)
        out += [v for _, v in passed.samples]
        glitches += passed.glitch
    return out, glitches


def test_a_lone_spike_is_dropped():
    """99 °C between two of 12 never reaches a rule, and counts as bad input."""
    assert run([12.0, 12.1, 99.0, 12.1]) == ([12.0, 12.1, 12.1], 1)


def test_a_real_jump_is_passed_whole_once_confirmed():
    """Both readings of a confirmed jump arrive, in order."""
    assert run([12.0, 30.0, 30.2, 30.1]) == ([12.0, 30.0, 30.2, 30.1], 0)


def test_two_different_spikes_are_both_dropped():
    """A spike does not confirm another one elsewhere."""
    assert run([12.0, 99.0, -40.0, 12.0]) == ([12.0, 12.0], 2)


def test_after_a_gap_nothing_is_compared():
    """Hours later any value may be true."""
    assert run([12.0, 30.0], every_ms=3_600_000) == ([12.0, 30.0], 0)


def test_the_published_hampel_vector():
    """The spikes 99.9 and -127.0 go; the 12.3 that a plain Hampel filter wrongly drops stays.

    Vector computed with the Hampel rule (k = 3, t0 = 3; pracma's manual cites Pearson 1999).
    """
    values = [12.1, 12.2, 12.1, 12.3, 12.2, 99.9, 12.2, 12.3, 12.2, 12.1, 12.2, -127.0, 12.3, 12.2, 12.1]

    assert run(values) == ([v for v in values if 0 < v < 50], 2)


@given(st.lists(st.floats(8, 17.9), max_size=60))
def test_ordinary_air_passes_untouched(values):
    """Whatever moves by less than the jump is handed on at once."""
    assert run(values) == (values, 0)


@pytest.mark.parametrize("bad", [(0.0, 90_000), (10.0, 0)])
def test_parameters_are_checked(bad):
    """No jump or no time to compare over: refused."""
    with pytest.raises(ValueError, match="above 0"):
        gate.Params(*bad)
