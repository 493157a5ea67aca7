"""`cure`: dosing at the command line. The worked examples are those of `published/test_meat_nitrite.py`."""

import json

import pytest

from chamberwatch.cli import main


@pytest.fixture
def cure(capsys):
    """Run it; return the exit code and what was said."""

    def run(*argv):
        code = main(["cure", *argv])
        said = capsys.readouterr()
        return code, " ".join((said.out + said.err).split())

    return run


def document(cure, *argv):
    """The JSON answer."""
    code, said = cure(*argv, "--json")
    return code, json.loads(said)


def test_what_to_weigh_for_a_usual_dose(cure):
    """150 ppm of a 6.25 % salt on 2 kg are 4.8 g; with the plain salt it makes 2.75 % in all, nitrite left out."""
    code, found = document(cure, "--green-weight", "2kg", "--nitrite", "6.25%")

    assert code == 0
    assert (found["cure_g"], found["nitrite_ppm"], found["nitrate_ppm"], found["concerns"]) == (4.8, 150.0, 0.0, [])
    assert found["plain_salt_g"] + 0.9375 * found["cure_g"] == pytest.approx(55.0, abs=0.06)


@pytest.mark.parametrize(
    ("argv", "ppm", "concern"),
    [
        (("--nitrite", "6.25%", "--grams", "55g"), 1719, "perhaps ten times too much"),
        (("--nitrite", "0.6%", "--grams", "5g"), 15, "perhaps ten times too little"),
    ],
)
def test_tenfold_mistakes_are_caught_both_ways(cure, argv, ppm, concern):
    """The strong salt used as all the salt, the weak one dosed like the strong: told first, exit code 69."""
    code, found = document(cure, "--green-weight", "2kg", *argv)

    assert code == 69
    assert round(found["nitrite_ppm"]) == ppm
    assert concern in found["concerns"]
    assert cure("--green-weight", "2kg", *argv)[1].startswith(("TOO MUCH NITRITE", "TOO LITTLE NITRITE"))


def test_a_neck_s_salting_time_is_told_as_a_rule_beside_an_estimate(cure):
    """102 to 114 mm: 14 to 19 days and a little more by the rule (common practice, no source), little core salt."""
    said = cure("--green-weight", "4lb 12oz", "--nitrite", "6.25%", "--diameter", "4in")[1]

    assert "In salt for 17 to 19 days" in said
    assert "no more than a rule" in said
    assert "an estimate known to a factor of two" in said


def test_the_cautions_are_always_there(cure):
    """Whatever the dose."""
    said = cure("--green-weight", "2kg", "--nitrite", "6.25%", "--commercial")[1]

    for caution in ("Weigh to 0.1 g", "Never use pure nitrite", "Trichinella", "pregnant", "discard", "commercial dry cure: 625"):
        assert caution in said


def test_bacon_that_is_fried_gets_no_nitrate(cure):
    """Nitrate on the label and a frying pan ahead."""
    code, found = document(cure, "--green-weight", "2kg", "--nitrite", "6.25%", "--nitrate", "4%", "--fried")

    assert (code, "nitrate in what is fried" in found["concerns"]) == (69, True)


@pytest.mark.parametrize(
    ("argv", "code", "said"),
    [
        (("--green-weight", "2150", "--nitrite", "6.25%"), 64, "--green-weight: '2150': 2150 has no unit"),
        (("--green-weight", "2kg", "--nitrite", "90%"), 65, "nearly pure nitrite"),
        (("--green-weight", "2kg", "--nitrite", "6.25%", "--salt", "30%"), 64, "30 % is outside 1 to 8 %"),
        (("--green-weight", "2kg", "--nitrite", "6.25%", "--grams", "900g"), 65, "it must be from 0 to 300 g"),
        (("--green-weight", "2kg", "--nitrite", "6.25%", "--ppm", "900"), 65, "outside 0 to 200 ppm"),
        (("--green-weight", "2kg", "--nitrite", "6.25%", "--diameter", "2m"), 64, "is not a unit I take here"),
        (("--green-weight", "2kg", "--nitrite", "6.25%", "--diameter", "900mm"), 65, "outside 8 to 250 mm"),
        (("--green-weight", "2kg", "--nitrite", "6%", "--diameter", "9cm", "--thickness", "4cm"), 64, "not both"),
    ],
)
def test_what_cannot_be_is_refused(cure, argv, code, said):
    """What, where, the range and the unit."""
    found, text = cure(*argv)

    assert found == code
    assert said in text
    assert "Traceback" not in text
