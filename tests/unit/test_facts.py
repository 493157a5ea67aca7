"""What the owner says: recorded whole, also for the past, or refused with what cannot be and why."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest
from journal_parts import PLAN, T0, alarm, at, rows

from chamberwatch.errors import FactRefused, JournalError
from chamberwatch.journal.fact_results import Discarded, Hung, Moved, TakenDown, Weighed
from chamberwatch.journal.facts import Facts
from chamberwatch.journal.store import Batch, Journal
from chamberwatch.model import MS_PER_DAY, Kind, PieceFacts

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

DAY_S = 86_400
NOW_S = 60 * DAY_S  # 30 December 2026, 00:00 UTC
LOIN = PieceFacts("Loin 1", "loin", 2000.0, diameter_mm=104.0, casing="beef bung", salt_pct=2.75, tare_g=80.0)
NECK = PieceFacts("Neck 4", "neck", 2400.0)
STAYS = "SELECT name, chamber, from_ms, to_ms FROM stay JOIN piece ON piece.id = piece_id ORDER BY from_ms"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A journal that knows the house, closed."""
    place = tmp_path / "cellar.db"
    journal = Journal.open(place)
    journal.remember_plan(PLAN, "metric")
    journal.close()
    return place


@pytest.fixture
def facts(path: Path) -> Iterator[Facts]:
    """The facts of that journal, sixty days after T0."""
    with Facts(path, now_ms=at(NOW_S)) as opened:
        yield opened


@pytest.fixture
def hung(facts: Facts) -> Facts:
    """The same, with Loin 1 in the cellar since day 10."""
    facts.hang(LOIN, "cellar", at(10 * DAY_S))
    return facts


def day(n: float) -> int:
    """Return ms UTC n days after T0, 31 October 2026 at midnight UTC."""
    return at(n * DAY_S)


def stays(path: Path) -> list[tuple]:
    """Return (piece, chamber, from, to) with times in days after T0."""
    return [
        (name, chamber, (start - T0) / MS_PER_DAY, None if end is None else (end - T0) / MS_PER_DAY)
        for name, chamber, start, end in rows(path, STAYS)
    ]


def refused(attempt: Callable[[], object], *parts: str) -> None:
    """Assert that the attempt is refused and its text holds every part."""
    with pytest.raises(FactRefused) as caught:
        attempt()
    for part in parts:
        assert part in str(caught.value)


# -- hang


def test_a_piece_is_hung(facts: Facts, path: Path) -> None:
    """The answer says what was recorded, and every fact of the piece is kept."""
    assert facts.hang(LOIN, "cellar", day(10)) == Hung("Loin 1", "cellar", day(10), None, again=False)
    assert stays(path) == [("Loin 1", "cellar", 10, None)]
    kept = rows(
        path, "SELECT kind, green_weight_g, diameter_mm, casing, salt_pct, target_loss_pct, tare_g FROM piece"
    )
    assert kept == [("loin", 2000.0, 104.0, "beef bung", 2.75, 35.0, 80.0)]


def test_a_stay_that_is_over_is_recorded_whole(facts: Facts, path: Path) -> None:
    """Beginning and end in one go, for the past."""
    facts.hang(LOIN, "cellar", day(1), until_ms=day(3))
    assert stays(path) == [("Loin 1", "cellar", 1, 3)]


def test_a_piece_taken_down_hangs_again(hung: Facts, path: Path) -> None:
    """Several stays are normal: bagged to equalise, then back; by name alone or with the same facts."""
    hung.take_down("Loin 1", day(20))
    assert hung.hang_again("loin 1", "cellar", day(25)) == Hung("Loin 1", "cellar", day(25), None, again=True)
    hung.take_down("Loin 1", day(30))
    assert hung.hang(LOIN, "cellar", day(30)).again is True
    assert stays(path) == [
        ("Loin 1", "cellar", 10, 20),
        ("Loin 1", "cellar", 25, 30),
        ("Loin 1", "cellar", 30, None),
    ]


