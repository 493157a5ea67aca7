"""Air that is outside its band by no more than the probe may be wrong."""

import pytest
from rule_parts import house, reading, saw

from chamberwatch.engine import Engine
from chamberwatch.model import EventState, Kind, Note, Priority
from chamberwatch.rules.doubt import within_accuracy
from chamberwatch.rules.lane import Lane

DAY = 1440


def lived(rh_of, until=DAY + 600):
    """Return the humidity's events of a fridge that learns for a day in good air; `rh_of`: %RH by minutes after it."""
    engine, events = Engine(house("rear")), []
    for m in range(until):
        rh_pct = 75.0 if m < DAY else rh_of(m - DAY)
        ripple = (saw(m) - 12.4) * 2.0
        events += engine.step(reading("rear", m, saw(m), rh_pct + ripple))
    return [e for e in events if e.kind is Kind.HUMIDITY_LOW]


def test_a_little_outside_is_recorded_at_low_priority():
    """Two percent too dry by a probe that may be wrong by two and a half: kept, for nobody to be woken."""
    found = lived(lambda _: 68.0)

    assert [(e.state, e.priority) for e in found] == [(EventState.ACTIVE, Priority.LOW)]


def test_far_outside_is_what_it_always_was():
    """Eight percent too dry is beyond doubt at once."""
    assert lived(lambda _: 62.0)[0].priority is Priority.MEDIUM


def test_what_gets_worse_is_raised_once():
    """First within the doubt, then clearly outside: one word more, at the usual priority."""
    found = lived(lambda m: 68.0 if m < 300 else 64.0)

    assert [(e.state, e.note, e.priority) for e in found] == [
        (EventState.ACTIVE, Note.EDGE, Priority.LOW),
        (EventState.NOTED, Note.RAISED, Priority.MEDIUM),
    ]
    assert (found[1].value or 99.0) < 66.0


@pytest.mark.parametrize("kind", list(Kind))
def test_while_nothing_is_learnt_there_is_no_doubt(kind):
    """A probe without a known cycle is believed; other kinds are not asked at all."""
    plan = house("rear")

    assert not within_accuracy(Lane(plan.probes[0], plan.chambers[0]), kind)
