"""Which events become messages."""

from dataclasses import replace

import pytest

from chamberwatch.daemon.telling import Telling
from chamberwatch.model import Event, EventState, Kind, Note, Priority


def event(kind, ident, because=None, state=EventState.ACTIVE, priority=Priority.MEDIUM, note=Note.EDGE):
    """One event in the cellar."""
    return Event(ident, 1, 1, kind, state, priority, "cellar", ("rear",), because=because, note=note)


def returned(of):
    """The end of an occurrence."""
    return replace(of, id=of.id + "-back", state=EventState.RETURNED)


def test_a_first_cause_is_told_and_so_is_its_end():
    """The plain case."""
    telling, first = Telling(), event(Kind.HUMIDITY_LOW, "a")

    assert telling.wanted(first)
    assert telling.wanted(returned(first))


def test_what_a_dead_compressor_brings_is_not_told_again():
    """Too warm after cooling lost is no news, nor is its end; past the urgent limit it is."""
    telling = Telling()
    telling.wanted(event(Kind.COOLING_LOST, "a", priority=Priority.HIGH))
    warm = event(Kind.TEMPERATURE_HIGH, "b", "a")
    urgent = event(Kind.TEMPERATURE_HIGH, "c", "a", EventState.NOTED, Priority.HIGH, Note.RAISED)

    assert not telling.wanted(warm)
    assert telling.wanted(urgent)
    assert telling.wanted(replace(returned(warm), id="d"))


def test_what_a_probe_may_be_wrong_by_is_told_once_it_is_clearly_so():
    """Low at first: neither it nor its reminder nor its end is sent; raised, it is, and its end as well."""
    telling = Telling()
    dry = event(Kind.HUMIDITY_LOW, "a", priority=Priority.LOW)

    assert not telling.wanted(dry)
    assert not telling.wanted(replace(dry, id="b", state=EventState.NOTED, note=Note.STILL))
    assert not Telling().wanted(replace(returned(dry), id="c"))
    assert telling.wanted(event(Kind.HUMIDITY_LOW, "d", state=EventState.NOTED, note=Note.RAISED))
    assert not telling.wanted(event(Kind.HUMIDITY_DRIFT, "e", "a"))
    assert telling.wanted(event(Kind.HUMIDITY_LOW, "f", state=EventState.RETURNED))


def test_the_end_of_what_was_not_told_is_not_told():
    """Nobody hears that something is over that they never heard of."""
    telling = Telling()
    telling.wanted(event(Kind.COOLING_LOST, "a", priority=Priority.HIGH))
    damp = event(Kind.HUMIDITY_DRIFT, "b", "a", priority=Priority.LOW)

    assert not telling.wanted(damp)
    assert not telling.wanted(returned(damp))


@pytest.mark.parametrize("kind", [Kind.DOOR_OPEN, Kind.COOLING_LOST, Kind.PROBE_STUCK, Kind.PROBES_DISAGREE])
def test_what_names_the_thing_to_do_is_told_even_as_a_consequence(kind):
    """Too dry first, then the open door: the door is the news."""
    telling = Telling()
    telling.wanted(event(Kind.HUMIDITY_LOW, "a"))

    assert telling.wanted(event(kind, "b", "a"))


def test_a_band_alarm_after_a_mere_drift_is_news():
    """Crossing the limit is more urgent than running towards it."""
    telling = Telling()
    telling.wanted(event(Kind.HUMIDITY_DRIFT, "a", priority=Priority.LOW))

    assert telling.wanted(event(Kind.HUMIDITY_LOW, "b", "a"))
    assert not telling.wanted(event(Kind.HUMIDITY_SWING, "c", "a", priority=Priority.LOW))


def test_what_was_said_to_be_over_and_is_not_is_news():
    """Back as planned, then too dry again: of the same story, but told."""
    telling = Telling()
    first = event(Kind.HUMIDITY_LOW, "a")
    again = event(Kind.HUMIDITY_LOW, "b", because="a")

    assert [telling.wanted(e) for e in (first, returned(first), again, returned(again))] == [True] * 4


def test_asking_twice_gives_the_same_answer():
    """A commit that failed words and asks again."""
    telling = Telling()
    telling.wanted(event(Kind.HUMIDITY_DRIFT, "a", priority=Priority.LOW))
    crossing = event(Kind.HUMIDITY_LOW, "b", "a")

    assert [telling.wanted(crossing) for _ in range(3)] == [True] * 3


def test_joins_and_acknowledgements_are_recorded_only():
    """Not every line of the record rings a phone."""
    telling = Telling()

    assert not telling.wanted(event(Kind.HUMIDITY_LOW, "a", state=EventState.NOTED, note=Note.PROBE_JOINED))
    assert not telling.wanted(event(Kind.HUMIDITY_LOW, "b", state=EventState.NOTED, note=Note.ACKNOWLEDGED))


def test_after_a_restart_the_unknown_is_told():
    """A cause that this process never saw does not silence its consequences."""
    assert Telling().wanted(event(Kind.TEMPERATURE_HIGH, "b", "long-ago"))
