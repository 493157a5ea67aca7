"""Jumps no air can make wait for the next reading."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chamberwatch.rules import gate

P = gate.Params(10.0, 90_000)


def run(values, every_ms=10_000, params=P, more=0):
    """Return all samples passed on and how many glitches were dropped."""
    state, out, glitches = gate.State(), [], 0
    for i, value in enumerate(values):
        state, passed = gate.step(params, state, (i + 1) * every_ms, value, more)
        out += [v for _, v in passed.samples]
        glitches += passed.dropped
    return out, glitches


def test_a_lone_spike_is_dropped():
    """99 °C between two of 12 never reaches a rule, and counts as bad input."""
    assert run([12.0, 12.1, 99.0, 12.1]) == ([12.0, 12.1, 12.1], 1)


def test_a_real_jump_is_passed_whole_once_confirmed():
    """Both readings of a confirmed jump arrive, in order."""
    assert run([12.0, 30.0, 30.2, 30.1]) == ([12.0, 30.0, 30.2, 30.1], 0)


@pytest.mark.parametrize(("need", "more"), [(2, 0), (4, 0), (2, 3), (4, 10)])
def test_a_jump_is_believed_at_its_count_and_not_before(need, more):
    """`need` readings in a row, and `more` of a suspect probe: then all of them arrive; one fewer are glitches."""
    count, params = need + more, gate.Params(10.0, 90_000, need=need)
    values = [12.0, *[30.0 + i / 10 for i in range(count)]]

    assert run(values, params=params, more=more) == (values, 0)
    assert run(values[:-1], params=params, more=more) == ([12.0], 0)
    assert run([*values[:-1], 12.1], params=params, more=more) == ([12.0, 12.1], count - 1)


@pytest.mark.parametrize(("far", "count"), [(12.0, 4), (25.0, 5), (75.0, 10), (900.0, 12)])
def test_the_further_the_jump_the_more_must_agree(far, count):
    """A power-on value of 85 °C in a row of four is no heat: as many more as it is whole jumps too far, up to eight."""
    params = gate.Params(10.0, 90_000, need=4)

    assert run([12.0, *[12.0 + far] * (count - 1), 12.0], params=params) == ([12.0, 12.0], count - 1)
    assert run([12.0, *[12.0 + far] * count], params=params) == ([12.0, *[12.0 + far] * count], 0)


def test_what_waited_is_a_glitch_after_a_gap():
    """Hours later the new reading passes; what nobody confirmed is dropped and counted."""
    state, _ = gate.step(P, gate.State(12.0, 1), 2, 30.0)

    assert gate.step(P, state, 200_000, 13.0) == (gate.State(13.0, 200_000), gate.Passed(((200_000, 13.0),), 1))


def test_how_far_a_lag_lets_a_probe_follow():
    """First-order lag, textbook: 63.2 % of a step after one time constant, all of it in the end."""
    assert gate.reachable(10.0, 30_000, 30_000) == pytest.approx(6.321, abs=0.001)
    assert gate.reachable(10.0, 30_000, 3_600_000) == pytest.approx(10.0)


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


@pytest.mark.parametrize("bad", [(0.0, 90_000), (10.0, 0), (10.0, 90_000, 1)])
def test_parameters_are_checked(bad):
    """No jump, no time to compare over, nobody to agree with: refused."""
    with pytest.raises(ValueError, match="above 0"):
        gate.Params(*bad)
