"""Recording what only the owner knows: what is taken, what is answered, and every refusal with its reason."""

from __future__ import annotations

import json

import pytest
from cli_parts import HOUSE, NECK, House

from chamberwatch.cli import main
from chamberwatch.journal.reader import Reader
from chamberwatch.journal.store import Journal
from chamberwatch.wire.timestamp import parse_rfc3339


@pytest.fixture
def house(tmp_path, capsys):
    """A house of a cellar and a salting fridge."""
    return House(tmp_path, capsys)


def requests(house):
    """Return the requests that wait for the watch, as (verb, args)."""
    journal = Journal.open(house.journal)
    try:
        return [(r.verb, r.args) for r in journal.open_requests()]
    finally:
        journal.close()


# -- a piece's life -----------------------------------------------------------------------------------------


def test_a_piece_hangs_with_all_that_is_said_of_it(house):
    """Units are read, storage is SI, the answer says where and since when."""
    said = house.run("hang", "Neck 4", "--chamber", "cellar", *NECK, "--tare", "3oz", "--at", "2h ago")
    assert said.out.startswith("Neck 4 hangs in cellar since ")
    with Reader(house.journal) as reader:
        (piece,) = reader.pieces()
    facts = piece.facts
    assert (facts.kind, facts.green_weight_g, facts.diameter_mm, facts.length_mm) == ("neck", 2150.0, 108.0, 280.0)
    assert (facts.casing, facts.salt_pct, facts.fat, facts.target_loss_pct) == ("beef-bung", 2.75, "medium", 35.0)
    assert facts.tare_g == pytest.approx(85.05, abs=0.01)  # 1 oz = 28.3495 g (exact by definition, from memory)
    assert piece.hung_ms == pytest.approx(house.now_ms - 7_200_000, abs=60_000)


def test_pounds_and_inches_are_taken_whatever_the_screens_show(house):
    """4 lb 12 oz = 2154.56 g, 4.25 in = 107.95 mm (exact by definition, from memory)."""
    house.run("hang", "Loin 1", "--chamber", "cellar", "--kind", "loin", "--green-weight", "4lb 12oz", "--thickness", "4.25in")
    with Reader(house.journal) as reader:
        (piece,) = reader.pieces()
    assert (piece.facts.green_weight_g, piece.facts.thickness_mm) == pytest.approx((2154.56, 107.95), abs=0.01)


def test_the_life_of_a_piece_from_hook_to_verdict(house):
    """Hung, weighed twice, moved, taken down, hung again, discarded; each answer in words."""
    house.hang(hours_ago=200)
    first = house.run("weigh", "neck 4", "2080g", "--tare", "80g", "--at", house.ago(100))
    assert first.words == "Neck 4: 2000 g without tare, 7.0 % lost of green weight (target 35 %)"
    second = house.run("weigh", "Neck 4", "1980g", "--at", house.ago(52))
    assert second.words == "Neck 4: 1900 g without tare, 11.6 % lost of green weight (target 35 %); 100 g lost in 2 d"
    moved = house.run("move", "Neck 4", "--chamber", "salting-fridge", "--at", house.ago(48))
    assert moved.words == "Neck 4 went from cellar to salting-fridge"
    down = house.run("take-down", "Neck 4", "--at", house.ago(24))
    assert down.words == "Neck 4 is down from salting-fridge after 24 h"
    assert "Neck 4 hangs again in cellar" in house.run("hang", "Neck 4", "--chamber", "cellar", "--at", house.ago(20)).out
    noted = house.run("note", "Neck 4", "firm at the ends, soft in the middle")
    assert noted.words == "noted about Neck 4"
    gone = house.run("discard", "Neck 4", "--why", "black mold under the casing")
    assert "Don't trim, cook, re-cure or feed it to animals" in gone.words
    assert "Neck 4 was discarded" in house.refused("hang", "Neck 4", "--chamber", "cellar")


def test_a_past_stay_may_have_its_end(house):
    """Entered late, whole."""
    said = house.run("hang", "Loin 1", "--chamber", "cellar", *NECK, "--at", house.ago(48), "--until", house.ago(24))
    assert " hung in cellar from " in said.out
    assert house.run("pieces", "--json").json[0]["chamber"] is None


def test_a_weigh_in_is_a_door_opening(house):
    """The air alarms are held a quarter of an hour before and after."""
    house.hang()
    house.run("weigh", "Neck 4", "2100g", "--at", house.ago(1))
    ((verb, args),) = requests(house)
    at_ms = parse_rfc3339(house.ago(1))
    assert (verb, args) == ("tend", {"chamber": "cellar", "from_ms": at_ms - 900_000, "until_ms": at_ms + 900_000})