def test_an_earlier_stay_is_entered_later(hung: Facts, path: Path) -> None:
    """Facts may come in any order."""
    hung.hang_again("Loin 1", "salting", day(1), until_ms=day(10))
    assert stays(path) == [("Loin 1", "salting", 1, 10), ("Loin 1", "cellar", 10, None)]


@pytest.mark.parametrize(
    ("start", "end", "said"),
    [
        (15, None, "Loin 1 hangs in cellar since 10 Nov 00:00; move it, or take it down first"),
        (5, None, "from 10 Nov 00:00 and hangs there still; two stays cannot overlap: say with --until"),
        (5, 11, "two stays cannot overlap"),
        (10, 11, "Loin 1 hangs in cellar since"),
    ],
)
def test_stays_of_one_piece_cannot_overlap(facts: Facts, start: float, end: float | None, said: str) -> None:
    """The refusal names the other stay and its dates."""
    facts.hang(LOIN, "cellar", day(10))
    until_ms = None if end is None else day(end)
    refused(lambda: facts.hang_again("Loin 1", "salting", day(start), until_ms=until_ms), said)


def test_a_stay_cannot_overlap_one_that_is_over(hung: Facts, path: Path) -> None:
    """Touching is not overlapping; lying within, across or around is."""
    hung.take_down("Loin 1", day(20))
    for start, end in ((12, 15), (15, 25), (5, 25), (5, None), (19.9, None)):
        until_ms = None if end is None else day(end)
        refused(
            lambda start=start, until_ms=until_ms: hung.hang_again(
                "Loin 1", "cellar", day(start), until_ms=until_ms
            ),
            "Loin 1 hung in cellar from 10 Nov 00:00 to 20 Nov 00:00; two stays cannot overlap",
        )
    hung.hang_again("Loin 1", "cellar", day(20))
    hung.hang_again("Loin 1", "cellar", day(5), until_ms=day(10))
    assert len(stays(path)) == 3


def test_a_stay_cannot_end_before_it_begins(facts: Facts, path: Path) -> None:
    """And nothing of the piece is recorded then."""
    refused(lambda: facts.hang(LOIN, "cellar", day(5), until_ms=day(5)), "a stay cannot end")
    assert rows(path, "SELECT count(*) FROM piece") == [(0,)]


def test_another_piece_needs_another_name(hung: Facts) -> None:
    """The same name with another kind or green weight is refused, in capitals or not."""
    hung.take_down("Loin 1", day(20))
    said = "there is a piece 'Loin 1' already (loin, 2000 g green, first hung 10 Nov 00:00)"
    refused(lambda: hung.hang(replace(LOIN, green_weight_g=2300.0), "cellar", day(30)), said, "another name")
    refused(lambda: hung.hang(replace(NECK, name="LOIN 1"), "cellar", day(30)), said)


def test_a_piece_cannot_be_called_like_a_chamber(facts: Facts) -> None:
    """A note about `cellar` must mean one thing."""
    refused(lambda: facts.hang(replace(LOIN, name="cellar"), "cellar", day(1)), "'cellar' is a chamber")


def test_an_unknown_chamber_is_refused_with_those_there_are(facts: Facts, path: Path) -> None:
    """Known are the chambers of the remembered plan, and those of settings newer than it."""
    refused(
        lambda: facts.hang(LOIN, "cellr", day(1)), "no chamber 'cellr'; the chambers are: cellar, salting"
    )
    with Facts(path, now_ms=at(NOW_S), chambers=["shed"]) as wider:
        assert wider.hang(LOIN, "shed", day(1)).chamber == "shed"


