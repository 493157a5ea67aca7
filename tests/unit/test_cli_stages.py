"""A piece from salt to table on the command line: stages, warnings, refusals, next jobs."""

from __future__ import annotations

import pytest
from cli_parts import HOUSE, House

from chamberwatch.journal.reader import Reader
from chamberwatch.model import Stage

DAY_H = 24
FRIDGE = ("--chamber", "salting-fridge")
RAW = ("--kind", "neck", "--green-weight", "2150g", "--diameter", "108mm")


@pytest.fixture
def house(tmp_path, capsys):
    """A house of a cellar and a salting fridge."""
    return House(tmp_path, capsys)


def start(house, days_ago, *more, name="Neck 4"):
    """Begin to salt a neck in the fridge."""
    return house.run("start", name, *FRIDGE, *RAW, *more, "--at", house.ago(days_ago * DAY_H))


def told(house, name="Neck 4"):
    """Return the piece as the journal has it."""
    with Reader(house.journal) as reader:
        return reader.piece(name)


def stages(house):
    """Return the stages of the piece with how many days ago each began."""
    day = DAY_H * 3_600_000
    return [(one.stage, round((house.now_ms - one.from_ms) / day, 1)) for one in told(house).stages]


def ready(house):
    """A neck salted for 18 days, cased, dripped and hung 60 days ago."""
    start(house, 80, "--salt", "2.75%")
    for stage, days in (("equalising-salt", 62), ("casing", 61), ("dripping", 60.9)):
        house.run("stage", "Neck 4", stage, "--at", house.ago(days * DAY_H))
    house.run("hang", "Neck 4", "--chamber", "cellar", "--casing", "beef-bung", "--at", house.ago(60.5 * DAY_H))


def test_salting_begins_with_its_cure_and_its_cautions(house):
    """The trade's rule is called a rule; 5.2 g of 6.25 % on 2150 g bring 151 ppm (mass over mass); parasites."""
    said = start(house, 2, "--species", "pork", "--nitrite", "6.25%", "--cure", "5.2g", "--source", "tested pork").words
    assert "Neck 4 is in salt in salting-fridge since " in said
    assert "151 ppm nitrite (home limit 200 ppm" in said
    assert "17 to 20 days for 108 mm, turned every 2 days: the trade's rule, no more than a rule" in said
    assert "freeze pork 20 days at -15 °C" in said
    facts = told(house).facts
    assert (facts.species, facts.source, facts.nitrite_pct, facts.cure_g) == ("pork", "tested pork", 6.25, 5.2)


@pytest.mark.parametrize(
    ("cure", "said"),
    [
        (("6.25%", "59.1g"), "TOO MUCH NITRITE"),  # all the salt taken as curing salt: 1,719 ppm
        (("6.25%", "59.1g"), "Perhaps ten times too much"),
        (("0.6%", "5.4g"), "TOO LITTLE NITRITE"),  # a weak curing salt dosed like a strong one: 15 ppm
        (("0.6%", "5.4g"), "Perhaps ten times too little"),
    ],
)
def test_a_dose_out_by_ten_is_told_and_recorded(house, cure, said):
    """It went in, so it is recorded; examples of the nitrite notes (21 CFR 172.175's 200 ppm, found)."""
    assert said in start(house, 1, "--nitrite", cure[0], "--cure", cure[1]).words
    assert told(house).facts.cure_g == pytest.approx(float(cure[1][:-1]))


def test_game_has_its_own_caution(house):
    """Freezing and curing are not reliable there."""
    assert "Game and horse: neither freezing nor curing" in start(house, 1, "--species", "wild boar").words


