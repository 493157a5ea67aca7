"""One fault, one first cause."""

from itertools import pairwise

import pytest
from rule_parts import at

from chamberwatch.model import MS_PER_MIN, Kind
from chamberwatch.rules import causes
from chamberwatch.rules.alarm import Board
from chamberwatch.rules.edge import Edge

AFTER = causes.AFTER_MS / MS_PER_MIN


def edge(kind, minute, *, active=True):
    """An edge of the rear probe."""
    return Edge(kind, "rear", active, at(minute), at(minute))


def story(*edges, chamber="cellar"):
    """Return the events that a board tells of edges."""
    board = Board()
    return [e for one in edges for e in board.take(chamber, one)]


@pytest.mark.parametrize("kind", list(Kind))
def test_belonging_has_no_direction_while_young(kind):
    """Whichever is told first leads; a kind never needs to be its own cause."""
    assert all(causes.belong_together(kind, k, 0) is causes.belong_together(k, kind, 0) for k in Kind)


def test_an_old_effect_is_not_the_new_faults():
    """Too dry for thirty hours, then a dead compressor: that is a fault of its own."""
    later = causes.BACKWARD_MS + 1
    assert not causes.belong_together(Kind.HUMIDITY_LOW, Kind.COOLING_LOST, later)
    assert causes.belong_together(Kind.COOLING_LOST, Kind.HUMIDITY_LOW, later)


@pytest.mark.parametrize(
    ("first", "then"),
    [
        (Kind.COOLING_LOST, Kind.TEMPERATURE_HIGH),
        (Kind.TEMPERATURE_DRIFT, Kind.COOLING_LOST),
        (Kind.DOOR_OPEN, Kind.HUMIDITY_LOW),
        (Kind.HUMIDITY_DRIFT, Kind.HUMIDITY_LOW),
        (Kind.PROBES_DISAGREE, Kind.HUMIDITY_HIGH),
        (Kind.BROKER_LOST, Kind.PROBE_SILENT),
        (Kind.TEMPERATURE_HIGH, Kind.CONDENSATION_RISK),
    ],
)
def test_a_consequence_names_the_first_one_told(first, then):
    """`because` is the id of the first; the first has none."""
    one, other = story(edge(first, 1), edge(then, 5))

    assert (one.because, other.because) == (None, one.id)


@pytest.mark.parametrize(
    ("first", "then"),
    [
        (Kind.PROBE_SILENT, Kind.HUMIDITY_LOW),
        (Kind.HUMIDITY_LOW, Kind.PROBE_SILENT),
        (Kind.HUMIDITY_SWING, Kind.PROBE_IMPLAUSIBLE),
        (Kind.MONITOR_GAP, Kind.PROBE_SILENT),
    ],
)
def test_what_cannot_follow_is_a_first_cause_of_its_own(first, then):
    """Two faults at once are two, or one would hide behind the other."""
    assert [e.because for e in story(edge(first, 1), edge(then, 5))] == [None, None]


def test_a_chain_names_its_head():
    """Drift, then cooling, then heat, then dew: all are updates of the drift."""
    kinds = (Kind.TEMPERATURE_DRIFT, Kind.COOLING_LOST, Kind.TEMPERATURE_HIGH, Kind.CONDENSATION_RISK)
    events = story(*(edge(kind, m) for m, kind in enumerate(kinds, 1)))

    assert {e.because for e in events[1:]} == {events[0].id}
    assert all(a.at_ms < b.at_ms for a, b in pairwise(events))


def test_what_begins_soon_after_the_end_still_belongs():
    """The compressor is back, the damp comes now: within the hour it is the same story, later a new one."""
    ends = edge(Kind.COOLING_LOST, 60, active=False)
    soon = story(edge(Kind.COOLING_LOST, 1), ends, edge(Kind.HUMIDITY_HIGH, 60 + AFTER))
    late = story(edge(Kind.COOLING_LOST, 1), ends, edge(Kind.HUMIDITY_HIGH, 60 + AFTER + 1))

    assert soon[2].because == soon[0].id
    assert late[2].because is None


def test_the_same_kind_again_is_a_new_occurrence():
    """A door opened twice within the hour is two doors."""
    events = story(edge(Kind.DOOR_OPEN, 1), edge(Kind.DOOR_OPEN, 30, active=False), edge(Kind.DOOR_OPEN, 40))

    assert [e.because for e in events] == [None, None, None]


@pytest.mark.parametrize(("after_min", "same"), [(30, True), (31, False)])
def test_an_alarm_that_comes_back_soon_is_the_same_story(after_min, same):
    """ISA-18.2's chattering alarm: too dry, fine, too dry again within half an hour is one cause."""
    ends = edge(Kind.HUMIDITY_LOW, 60, active=False)
    events = story(edge(Kind.HUMIDITY_LOW, 1), ends, edge(Kind.HUMIDITY_LOW, 60 + after_min))

    assert events[2].because == (events[0].id if same else None)


def test_chambers_have_their_own_causes():
    """What happens in one chamber never explains another."""
    board = Board()
    board.take("cellar", edge(Kind.COOLING_LOST, 1))
    (event,) = board.take("attic", edge(Kind.TEMPERATURE_HIGH, 2))

    assert event.because is None


def test_an_event_keeps_its_cause_to_its_end():
    """The returned event of a consequence names the same cause as its active one."""
    events = story(
        edge(Kind.COOLING_LOST, 1), edge(Kind.TEMPERATURE_HIGH, 5), edge(Kind.COOLING_LOST, 50, active=False),
        edge(Kind.TEMPERATURE_HIGH, 70, active=False),
    )  # fmt: skip

    assert [e.because for e in events] == [None, events[0].id, None, events[0].id]


def test_causes_survive_a_restart():
    """A board restored in between names the same cause."""
    board = Board()
    (first,) = board.take("cellar", edge(Kind.COOLING_LOST, 1))
    board.take("cellar", edge(Kind.COOLING_LOST, 50, active=False))
    again = Board.from_json(board.to_json(), {"rear": "cellar"})
    (event,) = again.take("cellar", edge(Kind.HUMIDITY_HIGH, 60))

    assert event.because == first.id