def test_weighing_what_hangs_nowhere_opens_no_door(house):
    """A piece that is down for equalising may be weighed all the same."""
    house.hang()
    house.run("take-down", "Neck 4", "--at", house.ago(2))
    house.run("weigh", "Neck 4", "2100g", "--at", house.ago(1))
    assert requests(house) == []


def test_a_door_session_and_an_acknowledgement_are_asked_of_the_watch(house):
    """Half an hour unless said otherwise; on it by name; without an alarm that is said."""
    house.warm_day()
    assert house.run("tend", "cellar", "--for", "1h").words.startswith("door session at cellar until ")
    assert house.run("acknowledge", "cellar", "--by", "Ines").words == "you are on it: temperature-high in cellar"
    assert house.run("acknowledge", "salting-fridge").words == "no open alarm that nobody is on"
    (tend, on_it, _) = requests(house)
    assert tend[1]["until_ms"] - tend[1]["from_ms"] == 3_600_000
    assert on_it == ("acknowledge", {"chamber": "cellar", "kind": None, "by": "Ines"})


# -- --json -------------------------------------------------------------------------------------------------


def test_what_was_recorded_comes_as_json(house):
    """One document; times as RFC 3339, masses in g."""
    hung = house.hang("Neck 4", "--json").json
    assert hung == {"piece": "Neck 4", "chamber": "cellar", "at": house.ago(24), "until": None, "again": False}
    weighed = house.run("weigh", "Neck 4", "1935g", "--at", house.ago(1), "--json").json
    assert weighed == {
        "piece": "Neck 4", "at": house.ago(1), "mass_g": 1935.0, "tare_g": 0.0, "net_g": 1935.0,
        "loss_pct": pytest.approx(10.0), "target_loss_pct": 35.0, "last": None, "lost_g": None,
    }  # fmt: skip
    tended = house.run("tend", "cellar", "--json").json
    assert set(tended) == {"request_id", "chamber", "from", "until"}


def test_an_acknowledgement_as_json_names_its_alarms(house):
    """With their times, and null where there is none."""
    house.warm_day()
    (alarm,) = house.run("acknowledge", "--json").json["alarms"]
    assert (alarm["kind"], alarm["chamber"], alarm["returned"]) == ("temperature-high", "cellar", None)
    assert alarm["at"].endswith("Z")


# -- refusals -----------------------------------------------------------------------------------------------


def test_an_unknown_chamber_is_told_with_those_there_are(house):
    """In every command that names one."""
    house.hang()
    there = "there is no chamber 'celar'; the chambers are: cellar, salting-fridge"
    assert house.refused("hang", "Loin 1", "--chamber", "celar", *NECK) == there
    assert house.refused("move", "Neck 4", "--chamber", "celar") == there
    assert house.refused("tend", "celar") == there
    assert house.refused("acknowledge", "celar") == there


def test_an_unknown_piece_is_told_with_those_that_resemble_it(house):
    """Nobody has to remember how it was written."""
    house.hang("Bresaola 2")
    assert house.refused("weigh", "Bresola 2", "1800g") == "there is no piece 'Bresola 2'; did you mean 'Bresaola 2'?"
    assert house.refused("take-down", "Ham", "--at", "1h ago") == "there is no piece 'Ham'; the pieces are: Bresaola 2"


def test_stays_that_overlap_are_refused(house):
    """A piece hangs in one place at a time; the way out is named."""
    house.hang(hours_ago=48)
    assert house.refused("hang", "Neck 4", "--chamber", "salting-fridge").startswith("Neck 4 hangs in cellar since ")
    house.run("take-down", "Neck 4", "--at", house.ago(24))
    told = house.refused("hang", "Neck 4", "--chamber", "cellar", "--at", house.ago(30), "--until", house.ago(1))
    assert told.startswith("Neck 4 hung in cellar from ")
    assert told.endswith("two stays cannot overlap")
    assert len(house.run("pieces", "--json").json[0]["stays"]) == 1


def test_a_gain_in_weight_is_refused_unless_meant(house):
    """Meat loses weight: a typing mistake, another piece, or re-netted."""
    house.hang(hours_ago=100)
    assert "more than Neck 4's green weight of 2150 g" in house.refused("weigh", "Neck 4", "2300g", "--at", house.ago(90))
    house.run("weigh", "Neck 4", "1900g", "--at", house.ago(80))
    told = house.refused("weigh", "Neck 4", "1990g")
    assert told.startswith("Neck 4 has gained 90 g since ")
    assert told.endswith("add --anyway if it was re-netted, larded or washed")
    assert "90 g gained in" in house.run("weigh", "Neck 4", "1990g", "--anyway", "--remark", "re-netted").words


