"""A weigh day: every piece of a chamber on the scale in one door opening. Its days: common practice, no source."""

from __future__ import annotations

import io

import pytest
from cli_parts import House

from chamberwatch.journal.reader import Reader


@pytest.fixture
def house(tmp_path, capsys):
    """Two pieces in the cellar, one in the fridge; the first has been weighed with a tare of 80 g."""
    house = House(tmp_path, capsys)
    house.hang("Bresaola 2", hours_ago=9 * 24)
    house.hang("Neck 4", hours_ago=5 * 24)
    house.hang("Loin 1", chamber="salting-fridge", hours_ago=24)
    house.run("weigh", "Bresaola 2", "2100g", "--tare", "80g", "--at", house.ago(6 * 24))
    return house


@pytest.fixture
def write(monkeypatch):
    """Type these lines at the scale."""
    return lambda text: monkeypatch.setattr("sys.stdin", io.StringIO(text))


def weights(house, name):
    """What the scale showed, in g, with the tare of each."""
    with Reader(house.journal) as reader:
        return [(w.mass_g, w.tare_g) for w in reader.piece(name).weigh_ins]


def test_pieces_come_in_hanging_order_with_tare_and_what_is_due(house, write):
    """Only this chamber's; each weight is a weigh-in with the remembered tare; one door session for all."""
    write("1950g\n2050g\n")
    said = house.run("tend", "cellar", "--weigh").words

    assert said.index("Bresaola 2, day 10, tare 80 g; last on the scale 2100 g") < said.index("Neck 4, day 6")
    assert "Loin 1" not in said
    assert "Weigh it, look for mold and wipe it; tie it again" in said
    assert "1870 g without tare" in said
    assert "weighed: Bresaola 2, Neck 4. Shut the door" in said
    assert weights(house, "Bresaola 2") == [(2100.0, 80.0), (1950.0, 80.0)]
    assert weights(house, "Neck 4") == [(2050.0, 0.0)]


def test_an_empty_line_leaves_one_out_and_the_end_of_the_input_the_rest(house, write):
    """Nothing is guessed, nothing recorded."""
    write("\n2050g\n")
    assert "weighed: Neck 4; left out: Bresaola 2." in house.run("tend", "cellar", "--weigh").words
    write("")
    assert "weighed: nothing; left out: Loin 1." in house.run("tend", "salting-fridge", "--weigh").words


def test_what_cannot_be_is_said_and_asked_again(house, write):
    """A number without unit, more than it weighed before, then the right one."""
    write("1950\n2500g\n1950g\n\n")
    said = house.run("tend", "cellar", "--weigh").words

    assert "1950 has no unit" in said
    assert "more than Bresaola 2's green weight" in said
    assert weights(house, "Bresaola 2")[-1] == (1950.0, 80.0)


def test_what_was_never_put_right_is_65_and_named_and_the_others_are_kept(house, write):
    """Lines that end with a mistake."""
    write("1950g\nheavy\n")
    said = house.run("tend", "cellar", "--weigh", code=65)

    assert "weighed: Bresaola 2. Not taken: Neck 4; give them with `weigh`" in " ".join(said.err.split())
    assert weights(house, "Bresaola 2")[-1] == (1950.0, 80.0)
    assert weights(house, "Neck 4") == []


def test_it_answers_in_words_only(house):
    """--json is refused before a door is opened."""
    assert "leave out --json" in house.refused("tend", "cellar", "--weigh", "--json", code=64)
