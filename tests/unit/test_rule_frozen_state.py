"""States to JSON and back."""

import json
from typing import NamedTuple

import pytest
from rule_parts import thawed

from chamberwatch.rules import (
    blocks,
    condensation,
    cooling,
    cycle,
    disagree,
    door,
    drift,
    frozen_state,
    gate,
    limit,
    stuck,
    swing,
    turning,
)

FILLED = [
    blocks.State(7, 1.5, 2, ((1, 2.5), (3, 4.5))),
    condensation.State(12.5, 3, 4, active=True),
    cooling.State(1, 12.0, 13.0, active=True, since_ms=5),
    cycle.State(turning.State(1, 2.0, 3, started=True), (1, 2.0), None, loops=(cycle.Loop(1, 2, 3.0, 4.0, 5.0),)),
    disagree.State(((1.0, 2.0), (3.0, 4.0)), 1, 2, 1),
    door.State(((1, 2.0, 3.0),), 4, 5.0, 6.0, 7.0, active=True),
    drift.State(1, 3.0, 4, ((5, 6.0),), -1),
    gate.State(12.0, 1, ((2, 30.0), (3, 30.1))),
    gate.State(),
    limit.State(1.0, 2, active=True, worst=3.0, deep_ms=4),
    stuck.State(100.0, 1, 2, active=True),
    swing.State(swing.Count(turning.State(-1, 2.0, 3, started=True), ((1, 2.0), (2, 3.0)), active=True)),
]


@pytest.mark.parametrize("state", FILLED, ids=lambda s: type(s).__module__.rsplit(".", 1)[-1])
def test_every_rule_s_state_comes_back(state):
    """Equal, and of the same types all the way down."""
    back = thawed(type(state), state)

    assert back == state
    assert repr(back) == repr(state)


def test_whole_numbers_come_back_as_fractions_where_they_are():
    """JSON writes 12.0 as 12 in some hands; the state is a float again."""
    state = frozen_state.load(gate.State, json.loads("[12, 1, [[2, 30]]]"))

    assert (type(state.value), type(state.at_ms), type(state.pending[0][1])) == (float, int, float)


@pytest.mark.parametrize("body", [[1, 2], [1] * (len(cooling.State._fields) + 1), None, 7])
def test_another_number_of_fields_raises(body):
    """An older version's state is refused, never half read."""
    with pytest.raises((ValueError, TypeError)):
        frozen_state.load(cooling.State, body)


def test_another_shape_inside_raises():
    """A list of numbers where pairs should be."""
    with pytest.raises((ValueError, TypeError)):
        frozen_state.load(blocks.State, [1, 2.0, 3, [4]])


class Pair(NamedTuple):
    both: tuple[int, float]
    several: tuple[tuple[int, str], ...] = ()
    maybe: tuple[int, ...] | None = None


@pytest.mark.parametrize("state", [Pair((1, 2.0)), Pair((1, 2.0), ((3, "a"), (4, "b")), (5, 6))])
def test_tuples_fixed_open_and_missing(state):
    """The shapes that states are made of."""
    assert thawed(Pair, state) == state
