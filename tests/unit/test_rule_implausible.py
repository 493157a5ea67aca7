"""Bad input that persists."""

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


def test_six_in_a_row_raise_it():
    """The sixth bad piece raises, with the first as onset."""
    state, edges = run([True] * 6)

    assert edges == [(5, True)]
    assert state.since_ms == 0


def test_it_returns_in_bounded_time():
    """A day of garbage is forgiven after twelve good readings."""
    _, edges = run([True] * 10_000 + [False] * 12)

    assert edges == [(5, True), (10_011, False)]


def test_half_garbage_is_not_persistent():
    """As many good as bad never raises."""
    _, edges = run([True, False] * 1000)

    assert edges == []


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