def test_the_whole_way(house):
    """Every stage in its order, the fridge and the hook as stays, days counted from the hang."""
    ready(house)
    house.run("weigh", "Neck 4", "1380g", "--at", house.ago(8 * DAY_H))
    down = house.run("stage", "Neck 4", "equalising-moisture", *FRIDGE, "--at", house.ago(7.5 * DAY_H)).words
    assert "airless only at 4 °C or below" in down
    said = house.run("cut", "Neck 4", "--crust", "1mm", "--centre", "evenly red", "--salt", "right", "--verdict", "good").words
    assert said.startswith("Neck 4 is done: 60 days from the hang, 36 % lost (target 35 %).")
    assert "Keep it at 4 °C or below." in said
    assert stages(house) == [
        (Stage.SALTING, 80), (Stage.EQUALISING_SALT, 62), (Stage.CASING, 61), (Stage.DRIPPING, 60.9),
        (Stage.HANGING, 60.5), (Stage.EQUALISING_MOISTURE, 7.5), (Stage.DONE, 0),
    ]  # fmt: skip
    piece = told(house)
    assert [(s.chamber, s.hanging) for s in piece.stays] == [("salting-fridge", False), ("cellar", True), ("salting-fridge", False)]
    assert piece.facts.casing == "beef-bung"
    assert (piece.cut.crust_mm, piece.cut.centre, piece.cut.verdict) == (1.0, "evenly red", "good")
    row = house.run("pieces").words
    assert row.startswith("Neck 4 neck done 2150 g green 1380 g, 35.8 % of 35 % lost")


def test_a_piece_in_the_fridge_is_among_those_an_event_is_about(house):
    """The salting fridge's hours count: what lies there is named, and no piece hangs there."""
    start(house, 3)
    (listed,) = house.run("now", "--json").json["pieces"]
    assert (listed["chamber"], listed["stage"], listed["day"]) == ("salting-fridge", "salting", 4)
    with Reader(house.journal) as reader:
        assert [p.name for p in reader.hanging("salting-fridge", house.now_ms)] == ["Neck 4"]
        assert reader.hanging_times("salting-fridge") == ()


def test_days_and_planned_air_count_from_the_hang(house):
    """Eighteen days in salt make nobody older on the hook."""
    start(house, 20)
    house.run("hang", "Neck 4", "--chamber", "cellar", "--at", house.ago(2 * DAY_H))
    with Reader(house.journal) as reader:
        (hanging,) = reader.hanging("cellar", house.now_ms)
        (time,) = reader.hanging_times("cellar")
    assert hanging.day == 3
    assert time.hung_ms == time.from_ms


@pytest.mark.parametrize(("days", "warned"), [(3, True), (16.5, True), (18, False)])
def test_hung_before_the_salting_time_is_up(house, days, warned):
    """The rule asks for 17 days of 108 mm (a day per 7 mm, and 2; common practice, no source)."""
    start(house, days)
    said = house.run("hang", "Neck 4", "--chamber", "cellar", "--at", house.ago(0)).words
    assert ("TOO EARLY" in said) is warned
    assert ("put it back into the fridge at 2 to 4 °C" in said) is warned


def test_hung_as_the_contract_has_it_after_a_start(house):
    """All of `hang`'s options on a piece that salts: one piece, its facts as said last, not hung again."""
    start(house, 20)
    hung = house.hang("neck 4", "--json", hours_ago=1).json
    assert (hung["piece"], hung["again"]) == ("Neck 4", False)
    assert told(house).facts.salt_pct == 2.75
    assert len(house.run("pieces", "--json").json) == 1


def test_a_piece_may_be_met_at_any_stage(house):
    """Entered when it already hangs: its salting is entered later, for the past."""
    house.hang(hours_ago=5 * DAY_H)
    start(house, 23)
    house.run("stage", "Neck 4", "casing", "--at", house.ago(6 * DAY_H))
    assert stages(house) == [(Stage.SALTING, 23), (Stage.CASING, 6), (Stage.HANGING, 5)]
    (fridge, cellar) = told(house).stays
    assert (fridge.to_ms, cellar.to_ms) == (pytest.approx(house.now_ms - 6 * 86_400_000, abs=2000), None)


