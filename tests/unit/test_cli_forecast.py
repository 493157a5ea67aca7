"""`forecast`: the contract's document, and what a person reads."""

import math

import pytest
from cli_parts import House

from chamberwatch.wire.timestamp import parse_rfc3339

SHAPE = {
    "piece", "as_of", "target_loss_pct", "loss_pct", "loss_low_pct", "loss_high_pct", "ready", "ready_low", "ready_high",
    "open_end", "surface_aw", "core_aw", "mean_aw",
}  # fmt: skip
DAY_H = 24


@pytest.fixture
def house(tmp_path, capsys):
    """A neck that has hung for twenty days in good air, seen every ten minutes."""
    house = House(tmp_path, capsys)
    house.replay(air(20, 76.0))
    house.hang("Bresaola 2", "--tare", "80g", hours_ago=20 * DAY_H)
    return house


def air(days, rh_pct, until_days=0.0):
    """Readings of the cellar, oldest first."""
    minutes = range(round(until_days * 1440), days * 1440, 10)
    return [(m, "rear", round(12.5 + math.sin(m / 90) / 2, 2), round(rh_pct + m % 7 / 10, 2)) for m in reversed(minutes)]


def forecast(house, *more):
    """Return the document."""
    return house.run("forecast", "Bresaola 2", "--json", *more).json


def days_left(found, which="ready"):
    """Return days from the forecast to a date of it."""
    return (parse_rfc3339(found[which]) - parse_rfc3339(found["as_of"])) / 86_400_000


def test_the_document_has_the_contract_s_shape(house):
    """Names, order of the quantiles, ranges; a surface drier than the core."""
    found = forecast(house)

    assert set(found) == SHAPE
    assert (found["piece"], found["target_loss_pct"], found["open_end"]) == ("Bresaola 2", 35.0, False)
    assert 10 < found["loss_low_pct"] < found["loss_pct"] < found["loss_high_pct"] < 32
    assert found["ready_low"] < found["ready"] < found["ready_high"]
    assert 0.7 < found["surface_aw"] < found["mean_aw"] < found["core_aw"] < 1.0


def test_a_weigh_in_narrows_and_moves_it(house):
    """Two weigh-ins of a piece that loses faster than most: earlier, and the interval is half as wide."""
    before = forecast(house)
    for days, mass in ((20, "2130g"), (10, "1800g"), (1, "1610g")):
        house.run("weigh", "Bresaola 2", mass, "--at", house.ago(days * DAY_H))
    after = forecast(house)

    assert after["ready"] < before["ready"]
    assert days_left(after, "ready_high") - days_left(after, "ready_low") < 0.6 * (
        days_left(before, "ready_high") - days_left(before, "ready_low")
    )


def test_as_of_forgets_what_came_later(house):
    """A forecast of ten days ago is the same whatever was weighed since, and again the same."""
    then = house.ago(10 * DAY_H)
    before = forecast(house, "--as-of", then)
    house.run("weigh", "Bresaola 2", "1500g", "--at", house.ago(5 * DAY_H))

    assert forecast(house, "--as-of", then) == before
    assert before["as_of"] == then


def test_damper_from_now_on_takes_longer(house):
    """What if: 82 %RH costs days, 70 % saves some."""
    damp = days_left(forecast(house, "--if-humidity", "82"))
    dry = days_left(forecast(house, "--if-humidity", "70%"))

    assert dry + 3 < days_left(forecast(house)) < damp - 3


def test_a_person_reads_rough_words_first_and_every_caution(house):
    """Before two weigh-ins no single day; estimates are called that; nobody is told that it is safe."""
    said = house.run("forecast", "bresaola 2").words

    assert said.startswith("Bresaola 2, day 21: ready ")
    assert "(4 chances in 5)" in said
    assert "Based on no weigh-in (tare 80 g), 479 h of measured air" in said or "480 h of measured air" in said
    assert "an estimate nobody measured" in said
    assert "not a safety result" in said
    assert "not yet on real meat" in said


def test_without_a_reading_the_plan_stands_in(tmp_path, capsys):
    """Nothing was ever measured: a wide interval by the planned air, and it says so."""
    house = House(tmp_path, capsys)
    house.hang("Bresaola 2", hours_ago=20 * DAY_H)
    found = forecast(house)
    said = house.run("forecast", "Bresaola 2").words

    assert days_left(found, "ready_high") - days_left(found, "ready_low") > 30
    assert "0 h of measured air, 480 h that nobody measured; from now on 12.5 °C and 75 %, as planned." in said


@pytest.mark.parametrize(
    ("argv", "code", "said"),
    [
        (("Bresaola 3",), 65, "Bresaola 3"),
        (("Bresaola 2", "--if-humidity", "12"), 64, "--if-humidity: 12 %RH is outside 30 to 98 %RH"),
        (("Bresaola 2", "--if-humidity", "damp"), 64, "--if-humidity: 'damp%': this is not a percentage"),
        (("Bresaola 2", "--if-temperature", "11"), 64, "not a temperature with its unit; write it like 11C or 52F"),
        (("Bresaola 2", "--if-temperature", "95F"), 64, "--if-temperature: 35 °C is outside 0 to 30 °C"),
        (("Bresaola 2", "--as-of", "2019-01-01T00:00:00Z"), 65, "before that there is no drying to forecast"),
    ],
)
def test_what_cannot_be_asked_is_told(tmp_path, capsys, argv, code, said):
    """What, where, and the range; no traceback."""
    house = House(tmp_path, capsys)
    house.hang("Bresaola 2")

    assert said in " ".join(house.refused("forecast", *argv, code=code).split())


def test_discarded_and_fermented_pieces_get_no_date(tmp_path, capsys):
    """Terminal is terminal; a sausage says why."""
    house = House(tmp_path, capsys)
    house.hang("Loin 1")
    house.run("discard", "Loin 1", "--why", "black mold under the casing")
    house.run("hang", "Salami 1", "--chamber", "cellar", "--kind", "salami", "--green-weight", "900g", "--diameter", "60mm")

    assert "a discarded piece gets no date" in " ".join(house.refused("forecast", "Loin 1").split())
    assert "acidity (pH)" in " ".join(house.refused("forecast", "Salami 1").split())


def test_a_piece_hung_for_more_than_a_year_still_gets_an_answer(tmp_path, capsys):
    """The date is clipped at a year after the hang."""
    house = House(tmp_path, capsys)
    house.hang("Bresaola 2", hours_ago=400 * DAY_H)
    found = forecast(house)

    assert days_left(found, "ready_high") < 0
    assert found["loss_pct"] > 30
