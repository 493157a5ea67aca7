"""A chamber's air by the hour, for what it did to the meat."""

import math

import pytest
from journal_parts import PLAN, T0, event

from chamberwatch.journal.reader import Reader
from chamberwatch.journal.records import Batch
from chamberwatch.journal.store import Journal
from chamberwatch.model import MS_PER_H, MS_PER_MIN, EventState, Kind, Reading

HUNG = T0 + 17 * MS_PER_MIN
"""Not on the hour: a piece's hours are its own."""


def air(probe, hours, temp_c, rh_pct, every_min=5):
    """Readings from T0 on."""
    return [
        Reading(probe, T0 + m * MS_PER_MIN, temp_c, rh_pct, T0 + m * MS_PER_MIN)
        for m in range(hours[0] * 60, hours[1] * 60, every_min)
    ]


@pytest.fixture
def lived(tmp_path):
    """Return what writes readings and events into a journal and gives its hours."""

    def live(readings, events=(), to_h=10.0):
        path = tmp_path / "house.db"
        journal = Journal.open(path)
        journal.remember_plan(PLAN, "metric")
        batch = Batch()
        batch.readings = sorted(readings, key=lambda r: r.at_ms)
        batch.events = [(e, "said") for e in events]
        journal.commit(batch)
        journal.close()
        with Reader(path) as reader:
            return reader.hours("cellar", HUNG, T0 + round(to_h * MS_PER_H))

    return live


def test_the_median_of_two_probes_is_their_mean(lived):
    """By the hour, each hour once, in order."""
    found = lived(air("rear", (0, 6), 12.0, 74.0) + air("front", (0, 6), 13.0, 78.0))

    assert [h.number for h in found] == list(range(6))
    assert found[2].temp_c == pytest.approx(12.5)
    assert found[2].rh_pct == pytest.approx(76.0)


def test_another_chamber_s_probe_does_not_count(lived):
    """The salting fridge is colder."""
    found = lived(air("rear", (0, 6), 12.0, 74.0) + air("low", (0, 6), 3.0, 90.0))

    assert {h.temp_c for h in found} == {12.0}


def test_an_hour_hardly_seen_is_not_known(lived):
    """Two of its bins are not enough; nothing is made up."""
    later = [r for r in air("rear", (4, 6), 12.0, 74.0) if r.at_ms >= T0 + 250 * MS_PER_MIN]
    found = lived(air("rear", (0, 2), 12.0, 74.0) + later)

    assert [h.number for h in found if not math.isnan(h.temp_c)] == [0, 1, 4, 5]
    assert [h.number for h in found if math.isnan(h.temp_c)] == [3]


def test_nothing_later_than_asked_is_used(lived):
    """As of the third hour, three hours are known."""
    found = lived(air("rear", (0, 6), 12.0, 74.0), to_h=3.3)

    assert [h.number for h in found] == [0, 1, 2, 3][: len(found)]
    assert math.isnan(found[-1].temp_c) or found[-1].number == 2


def test_a_probe_that_an_alarm_does_not_believe_is_left_out(lived):
    """While it creeps its humidity is not the chamber's; before and after it is."""
    names = {"kind": Kind.PROBES_DISAGREE, "probes": ("front",)}
    begins = event("a", 2 * 3600, since_ms=T0 + 2 * MS_PER_H, **names)
    ends = event("b", 4 * 3600, state=EventState.RETURNED, since_ms=T0 + 2 * MS_PER_H, **names)
    found = lived(air("rear", (0, 8), 12.0, 74.0) + air("front", (0, 8), 12.0, 84.0), [begins, ends])

    assert [h.rh_pct for h in found[:7]] == pytest.approx([79.0, 74.0, 74.0, 74.0, 79.0, 79.0, 79.0])


def test_a_lone_probe_nobody_believes_leaves_hours_unknown(lived):
    """Better no air than wrong air."""
    stuck = event("a", 0, kind=Kind.PROBE_STUCK, since_ms=T0, probes=("rear",))
    found = lived(air("rear", (0, 6), 12.0, 74.0), [stuck])

    assert all(math.isnan(h.temp_c) and math.isnan(h.rh_pct) for h in found)
