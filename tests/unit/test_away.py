"""Away: who is told meanwhile, the sheet before leaving, being back.

The days of weighing and tying are the owner's (common practice, no source). How fast the chamber of these tests
warms is what its made-up saw-tooth does: 1 °C in 22.5 minutes, which is 2.67 °C an hour.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC

import cli_parts
import pytest
from daemon_parts import CELLAR, T0, House

from chamberwatch.daemon.teller import Teller
from chamberwatch.errors import FactRefused
from chamberwatch.journal.away import Away
from chamberwatch.journal.facts import Facts
from chamberwatch.journal.reader import Reader
from chamberwatch.model import MS_PER_DAY, MS_PER_H, MS_PER_MIN, ChamberKind
from chamberwatch.words.away import Slack, page, slack
from chamberwatch.words.duties import duties, next_weighing_ms

CHANNELS = """
[[notify.channel]]
name = "me"
topic = "a/me"
[[notify.channel]]
name = "neighbour"
topic = "a/neighbour"
role = "stand-in"
"""


@pytest.fixture
def house(tmp_path):
    """A house that tells its owner by mail and may tell a neighbour."""
    house = House(tmp_path)
    house.pipeline._teller = Teller(
        house.plan, house.journal.hanging, ["mail"], UTC, "metric", stand_ins=["neighbour"], away=house.journal.away
    )
    yield house
    house.close()


def leave(house, until_ms, stand_in="neighbour", remark="key under the pot"):
    """Leave now."""
    with Facts(house.path, now_ms=house.clock.ms) as facts:
        return facts.asks.go_away(Away(house.clock.ms, until_ms, stand_in, remark))


def owed(house):
    """Who was owed what: (channel, urgent, whether the page is with it)."""
    rows = house.rows("SELECT channel, priority, body FROM notice ORDER BY id")
    return [(channel, priority == "high", "WHAT TO DO AT cellar" in body) for channel, priority, body in rows]


def test_while_the_owner_is_there_the_stand_in_hears_nothing(house):
    """One message, the owner's."""
    house.minutes(60, 16.5)
    assert owed(house) == [("mail", False, False)]


def test_what_is_not_urgent_goes_to_the_stand_in_alone_without_the_page(house):
    """Until then; afterwards to the owner again, by itself."""
    leave(house, T0 + 160 * MS_PER_MIN)
    house.minutes(60, 16.5)
    house.minutes(100, 12.0)
    told = owed(house)
    house.minutes(60, 16.5)

    assert told == [("neighbour", False, False)] * 2
    assert owed(house)[2:] == [("mail", False, False)]


def test_what_is_urgent_goes_to_both_and_to_the_stand_in_with_the_page(house):
    """The owner's message is as ever; its return carries no page."""
    leave(house, T0 + MS_PER_DAY)
    house.minutes(60, 21.0)
    house.minutes(100, 12.0)

    assert owed(house)[:2] == [("mail", True, False), ("neighbour", True, True)]
    assert owed(house)[-2:] == [("mail", True, False), ("neighbour", True, False)]
    (body,) = house.rows("SELECT body FROM notice WHERE channel = 'neighbour' ORDER BY id LIMIT 1")[0]
    assert "From the owner: key under the pot" in body
    assert "its owner is away until 1 Nov 00:00" in body


@pytest.mark.parametrize("stand_in", ["", "gone"])
def test_without_a_stand_in_that_exists_the_owner_is_told(house, stand_in):
    """Nobody named, or a channel that the settings have no more."""
    leave(house, T0 + MS_PER_DAY, stand_in)
    house.minutes(60, 16.5)
    assert owed(house) == [("mail", False, False)]


def test_back_early_the_stand_in_is_owed_nothing_more(house):
    """What was not sent yet is not sent; the next alarm is the owner's."""
    leave(house, T0 + MS_PER_DAY)
    house.minutes(60, 16.5)
    with Facts(house.path, now_ms=house.clock.ms) as facts:
        was = facts.asks.come_back(house.clock.ms)
        with pytest.raises(FactRefused, match="you were not away"):
            facts.asks.come_back(house.clock.ms)
    house.minutes(100, 12.0)

    assert was.stand_in == "neighbour"
    assert house.rows("SELECT channel, state, why FROM notice ORDER BY id")[0] == ("neighbour", "dropped", "the owner is back")
    assert [channel for channel, *_ in owed(house)][1:] == ["mail"]


def test_a_later_absence_takes_the_place_of_the_one_before_and_a_kill_forgets_none(house):
    """One at a time; it is read from the journal."""
    leave(house, T0 + MS_PER_DAY, "")
    house.clock.ms += MS_PER_H
    leave(house, T0 + 2 * MS_PER_DAY)
    with Reader(house.path) as reader:
        assert reader.away(house.clock.ms).stand_in == "neighbour"
        assert reader.away(T0 + 2 * MS_PER_DAY) is None
    with pytest.raises(FactRefused, match="at most 2160 h from now"):
        leave(house, house.clock.ms + 91 * MS_PER_DAY)


# -- what falls due --------------------------------------------------------------------------------------------