def test_names_are_tidied(facts: Facts, path: Path) -> None:
    """Blanks too many are no other name."""
    assert facts.hang(replace(LOIN, name="  Loin \t 1 "), "cellar", day(1)).piece == "Loin 1"
    assert facts.weigh("loin   1", 2000.0, day(2)).piece == "Loin 1"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"name": "  "}, "the piece's name is empty; write 1 to 64 characters"),
        ({"name": "x" * 65}, "the piece's name has 65 characters; at most 64"),
        ({"name": "Loin\x07"}, "cannot be printed"),
        ({"kind": ""}, "the kind of piece is empty"),
        ({"green_weight_g": 0.0}, "the green weight is 0 g; it must be above 0 to 100000 g"),
        ({"green_weight_g": -2150.0}, "the green weight is -2150 g; it must be above 0"),
        ({"green_weight_g": math.nan}, "the green weight is nan g"),
        ({"green_weight_g": math.inf}, "the green weight is inf g"),
        ({"green_weight_g": 250_000.0}, "the green weight is 250000 g"),
        ({"diameter_mm": -1.0}, "the diameter is -1 mm; it must be above 0 to 400 mm"),
        ({"thickness_mm": 0.0}, "the thickness is 0 mm"),
        ({"length_mm": 1e9}, "the length is 1e+09 mm"),
        ({"salt_pct": 27.5}, "the salt is 27.5 % of green weight; it must be above 0 to 20 %"),
        ({"target_loss_pct": 0.35}, "the target loss is 0.35 % of green weight; it must be from 1 to 75 %"),
        ({"tare_g": -1.0}, "the tare is -1 g; it must be from 0"),
    ],
)
def test_impossible_facts_are_refused(facts: Facts, path: Path, change: dict, said: str) -> None:
    """What, the value, the allowed range and the unit; nothing is recorded."""
    refused(lambda: facts.hang(replace(LOIN, **change), "cellar", day(1)), said)
    assert rows(path, "SELECT count(*) FROM piece") == [(0,)]


# -- time


@pytest.mark.parametrize(
    ("at_ms", "said"),
    [
        (at(NOW_S) + 300_001, "is in the future: it is 00:00 now"),
        (at(NOW_S + 30 * DAY_S), "29 Jan 2027 00:00, is in the future"),
        (86_400_000, "is before the year 2000; check the date"),
    ],
)
def test_every_fact_needs_a_time_that_can_be(hung: Facts, path: Path, at_ms: int, said: str) -> None:
    """More than five minutes ahead, or before 2000, is refused for every fact, and nothing is recorded."""
    before = stays(path)
    for attempt in (
        lambda: hung.hang(NECK, "cellar", at_ms),
        lambda: hung.hang_again("Loin 1", "cellar", at_ms),
        lambda: hung.move("Loin 1", "salting", at_ms),
        lambda: hung.take_down("Loin 1", at_ms),
        lambda: hung.weigh("Loin 1", 1900.0, at_ms),
        lambda: hung.note("Loin 1", "text", at_ms),
        lambda: hung.discard("Loin 1", "smell", at_ms),
        lambda: hung.asks.tend("cellar", at_ms, at_ms + 60_000),
    ):
        refused(attempt, said)
    assert stays(path) == before


def test_a_clock_five_minutes_ahead_is_forgiven(facts: Facts) -> None:
    """Two machines' clocks never agree to the second."""
    assert facts.hang(LOIN, "cellar", at(NOW_S) + 300_000).at_ms == at(NOW_S) + 300_000


def test_refusals_speak_the_readers_time_and_units(path: Path) -> None:
    """Local time, pounds and ounces for those who use them."""
    journal = Journal.open(path)
    journal.remember_plan(PLAN, "us")
    journal.close()
    with Facts(path, now_ms=at(NOW_S), zone=ZoneInfo("America/New_York")) as facts:
        facts.hang(LOIN, "cellar", day(10))
        refused(lambda: facts.weigh("Loin 1", 2500.0, day(11)), "5 lb 8.2 oz", "green weight of 4 lb 6.5 oz")
        refused(lambda: facts.take_down("Loin 1", day(9)), "first hung 9 Nov 19:00")