def test_taken_down_before_it_was_hung_is_refused(house):
    """With when it was hung, and where."""
    house.hang(hours_ago=24)
    told = house.refused("take-down", "Neck 4", "--at", house.ago(48))
    assert told.startswith("Neck 4 cannot have been taken down ")
    assert ": it was first hung " in told
    assert told.endswith(", in cellar")
    house.run("take-down", "Neck 4", "--at", house.ago(2))
    assert "it was taken down from cellar" in house.refused("take-down", "Neck 4", "--at", house.ago(1))


@pytest.mark.parametrize(
    ("mass", "why"),
    [
        ("-5g", "'-5g': it is negative"),
        ("-0.5kg", "'-0.5kg': it is negative"),
        ("1830", "'1830': 1830 has no unit"),
        ("1,8kg", "a comma could mean two things"),
        ("0g", "it must be above 0 and at most 100 kg"),
        ("500kg", "it must be above 0 and at most 100 kg"),
        ("1830 mm", "'mm' is not a unit I take here"),
        ("heavy", "this is not a mass"),
        ("", "nothing is written"),
        ("nan g", "this is not a mass"),
    ],
)
def test_a_mass_that_is_none_is_refused(house, mass, why):
    """On the scale, as green weight and as tare: what was written, what is wrong, how to write it."""
    house.hang()
    hang = ["hang", "X", "--chamber", "cellar", "--kind", "neck", "--green-weight", mass]
    green, scale = house.refused(*hang, code=64), house.refused("weigh", "Neck 4", mass, code=64)
    assert green.startswith("--green-weight: ")
    for told in (green, scale):
        assert why in told
        assert "write a mass like 2150g, 2.15kg, 4lb 12oz, 76oz" in told
    assert house.run("pieces", "--json").json[0]["weight_g"] is None


@pytest.mark.parametrize(
    ("option", "value", "code", "why"),
    [
        ("--diameter", "-1mm", 64, "--diameter: '-1mm': it is negative; write a length like 108mm, 10.8cm, 4.25in"),
        ("--length", "28", 64, "--length: '28': 28 has no unit; write a length like 108mm, 10.8cm, 4.25in"),
        ("--salt", "2.75", 64, "--salt: '2.75': 2.75 has no unit; write a percentage like 2.75%"),
        ("--salt", "30%", 65, "the salt is 30 % of green weight; it must be above 0 to 20 % of green weight"),
        ("--target-loss", "90%", 65, "the target loss is 90 % of green weight; it must be from 1 to 75 % of green weight"),
        ("--tare", "-1g", 64, "--tare: '-1g': it is negative; write a mass like 2150g, 2.15kg, 4lb 12oz, 76oz"),
        ("--fat", "much", 64, "argument --fat: invalid choice: 'much' (choose from"),
        ("--at", "yesteday", 64, "--at: 'yesteday' is not a time I understand; write a time like 18:00"),
        ("--until", "soon", 64, "--until: 'soon' is not a time I understand"),
        ("--at", "2045-01-01T00:00:00Z", 65, "that time, 1 Jan 2045 00:00, is in the future: it is "),
        ("--at", "1999-12-31T00:00:00Z", 65, "is before the year 2000; check the date"),
    ],
)
def test_a_fact_that_cannot_be_is_refused_with_its_range_and_unit(house, option, value, code, why):
    """What, where, what is allowed; nothing is recorded."""
    base = ["hang", "X", "--chamber", "cellar", "--kind", "neck", "--green-weight", "2150g"]
    assert why in house.refused(*base, option, value, code=code)
    if house.journal.exists():
        assert house.run("pieces", "--json").json == []


def test_a_new_piece_needs_its_kind_and_green_weight(house):
    """Said to whoever forgot them, and to whoever mistyped a known name."""
    house.hang()
    assert house.refused("hang", "Neck 5", "--chamber", "cellar", code=64) == (
        "Neck 5 was never hung before: a new piece needs --kind (neck, loin …) and --green-weight (2150g, 4lb 12oz)"
    )
    assert house.refused("hang", "X", "--chamber", "cellar", "--kind", "neck", code=64).startswith("--green-weight is missing")
    assert house.refused("hang", "X", "--chamber", "cellar", "--green-weight", "2kg", code=64).startswith("--kind is missing")


def test_facts_that_would_go_unheard_are_refused(house):
    """Hanging again does not change what a piece is."""
    house.hang(hours_ago=48)
    house.run("take-down", "Neck 4", "--at", house.ago(24))
    told = house.refused("hang", "Neck 4", "--chamber", "cellar", "--diameter", "90mm", "--target-loss", "40%", code=64)
    assert told == "Neck 4 hangs again with what is known of it; --diameter, --target-loss can't be changed here"


