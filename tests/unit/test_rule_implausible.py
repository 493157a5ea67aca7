"""Bad input that persists."""

import random
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chamberwatch.rules import implausible


def run(pieces, state=implausible.RESTING, start=0):
    """Return the final state and [(index, edge)]."""
    edges = []
    for i, bad in enumerate(pieces, start):
        state, rises = implausible.step(state, i, bad=bad)
        if rises is not None:
            edges.append((i, rises))
    return state, edges


def test_ten_in_a_row_raise_it():
    """The tenth bad piece raises, not the ninth, with the first as onset."""
    assert run([True] * 9)[1] == []
    state, edges = run([True] * 10)

    assert edges == [(9, True)]
    assert state.since_ms == 0


def test_it_returns_in_bounded_time():
    """A day of garbage is forgiven after sixty good readings, not one earlier."""
    _, edges = run([True] * 10_000 + [False] * 60)

    assert edges == [(9, True), (10_059, False)]


def test_half_garbage_is_told_within_half_a_minute_a_second():
    """As many good as bad: two up a pair, so within thirty pieces; and it stands."""
    _, edges = run([True, False] * 1000)

    assert edges == [(28, True)]


def test_a_quarter_evenly_spread_is_borne():
    """Three good ones undo a bad one: never raised."""
    assert run([True, False, False, False] * 1000)[1] == []


@pytest.mark.parametrize("seed", range(20))
def test_three_in_ten_at_random_are_told(seed):
    """Whenever it strikes, within two thousand pieces (mean 120, computed)."""
    rng = random.Random(seed)
    _, edges = run([rng.random() < 0.3 for _ in range(2000)])

    assert edges[0][1]


def test_the_mean_time_to_the_alarm_is_as_stated():
    """First passage of the count as a Markov chain (textbook), its equations solved in exact fractions."""
    for share, pieces in ((Fraction(3, 10), 120), (Fraction(1, 5), 2600), (Fraction(1, 10), 24e6)):
        assert float(pieces_until_raised(share)) == pytest.approx(pieces, rel=0.05)


def pieces_until_raised(share):
    """Return the mean number of pieces until the alarm, from rest: m[k] = 1 + sum of chance * m[next]."""
    n, rows = implausible.RAISE_AT, []
    for level in range(n):
        row = [Fraction(k in {level, n}) for k in range(n + 1)]
        for bad, chance in ((False, 1 - share), (True, share)):
            excess = implausible.step(implausible.State(level), 0, bad=bad)[0].excess
            if excess < n:
                row[excess] -= chance
        rows.append(row)
    for i in reversed(range(n)):  # eliminate from the top level down: what is left of row 0 is m[0]
        for j in range(i):
            part = rows[j][i] / rows[i][i]
            rows[j] = [a - part * b for a, b in zip(rows[j], rows[i], strict=True)]
    return rows[0][n] / rows[0][0]


@pytest.mark.parametrize("seed", range(5))
def test_a_tenth_at_random_is_borne(seed):
    """Fourteen hours of readings each 10 s."""
    rng = random.Random(seed)
    assert run([rng.random() < 0.1 for _ in range(5000)])[1] == []


@given(st.lists(st.booleans(), max_size=200), st.integers(0, 200))
def test_restart_in_the_middle_changes_nothing(pieces, cut):
    """The state survives being written down."""
    whole = run(pieces)
    first, early = run(pieces[:cut])
    second, later = run(pieces[cut:], implausible.State(*list(first)), min(cut, len(pieces)))

    assert (second, early + later) == whole


@given(st.lists(st.booleans(), max_size=200))
def test_edges_alternate(pieces):
    """Never two raises or two returns in a row."""
    _, edges = run(pieces)

    assert [rises for _, rises in edges] == [i % 2 == 0 for i in range(len(edges))]