# -- move, take down, discard


def test_a_move_ends_one_stay_and_begins_the_next(hung: Facts, path: Path) -> None:
    """No time between, none twice."""
    assert hung.move("Loin 1", "salting", day(12)) == Moved("Loin 1", "cellar", "salting", day(12))
    assert stays(path) == [("Loin 1", "cellar", 10, 12), ("Loin 1", "salting", 12, None)]


def test_a_move_in_the_past_splits_the_stay_it_was_in(hung: Facts, path: Path) -> None:
    """Entered after the piece was taken down, the second half keeps that end."""
    hung.take_down("Loin 1", day(20))
    hung.move("Loin 1", "salting", day(15))
    assert stays(path) == [("Loin 1", "cellar", 10, 15), ("Loin 1", "salting", 15, 20)]


def test_impossible_moves_are_refused(hung: Facts, path: Path) -> None:
    """To where it hangs, to nowhere, before it was hung, after it was taken down."""
    refused(lambda: hung.move("Loin 1", "cellar", day(12)), "hangs in cellar already, since 10 Nov 00:00")
    refused(lambda: hung.move("Loin 1", "attic", day(12)), "the chambers are: cellar, salting")
    refused(
        lambda: hung.move("Loin 1", "salting", day(9)), "cannot have been moved", "first hung 10 Nov 00:00"
    )
    refused(lambda: hung.move("Loin 1", "salting", day(10)), "cannot have been moved")
    hung.take_down("Loin 1", day(20))
    refused(lambda: hung.move("Loin 1", "salting", day(21)), "it was taken down from cellar 20 Nov 00:00")
    assert stays(path) == [("Loin 1", "cellar", 10, 20)]


def test_a_piece_is_taken_down(hung: Facts, path: Path) -> None:
    """The answer says where it hung and since when."""
    assert hung.take_down("Loin 1", day(20)) == TakenDown("Loin 1", "cellar", day(10), day(20))
    assert stays(path) == [("Loin 1", "cellar", 10, 20)]


@pytest.mark.parametrize(
    ("when", "said"),
    [
        (9, "Loin 1 cannot have been taken down 9 Nov 00:00: it was first hung 10 Nov 00:00, in cellar"),
        (10, "cannot have been taken down"),
        (15, "Loin 1 was taken down from cellar already, 20 Nov 00:00"),
        (20, "it was taken down from cellar 20 Nov 00:00"),
        (25, "it was taken down from cellar 20 Nov 00:00"),
    ],
)
def test_a_piece_is_not_taken_down_twice_or_before_it_hung(
    hung: Facts, path: Path, when: float, said: str
) -> None:
    """The refusal tells what is recorded."""
    hung.take_down("Loin 1", day(20))
    refused(lambda: hung.take_down("Loin 1", day(when)), said)
    assert stays(path) == [("Loin 1", "cellar", 10, 20)]


def test_between_two_stays_nothing_can_be_taken_down(hung: Facts) -> None:
    """The stays there are, are listed."""
    hung.take_down("Loin 1", day(20))
    hung.hang_again("Loin 1", "salting", day(30))
    refused(
        lambda: hung.take_down("Loin 1", day(25)),
        "its stays: cellar from 10 Nov 00:00, salting from 30 Nov 00:00",
    )


def test_a_discarded_piece_is_gone_for_good(hung: Facts, path: Path) -> None:
    """Its stay ends, the reason is kept, and it is neither hung, weighed nor discarded again."""
    assert hung.discard("Loin 1", "sour smell, slime", day(20)) == Discarded("Loin 1", day(20), "cellar")
    assert stays(path) == [("Loin 1", "cellar", 10, 20)]
    said = "was discarded 20 Nov 00:00 (sour smell, slime)"
    refused(lambda: hung.hang_again("Loin 1", "cellar", day(25)), said, "not hung again")
    refused(lambda: hung.hang(LOIN, "cellar", day(25)), said)
    refused(lambda: hung.weigh("Loin 1", 1500.0, day(25)), "was discarded 20 Nov 00:00")
    refused(lambda: hung.discard("Loin 1", "again", day(26)), "was discarded already, 20 Nov 00:00")
    hung.hang_again("Loin 1", "salting", day(1), until_ms=day(10))
    hung.weigh("Loin 1", 1800.0, day(19))


