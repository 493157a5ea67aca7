"""A piece's way: durations of the trade, the order of stages, what is due next. Common practice, no source."""

from __future__ import annotations

import pytest

from chamberwatch.meat.stages import (
    COLD,
    LAST,
    USUAL,
    Job,
    Life,
    due,
    follows,
    in_order,
    jobs,
    stage_hours,
    weigh_due_ms,
)
from chamberwatch.model import MS_PER_DAY, MS_PER_H, Stage

T0 = 1_760_000_000_000
DAY = MS_PER_DAY


def salting(size_mm=108.0, kind="neck"):
    """A neck that began to salt at T0."""
    return Life(kind, size_mm, Stage.SALTING, T0)


def hanging(weighed=(0,), loss=None, re_tied=None, *, up=True):
    """A neck hung at T0 and weighed after so many days."""
    times = tuple(T0 + round(d * DAY) for d in weighed)
    return Life("neck", 108.0, Stage.HANGING, T0, T0, up, times, re_tied, loss, 35.0)


@pytest.mark.parametrize("size_mm", [102.0, 108.0, 114.0])
def test_a_neck_salts_for_fourteen_to_nineteen_days_or_a_little_more(size_mm):
    """Fridge cure of 14-18 days for a piece that fits a 102-114 mm casing (common practice, no source).

    The rule of a day per 6 to 7 mm and 2 (common practice, no source) gives 16.6 to 21: the two overlap.
    """
    low, high = (h / 24 for h in stage_hours(Stage.SALTING, "neck", size_mm))
    assert (low, high) == pytest.approx((size_mm / 7 + 2, size_mm / 6 + 2))
    assert low < 19
    assert high > 14


def test_a_piece_without_a_size_salts_as_long_as_is_usual_for_its_kind():
    """Neck 108 mm, belly 45 mm (common practice, no source); of an unknown kind 14 to 19 days."""
    assert stage_hours(Stage.SALTING, "neck", None) == stage_hours(Stage.SALTING, "neck", 108.0)
    low, high = (h / 24 for h in stage_hours(Stage.SALTING, "belly", None))
    assert 8 <= low <= high <= 10  # owner's figure: belly 8-10 d
    assert stage_hours(Stage.SALTING, "goose breast", None) == (14 * 24, 19 * 24)
    assert stage_hours(Stage.SALTING, "neck", 2000.0) == (14 * 24, 19 * 24)


def test_durations_are_the_trade_s():
    """Drip 6-8 h, 45-60 days in the chamber (common practice, no source)."""
    assert stage_hours(Stage.DRIPPING, "neck", 108.0) == (6, 8)
    assert stage_hours(Stage.HANGING, "neck", 108.0) == (45 * 24, 60 * 24)
    assert stage_hours(Stage.DONE, "neck", 108.0) is None


def test_every_stage_but_the_last_has_its_checks_and_leads_to_the_next():
    """Walking from salting along `then` meets every stage once and ends in done."""
    met, stage = [], Stage.SALTING
    while stage in USUAL:
        assert USUAL[stage].checks
        assert USUAL[stage].least_h <= USUAL[stage].most_h
        met.append(stage)
        stage = USUAL[stage].then
    assert (stage, [*met, Stage.DONE, Stage.DISCARDED]) == (Stage.DONE, list(Stage))
    assert COLD.isdisjoint(LAST)


@pytest.mark.parametrize(
    ("before", "after", "can"),
    [
        (Stage.SALTING, Stage.EQUALISING_SALT, True),
        (Stage.SALTING, Stage.HANGING, True),
        (Stage.HANGING, Stage.EQUALISING_MOISTURE, True),
        (Stage.EQUALISING_MOISTURE, Stage.HANGING, True),
        (Stage.EQUALISING_MOISTURE, Stage.DONE, True),
        (Stage.SALTING, Stage.DISCARDED, True),
        (Stage.HANGING, Stage.SALTING, False),
        (Stage.DRIPPING, Stage.CASING, False),
        (Stage.SALTING, Stage.SALTING, False),
        (Stage.DONE, Stage.DISCARDED, False),
        (Stage.DISCARDED, Stage.HANGING, False),
    ],
)
def test_stages_go_forwards(before, after, can):
    """Any number at a time; only hanging and equalising moisture take turns; the last ones are the last."""
    assert follows(before, after) is can
    assert in_order([before, after]) is can


def test_while_salting_it_is_turned_and_then_its_time_is_up():
    """Turned every 2 days; after the rule's days it is rinsed and equalised (common practice, no source)."""
    first = due(salting(), T0 + MS_PER_H)
    assert (first.job, first.at_ms) == (Job.TURN, T0 + 2 * DAY)
    assert due(salting(), T0 + round(6.5 * DAY)).at_ms == T0 + 8 * DAY
    last = due(salting(), T0 + 18 * DAY)
    assert (last.job, last.stage) == (Job.NEXT_STAGE, Stage.EQUALISING_SALT)
    assert last.at_ms == pytest.approx(T0 + (108 / 7 + 2) * DAY, abs=1)
    assert last.until_ms == T0 + 20 * DAY


@pytest.mark.parametrize(
    ("weighed", "loss", "day"),
    [
        ((), None, 0),
        ((0,), 5.0, 3),
        ((0, 3), 9.0, 7),
        ((0, 4), 10.0, 7),
        ((0, 6), 10.0, 13),
        ((0, 3, 7), 13.0, 14),
        ((0, 3, 7, 14), 20.0, 21),
        ((0, 3, 7, 40), 33.0, 43.5),
    ],
)
def test_weigh_ins_fall_due_as_the_trade_has_it(weighed, loss, day):
    """At the hang, day 3, day 7, weekly, twice a week within 3 points of the target (common practice, no source)."""
    assert weigh_due_ms(hanging(weighed, loss)) == T0 + day * DAY


def test_what_does_not_hang_is_not_weighed():
    """Taken down, or never hung: nothing is due."""
    assert weigh_due_ms(hanging(up=False)) is None
    assert weigh_due_ms(salting()) is None
    assert jobs(hanging(up=False), T0 + DAY) == ()


def test_the_string_is_loose_within_a_week():
    """Re-tied from day 5, by day 7 (common practice, no source); once done, or long past, it is no job."""
    (tie,) = [d for d in jobs(hanging(), T0 + DAY) if d.job is Job.RE_TIE]
    assert (tie.at_ms, tie.until_ms) == (T0 + 5 * DAY, T0 + 7 * DAY)
    assert [d.job for d in jobs(hanging(re_tied=T0 + 5 * DAY), T0 + 5 * DAY)] == [Job.WEIGH]
    assert [d.job for d in jobs(hanging(), T0 + 9 * DAY)] == [Job.WEIGH]


def test_at_the_target_it_comes_down():
    """Reached by weight: equalise the moisture, from that weigh-in on."""
    found = due(hanging((0, 3, 50), 35.2), T0 + 51 * DAY)
    assert (found.job, found.at_ms, found.stage) == (Job.NEXT_STAGE, T0 + 50 * DAY, Stage.EQUALISING_MOISTURE)


@pytest.mark.parametrize("stage", sorted(LAST))
def test_a_finished_piece_asks_for_nothing(stage):
    """Done and discarded are the end."""
    assert due(Life("neck", 108.0, stage, T0), T0 + DAY) is None
