"""The owner's own curve: finished pieces move what is supposed of the next one, and it says with how many."""

from __future__ import annotations

import pytest
from cli_parts import House

from chamberwatch.journal.reader import Reader

DAY_H = 24


@pytest.fixture
def house(tmp_path, capsys):
    """A house without readings: the planned air stands in."""
    return House(tmp_path, capsys)


def finish(house, name, days_ago, weights, *, kind="neck", chamber="cellar"):
    """Hang a neck, weigh it at (day, net share of green weight), cut it after the last one."""
    neck = ("--kind", kind, "--green-weight", "2150g", "--diameter", "108mm", "--casing", "beef-bung", "--salt", "2.75%")
    house.run("hang", name, "--chamber", chamber, *neck, "--at", house.ago(days_ago * DAY_H))
    for day, share in weights:
        house.run("weigh", name, f"{share * 2150:.0f}g", "--at", house.ago((days_ago - day) * DAY_H))
    house.run("take-down", name, "--at", house.ago((days_ago - weights[-1][0] - 0.5) * DAY_H))
    house.run("cut", name, "--verdict", "good", "--at", house.ago((days_ago - weights[-1][0] - 1) * DAY_H))


FAST = [(0, 0.95), (10, 0.79), (20, 0.71), (30, 0.63)]
SLOW = [(0, 0.95), (20, 0.86), (40, 0.80), (60, 0.75)]


def pace(house, name):
    """Return what was learnt from a finished piece."""
    with Reader(house.journal) as reader:
        return reader.piece(name).cut.pace


def forecast(house, *more):
    """Return the document of a neck that began to hang an hour ago."""
    return house.run("forecast", "Neck 9", "--json", *more).json


def test_a_fast_piece_teaches_fast_and_a_slow_one_slow(house):
    """The sign is that of its weights against what was supposed."""
    finish(house, "Neck 1", 80, FAST)
    finish(house, "Neck 2", 80, SLOW)
    assert 0.1 < pace(house, "Neck 1") <= 1.0
    assert -1.0 <= pace(house, "Neck 2") < -0.1


def test_finished_pieces_move_the_next_date_and_it_says_so(house):
    """Two fast necks: earlier, and the sentence names them, their days and their loss."""
    house.hang("Neck 9", hours_ago=1)
    before = forecast(house)
    finish(house, "Neck 1", 80, FAST)
    one = forecast(house)
    finish(house, "Neck 2", 75, FAST)
    two = forecast(house)
    assert two["ready"] < one["ready"] < before["ready"]
    said = house.run("forecast", "Neck 9").words
    assert "Your last 2 pieces of neck here: 30 days, 37 %; that counts in this date." in said


def test_other_kinds_chambers_and_later_ones_teach_nothing(house):
    """A loin, a neck of another chamber, and one cut after the time that is asked about leave the date alone."""
    house.hang("Neck 9", hours_ago=50 * DAY_H)
    then = ("--as-of", house.ago(45 * DAY_H))
    before = forecast(house, *then)
    finish(house, "Loin 1", 80, FAST, kind="loin")
    finish(house, "Neck 1", 80, FAST, chamber="salting-fridge")
    finish(house, "Neck 2", 75, FAST)  # cut 44 days ago
    assert forecast(house, *then) == before
    finish(house, "Neck 3", 80, FAST)  # cut 49 days ago
    assert forecast(house, *then)["ready"] < before["ready"]


def test_what_was_never_weighed_teaches_nothing(house):
    """Cut after a single weigh-in: done, and no pace."""
    house.hang("Neck 1", hours_ago=60 * DAY_H)
    house.run("weigh", "Neck 1", "1500g", "--at", house.ago(3 * DAY_H))
    house.run("cut", "Neck 1")
    assert pace(house, "Neck 1") is None