def test_a_piece_that_hangs_nowhere_can_be_discarded(hung: Facts) -> None:
    """Found bad while it equalised in its bag."""
    hung.take_down("Loin 1", day(20))
    assert hung.discard("Loin 1", "grey inside", day(22)).chamber is None


@pytest.mark.parametrize("why", ["", "   "])
def test_discarding_needs_a_reason(hung: Facts, path: Path, why: str) -> None:
    """It is the only thing left to learn from."""
    refused(lambda: hung.discard("Loin 1", why, day(20)), "the reason is empty")
    assert stays(path) == [("Loin 1", "cellar", 10, None)]


def test_a_piece_is_not_discarded_before_what_is_known_of_it(hung: Facts) -> None:
    """Not before it was hung, weighed, or taken down."""
    hung.weigh("Loin 1", 1980.0, day(15))
    for when in (9, 10, 14.9):
        refused(
            lambda when=when: hung.discard("Loin 1", "smell", day(when)), "still hung or weighed 15 Nov 00:00"
        )
    hung.take_down("Loin 1", day(20))
    refused(lambda: hung.discard("Loin 1", "smell", day(19)), "still hung or weighed 20 Nov 00:00")


# -- weigh-ins


def test_a_weigh_in_tells_loss_and_change(hung: Facts) -> None:
    """Loss is % of green weight without tare; the second also says how much since the first.

    By hand: 1980 g less 80 g tare is 1900 g, 5 % of 2000 g lost; 1880 g is 10 %, 100 g less.
    """
    first = hung.weigh("loin 1", 1980.0, day(11))
    assert first == Weighed("Loin 1", day(11), 1980.0, 80.0, 1900.0, pytest.approx(5.0), 35.0, None, None)
    second = hung.weigh("Loin 1", 1880.0, day(15), remark="re-tied")
    assert (second.loss_pct, second.last_ms, second.lost_g) == (pytest.approx(10.0), day(11), 100.0)


def test_the_tare_is_remembered(hung: Facts) -> None:
    """That of the hang until another is given, then the other; a weigh-in of before keeps the old one."""
    assert hung.weigh("Loin 1", 1980.0, day(11)).tare_g == 80.0
    assert hung.weigh("Loin 1", 1900.0, day(15), 60.0).tare_g == 60.0
    assert hung.weigh("Loin 1", 1850.0, day(20)).tare_g == 60.0
    assert hung.weigh("Loin 1", 1950.0, day(13)).tare_g == 80.0


@pytest.mark.parametrize(
    ("mass_g", "tare_g", "said"),
    [
        (0.0, None, "the mass is 0 g; it must be above 0 to 100000 g"),
        (-1900.0, None, "the mass is -1900 g"),
        (math.nan, None, "the mass is nan g"),
        (80.0, None, "80 g is not more than the tare of 80 g (casing, net, hook)"),
        (1900.0, -5.0, "the tare is -5 g"),
        (1900.0, math.inf, "the tare is inf g"),
        (2095.0, None, "2095 g less the tare of 80 g is 15 g more than Loin 1's green weight of 2000 g"),
    ],
)
def test_masses_that_cannot_be_are_refused(
    hung: Facts, path: Path, mass_g: float, tare_g: float | None, said: str
) -> None:
    """Not above zero, not above the tare, more than the piece ever weighed."""
    refused(lambda: hung.weigh("Loin 1", mass_g, day(11), tare_g), said)
    assert rows(path, "SELECT count(*) FROM weigh_in") == [(0,)]