def test_a_mistake_is_put_right(house):
    """`--correct` takes back this stage and later ones; the date of a stage can be changed."""
    start(house, 20)
    house.run("stage", "Neck 4", "casing", "--at", house.ago(2 * DAY_H))
    house.run("stage", "Neck 4", "dripping", "--at", house.ago(1 * DAY_H))
    house.run("stage", "Neck 4", "equalising-salt", "--correct", "--at", house.ago(3 * DAY_H))
    assert stages(house) == [(Stage.SALTING, 20), (Stage.EQUALISING_SALT, 3)]
    house.run("stage", "Neck 4", "salting", "--correct", "--at", house.ago(18 * DAY_H))
    assert stages(house) == [(Stage.SALTING, 18)]


def test_a_cut_by_mistake_is_taken_back(house):
    """The piece was only taken down to even out."""
    ready(house)
    house.run("cut", "Neck 4", "--at", house.ago(2))
    house.run("stage", "Neck 4", "equalising-moisture", "--correct", "--at", house.ago(3))
    assert stages(house)[-1] == (Stage.EQUALISING_MOISTURE, 0.1)


@pytest.mark.parametrize(
    ("argv", "code", "said"),
    [
        (("start", "Loin 1", "--chamber", "cellar", *RAW), 65, "cellar is no cold chamber"),
        (("start", "Loin 1", *FRIDGE, *RAW, "--bone-in"), 65, "meat on the bone"),
        (("start", "Loin 1", *FRIDGE, "--kind", "loin"), 64, "--green-weight is missing"),
        (("start", "Loin 1", *FRIDGE, "--green-weight", "2kg"), 64, "--kind is missing"),
        (("start", "Loin 1", *FRIDGE, *RAW, "--cure", "5g"), 64, "say all of --nitrite"),
        (("start", "Loin 1", *FRIDGE, *RAW, "--cure", "5g", "--nitrite", "99%"), 65, "nearly pure nitrite"),
        (("start", "Loin 1", *FRIDGE, *RAW, "--salt", "30%"), 65, "the salt is 30 % of green weight; it must be"),
        (("start", "Loin 1", *FRIDGE, *RAW, "--target-loss", "90%"), 65, "the target loss is 90 % of green weight"),
        (("start", "Loin 1", *FRIDGE, *RAW[:4], "--diameter", "2000mm"), 65, "the diameter is 2000 mm; it must be"),
        (("start", "cellar", *RAW), 65, "is a chamber"),
        (("stage", "Neck 4", "salting"), 65, "Neck 4 is at hanging since"),
        (("stage", "Neck 4", "salting"), 65, "add --correct"),
        (("stage", "Neck 4", "salting", "--correct"), 65, "must have been before that; give --at"),
        (("stage", "Neck 4", "hanging"), 65, "`hang`, which says in which chamber"),
        (("stage", "Neck 4", "done"), 65, "`cut`, which says how it was"),
        (("stage", "Neck 4", "discarded"), 65, "`discard`, which says why"),
        (("stage", "Neck 4", "equalising"), 64, "could be either of two"),
        (("stage", "Neck 4", "resting"), 64, "is none; the stages are: salting, equalising-salt"),
        (("stage", "Nek 4", "casing"), 65, "did you mean 'Neck 4'?"),
        (("stage", "Neck 4", "equalising-moisture", "--chamber", "cellar"), 65, "is no cold chamber"),
        (("cut", "Neck 4", "--crust", "40mm"), 65, "a crust of 40 mm; it must be from 0 to 30 mm"),
        (("cut", "Neck 4", "--crust", "2"), 64, "--crust: '2': 2 has no unit"),
        (("cut", "Neck 4", "--verdict", "safe"), 64, "invalid choice"),
        (("cut", "Neck 4", "--at", "2020-01-01T00:00:00Z"), 65, "was still whole"),
        (("cut", "Raw 1"), 65, "Raw 1 never hung: it is at salting"),
        (("forecast", "Raw 1"), 65, "Raw 1 was not hung yet: it is at salting"),
        (("stage", "Raw 1", "casing", "--chamber", "salting-fridge"), 65, "needs no chamber"),
        (("weigh", "Neck 4", "500g", "--removed", "900g"), 65, "900 g cut off is more than the 500 g that are left"),
    ],
)
def test_what_cannot_be_is_refused(house, argv, code, said):
    """What, where, what may be; nothing is recorded."""
    ready(house)
    start(house, 1, name="Raw 1")
    before = house.run("pieces", "--json").json
    assert said in " ".join(house.refused(*argv, code=code).split())
    assert house.run("pieces", "--json").json == before