def test_a_known_name_for_another_piece_is_refused(house):
    """Two pieces with one name would share one record."""
    house.hang(hours_ago=48)
    told = house.refused("hang", "Neck 4", "--chamber", "cellar", "--kind", "loin", "--green-weight", "900g")
    assert told.startswith("there is a piece 'Neck 4' already (neck, 2150 g green, first hung ")


def test_a_door_session_has_an_end(house):
    """At most four hours: a held alarm must never be forgotten."""
    told = house.refused("tend", "cellar", "--for", "5h")
    assert told.endswith("it must last above 0 and at most 4 h")
    assert "--for: '30': 30 has no unit" in house.refused("tend", "cellar", "--for", "30", code=64)


def test_discarding_needs_a_reason_and_a_piece_that_is_there(house):
    """The record says why, for good."""
    house.hang()
    assert "--why" in house.refused("discard", "Neck 4", code=64)
    assert house.refused("discard", "Neck 4", "--why", "  ") == "the reason is empty; write 1 to 2000 characters"
    house.run("discard", "Neck 4", "--why", "slime")
    assert house.refused("discard", "Neck 4", "--why", "slime").startswith("Neck 4 was discarded already")


# -- where it goes ------------------------------------------------------------------------------------------


def test_the_first_fact_makes_the_journal_and_tells_it_the_house(house):
    """Later commands then need --journal alone, its chambers and units included."""
    house.hang()
    house.run("hang", "Loin 1", "--chamber", "salting-fridge", *NECK, by="journal")
    told = house.refused("hang", "Ham", "--chamber", "attic", *NECK, by="journal")
    assert told == "there is no chamber 'attic'; the chambers are: cellar, salting-fridge"


def test_a_journal_that_is_not_there_is_not_made_without_settings(house):
    """A mistyped path is told, not filled."""
    told = house.refused("weigh", "Neck 4", "1800g", code=66, by="journal")
    assert told == f"{house.journal}: there is no journal here yet; `watch` or `replay` makes it"
    assert not house.journal.exists()


def test_without_settings_or_journal_it_says_how_to_name_one(house, monkeypatch, capsys):
    """An option, a variable or the usual place."""
    monkeypatch.delenv("CHAMBERWATCH_CONFIG", raising=False)
    monkeypatch.setattr("chamberwatch.cli.home.DEFAULT_CONFIG", house.folder / "nowhere.toml")
    assert main(["weigh", "Neck 4", "1800g"]) == 64
    assert "Give --config FILE or --journal FILE (or set CHAMBERWATCH_CONFIG" in capsys.readouterr().err
    monkeypatch.setenv("CHAMBERWATCH_CONFIG", str(house.config))
    assert main(["hang", "Neck 4", "--chamber", "cellar", *NECK]) == 0


def test_a_house_in_pounds_answers_in_pounds(tmp_path, capsys):
    """Also where only the journal is named; storage stays SI."""
    house = House(tmp_path, capsys, 'units = "us"\n' + HOUSE)
    house.hang(hours_ago=48)
    said = house.run("weigh", "Neck 4", "4lb 5oz", "--at", house.ago(24))
    assert said.words.startswith("Neck 4: 4 lb 5 oz without tare, 9.0 % lost of green weight")
    later = house.run("weigh", "Neck 4", "4lb", "--at", house.ago(1), by="journal")
    assert later.words.startswith("Neck 4: 4 lb 0 oz without tare")
    assert "5 oz lost in 23 h" in later.words
    # 2250 g = 4.9604 lb = 4 lb 15.37 oz (1 lb = 453.59237 g, exact by definition, from memory)
    assert "4 lb 15.4 oz more than" in house.refused("weigh", "Neck 4", "4.4kg", by="journal")
    assert house.run("pieces", "--json").json[0]["weight_g"] == pytest.approx(1814.37, abs=0.01)


def test_nothing_is_lost_by_a_refusal(house):
    """After all kinds of refusals the record is as it was."""
    house.hang()
    before = house.run("pieces", "--json").json
    for argv, code in (
        (["weigh", "Neck 4", "3kg"], 65),
        (["weigh", "Neck 4", "3"], 64),
        (["move", "Neck 4", "--chamber", "cellar"], 65),
        (["hang", "Neck 4", "--chamber", "salting-fridge"], 65),
        (["take-down", "Neck 4", "--at", house.ago(48)], 65),
        (["discard", "Neck 4", "--why", ""], 65),
    ):
        house.refused(*argv, code=code)
    after = house.run("pieces", "--json").json
    assert [{**p, "day": 0} for p in after] == [{**p, "day": 0} for p in before]
    assert json.dumps(requests(house)) == "[]"