def test_a_gain_is_refused_and_can_be_insisted_on(hung: Facts) -> None:
    """A piece loses weight; one that was re-netted or larded may gain."""
    hung.weigh("Loin 1", 1860.0, day(12))
    refused(
        lambda: hung.weigh("Loin 1", 1980.0, day(15)),
        "Loin 1 has gained 120 g since 12 Nov 00:00; a piece loses weight: check number and tare, or add --anyway",
    )
    assert hung.weigh("Loin 1", 1980.0, day(15), remark="larded", anyway=True).lost_g == -120.0


@pytest.mark.parametrize(
    ("gain_g", "taken"), [(0.0, True), (5.0, True), (8.9, True), (9.1, False), (50.0, False)]
)
def test_what_the_scale_could_err_is_no_gain(hung: Facts, gain_g: float, *, taken: bool) -> None:
    """5 g, or 0.5 % of the meat: 9 g on 1800 g (common practice for kitchen scales, no source)."""
    hung.weigh("Loin 1", 1880.0, day(12))
    if taken:
        assert hung.weigh("Loin 1", 1880.0 + gain_g, day(15)).lost_g == pytest.approx(-gain_g)
    else:
        refused(lambda: hung.weigh("Loin 1", 1880.0 + gain_g, day(15)), "has gained")


def test_a_gain_is_judged_without_tare(hung: Facts) -> None:
    """A heavier net is not heavier meat."""
    hung.weigh("Loin 1", 1880.0, day(12))
    assert hung.weigh("Loin 1", 1900.0, day(15), 110.0).lost_g == pytest.approx(10.0)


def test_a_weigh_in_of_the_past_is_held_against_later_ones(hung: Facts) -> None:
    """Entered late, it must lie between its neighbours."""
    hung.weigh("Loin 1", 1980.0, day(11))
    hung.weigh("Loin 1", 1780.0, day(20))
    refused(
        lambda: hung.weigh("Loin 1", 1700.0, day(15)),
        "would have gained 80 g by its weigh-in of 20 Nov 00:00",
    )
    assert hung.weigh("Loin 1", 1880.0, day(15)).lost_g == pytest.approx(100.0)


def test_two_weigh_ins_at_one_time_are_refused(hung: Facts) -> None:
    """Also with `anyway`: which of them was true?"""
    hung.weigh("Loin 1", 1880.0, day(12))
    refused(
        lambda: hung.weigh("Loin 1", 1870.0, day(12), anyway=True),
        "has a weigh-in at that very time already: 1880 g, 12 Nov 00:00",
    )


def test_a_piece_is_not_weighed_before_it_was_hung(hung: Facts) -> None:
    """What it weighed before is its green weight."""
    refused(
        lambda: hung.weigh("Loin 1", 1980.0, day(9)), "first hung 10 Nov 00:00; it cannot have been weighed"
    )


# -- names


def test_a_misspelt_piece_is_guessed_at(hung: Facts) -> None:
    """The closest names, else all of them."""
    hung.hang(NECK, "cellar", day(11))
    refused(lambda: hung.weigh("lion 1", 1900.0, day(12)), "no piece 'lion 1'; did you mean 'Loin 1'?")
    refused(lambda: hung.take_down("Bresaola", day(12)), "the pieces are: Loin 1, Neck 4")


def test_the_first_piece_of_all_is_missing(facts: Facts) -> None:
    """Nothing to guess from."""
    refused(lambda: facts.take_down("Loin 1", day(12)), "no piece was ever hung")


# -- notes and requests


def test_notes_are_about_a_piece_or_a_chamber(hung: Facts, path: Path) -> None:
    """The answer names what they were taken to be about; an empty one is refused."""
    assert hung.note("loin 1", " white\nmold ", day(12)).about == "Loin 1"
    assert hung.note("cellar", "wiped", day(12)).about == "cellar"
    refused(lambda: hung.note("celar", "wiped", day(12)), "there is no piece 'celar'")
    refused(lambda: hung.note("cellar", "  ", day(12)), "the note is empty")
    refused(lambda: hung.note("cellar", "x" * 2001, day(12)), "2001 characters; at most 2000")
    assert rows(path, "SELECT piece_id, chamber, text FROM remark") == [
        (1, None, "white mold"),
        (None, "cellar", "wiped"),
    ]