def test_what_is_finished_stays_finished(house):
    """Cut: no hang, no weigh-in, no second cut; but it may turn out to be one to discard."""
    ready(house)
    house.run("cut", "Neck 4", "--verdict", "poor", "--at", house.ago(1))
    assert "what was cut is not hung again" in house.refused("hang", "Neck 4", "--chamber", "cellar")
    assert "that is its last weight" in house.refused("weigh", "Neck 4", "1400g")
    assert "was cut open already" in house.refused("cut", "Neck 4")
    house.run("discard", "Neck 4", "--why", "dark ring")
    assert "Neck 4 is discarded since" in house.refused("stage", "Neck 4", "casing")
    assert "for good" in house.refused("stage", "Neck 4", "salting", "--correct")


def test_a_trial_slice_is_no_drying(house):
    """2000 g less a slice of 100 g: 1900 g are left and nothing dried; later losses count on what was left."""
    house.hang(hours_ago=20 * DAY_H)
    house.run("weigh", "Neck 4", "2000g", "--at", house.ago(10 * DAY_H))
    said = house.run("weigh", "Neck 4", "1900g", "--remark", "trial slice 100 g", "--at", house.ago(9 * DAY_H))
    assert "7.0 % lost" in said.words
    assert "0 g lost in 24 h; 100 g cut off is not counted as dried" in said.words
    after = house.run("weigh", "Neck 4", "1805g", "--at", house.ago(1 * DAY_H), "--json").json
    # by hand: 1805 / (1900/2000) = 1900 of 2150 g
    assert after["loss_pct"] == pytest.approx(100 * (1 - 1900 / 2150))
    assert house.run("pieces", "--json").json[0]["loss_pct"] == pytest.approx(100 * (1 - 1900 / 2150), abs=0.01)


def test_the_next_job_is_told(house):
    """Weigh, re-tie, turn: who is first in time comes first; noted re-tying is done (common practice, no source)."""
    house.hang("Bresaola 2", hours_ago=5.5 * DAY_H)
    for days in (5.5, 2.5):
        house.run("weigh", "Bresaola 2", f"{2040 + days * 10:.0f}g", "--at", house.ago(days * DAY_H))
    start(house, 3)
    said = house.run("pieces").words
    assert "Bresaola 2: re-tie it: the string is loose by now, due now Neck 4: turn it, " in said
    house.run("note", "Bresaola 2", "re-tied, nice and tight")
    found = {p["piece"]: p["next"] for p in house.run("pieces", "--json").json}
    assert (found["Bresaola 2"]["job"], found["Neck 4"]["job"]) == ("weigh", "turn")


def test_pounds_and_inches_where_the_house_has_them(tmp_path, capsys):
    """US units in the answer."""
    house = House(tmp_path, capsys, 'units = "us"\n' + HOUSE)
    said = house.run("start", "Neck 4", *FRIDGE, "--kind", "neck", "--green-weight", "4lb 12oz", "--diameter", "4.25in").words
    assert "17 to 20 days for 4.25 in" in said
    assert "4 lb 12 oz green" in house.run("pieces").words


def test_facts_of_a_hang_are_still_whole(house):
    """`hang` alone, as ever: no stage is asked for, and it is at hanging."""
    house.hang(hours_ago=2)
    assert stages(house) == [(Stage.HANGING, 0.1)]
    assert house.run("pieces").words.startswith("Neck 4 neck cellar, day 1 2150 g green not weighed yet")