def test_weighing_falls_due_on_day_3_day_7_and_weekly():
    """Counted from the hang, then from the last weigh-in; one shortly before its day counts for it."""
    day = MS_PER_DAY
    cases = {None: 3, 2 * day: 7, 3 * day: 7, 6 * day: 13, 7 * day: 14, 14 * day: 21}
    assert {w: next_weighing_ms(0, w) / day for w in cases} == cases


def test_only_what_falls_into_the_absence_is_listed_and_what_is_overdue():
    """Hung 4 days ago, away for two: weighing is overdue and tying begins now; two weeks on, neither."""
    day = MS_PER_DAY
    assert [d.what.split()[0] for d in duties(0, None, 4 * day, 6 * day)] == ["weigh", "tie"]
    assert duties(0, 14 * day, 15 * day, 17 * day) == []
    assert [d.at_ms for d in duties(0, 14 * day, 15 * day, 22 * day)] == [21 * day]


# -- the sheet -------------------------------------------------------------------------------------------------


@pytest.fixture
def home(tmp_path, capsys):
    """A house of the command line whose cellar's cycle is learnt, with two pieces in it."""
    home = cli_parts.House(tmp_path, capsys, cli_parts.HOUSE + CHANNELS)
    rows = []
    for i in range(12 * 360):
        part = (i % 180) / 180
        temp_c = 12 + (part / 0.75 if part < 0.75 else (1 - part) / 0.25)
        rows.append((12 * 60 - i / 6, "rear", round(temp_c + i % 3 / 100, 2), round(75 + part * 3, 1)))
    home.replay(rows)
    home.hang("Bresaola 2", hours_ago=9 * 24)
    home.hang("Neck 4", hours_ago=5 * 24)
    return home


def test_the_sheet_says_what_to_do_what_falls_due_and_how_long_there_is(home):
    """Who is told, each piece's duties, the learnt pace and the hours it leaves, the page; at 80 columns."""
    said = home.run("away", "--until", "5d", "--remark", "fuse box in the hall").words

    assert "What happens is told to neighbour" in said
    assert "cellar: fill the humidifier" in said
    assert "Bresaola 2: weigh it, look for mold and wipe it (due since" in said
    assert "Neck 4: tie it again" in said
    pace = float(said.split("its own pauses (")[1].split()[0])
    assert pace == pytest.approx(1 / 22.5 * 60, abs=0.15)
    assert "past 15.0 °C after about" in said
    assert "salting-fridge: no reading yet, so I can't say" in said
    assert "WHAT TO DO AT cellar" in said
    assert "From the owner: fuse box in the hall" in said
    assert "neighbour stands in" in home.run("now").words
    assert "welcome back: alarms are yours again" in home.run("away", "--back").words
    assert home.refused("away", "--back").startswith("you were not away")


def test_a_piece_in_salt_is_on_the_sheet_with_its_next_job_and_is_not_weighed(home):
    """Nothing hangs of it yet: it is to be turned, and a weigh day passes it over."""
    home.run("start", "Loin 7", "--chamber", "salting-fridge", "--kind", "loin", "--green-weight", "1600g", "--diameter",
             "85mm", "--at", home.ago(30))

    assert "Loin 7: turn it" in home.run("away", "--until", "5d").words
    assert "weighed: nothing" in home.run("tend", "salting-fridge", "--weigh").words


def test_json_and_what_cannot_be(home):
    """The recorded absence as one document; a stand-in that is none, a moment that is past."""
    said = home.run("away", "--until", "2d", "--stand-in", "neighbour", "--json").json
    assert (said["stand_in"], said["remark"]) == ("neighbour", None)
    assert said["until"] > said["from"]
    assert "'me' is no stand-in's channel; there is: neighbour" in home.refused("away", "--until", "2d", "--stand-in", "me", code=64)
    assert "is not a moment ahead" in home.refused("away", "--until", "2h ago", code=64)
    assert "2160 h" in home.refused("away", "--until", "100d")


def test_a_chamber_that_has_not_learnt_says_so_and_a_room_has_no_cooling():
    """No guess stands where nothing is known."""
    assert "not learnt yet" in slack(Slack(CELLAR, 12.0, None), "metric")
    assert "no reading yet" in slack(Slack(CELLAR, None, 2.0), "metric")
    assert "no cooling" in slack(Slack(replace(CELLAR, kind=ChamberKind.ROOM), 12.0, 2.0), "metric")
    assert "past 15.0 °C after about 90 min and past 18.0 °C after about 3 h" in slack(Slack(CELLAR, 12.0, 2.0), "metric")
    assert "it is past 15.0 °C already" in slack(Slack(CELLAR, 16.0, 2.0), "metric")
    assert "3.6 °F an hour" in slack(Slack(CELLAR, 12.0, 2.0), "us")


def test_the_page_never_calls_the_meat_safe_and_always_carries_the_caution():
    """For every kind of chamber."""
    for kind in ChamberKind:
        text = "\n".join(page(replace(CELLAR, kind=kind), "", "metric"))
        assert "safe" not in text
        assert "Bad smell, slime or odd colour: discard." in text
        assert ("drying only pauses" in text) == (kind is not ChamberKind.COLD)