def test_a_door_session_is_recorded_and_asked_of_the_watch(facts: Facts, path: Path) -> None:
    """One row for the record and one request, together."""
    tended = facts.asks.tend("cellar", day(1), day(1) + 1_800_000)
    journal = Journal.open(path)
    (request,) = journal.open_requests()
    journal.close()
    assert (request.id, request.at_ms, request.verb) == (tended.request_id, day(1), "tend")
    assert request.args == {"chamber": "cellar", "from_ms": day(1), "until_ms": day(1) + 1_800_000}
    assert rows(path, "SELECT chamber, until_ms - from_ms FROM tend") == [("cellar", 1_800_000)]


@pytest.mark.parametrize("lasts_ms", [0, -60_000, 4 * 3_600_000 + 1])
def test_a_door_session_ends_by_itself(facts: Facts, path: Path, lasts_ms: int) -> None:
    """It must end after it began and within four hours, or a forgotten one would keep the alarms quiet."""
    refused(lambda: facts.asks.tend("cellar", day(1), day(1) + lasts_ms), "above 0 and at most 4 h")
    assert rows(path, "SELECT count(*) FROM request") == [(0,)]


def test_an_acknowledgement_tells_which_alarms_it_meets(path: Path, facts: Facts) -> None:
    """Of the chamber and kind, or all; those somebody is on already are not named."""
    journal = Journal.open(path)
    warm, damp = alarm("a"), alarm("b", kind=Kind.HUMIDITY_HIGH)
    cold = alarm("c", chamber="salting", acknowledged=True)
    journal.commit(Batch(alarms=[warm, damp, cold]))
    assert facts.asks.acknowledge(day(1), by="Ruth").alarms == (damp, warm)
    assert facts.asks.acknowledge(day(1), chamber="cellar", kind=Kind.TEMPERATURE_HIGH, by="Ruth").alarms == (
        warm,
    )
    assert facts.asks.acknowledge(day(1), chamber="salting").alarms == ()
    refused(lambda: facts.asks.acknowledge(day(1), chamber="attic"), "no chamber 'attic'")
    assert [request.args for request in journal.open_requests()] == [
        {"chamber": None, "kind": None, "by": "Ruth"},
        {"chamber": "cellar", "kind": "temperature-high", "by": "Ruth"},
        {"chamber": "salting", "kind": None, "by": ""},
    ]
    journal.close()


# -- the journal


def test_facts_do_not_wait_for_the_watch_to_exist(tmp_path: Path) -> None:
    """Whoever has the settings can hang a piece before the first watch; a mistyped journal is not made."""
    new = tmp_path / "new.db"
    with pytest.raises(JournalError, match="does not exist"):
        Facts(new, now_ms=at(NOW_S))
    with Facts(new, now_ms=at(NOW_S), chambers=["cellar"]) as facts:
        facts.hang(LOIN, "cellar", day(1))
    assert stays(new) == [("Loin 1", "cellar", 1, None)]


def test_a_fact_waits_for_a_commit_under_way(path: Path, facts: Facts) -> None:
    """Beside a watch that holds the file too long it says so, records nothing, and works when tried again."""
    facts._db.execute("PRAGMA busy_timeout=20")
    journal = Journal.open(path)
    journal._db.execute("BEGIN IMMEDIATE")
    with pytest.raises(JournalError, match=re.escape("another program has kept the journal")):
        facts.hang(LOIN, "cellar", day(1))
    journal._db.execute("ROLLBACK")
    journal.close()
    assert stays(path) == []
    assert facts.hang(LOIN, "cellar", day(1)).again is False
