"""A piece's way from salt to table: the order of its stages, how long each usually takes, what is due next.

Rules for this file: durations are the trade's, as defaults, and no safety result; what nobody recorded (a
turning, a re-tying) is taken for done once its time is over, so that old jobs don't pile up.
"""

from __future__ import annotations

from enum import StrEnum
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.errors import OutOfRange
from chamberwatch.meat.piece import KINDS
from chamberwatch.meat.salting import salting_days_by_rule
from chamberwatch.model import MS_PER_DAY, MS_PER_H, Stage

if TYPE_CHECKING:
    from collections.abc import Sequence

DAY_H = 24.0


class Usual(NamedTuple):
    """How long a stage usually takes [h], which follows, and what to look at and smell meanwhile."""

    least_h: float
    most_h: float
    then: Stage
    checks: tuple[str, ...]


USUAL = {
    Stage.SALTING: Usual(
        14 * DAY_H, 19 * DAY_H, Stage.EQUALISING_SALT,
        ("liquid in the bag is usual and stays in", "no air in the bag, fridge at 2 to 4 °C",
         "brown with pink means that the cure is at work", "rotten, tangy or off: discard"),
    ),
    Stage.EQUALISING_SALT: Usual(
        1 * DAY_H, 3 * DAY_H, Stage.CASING,
        ("rinsed and dried before", "surface dry, not slimy", "rotten, tangy or off: discard"),
    ),
    Stage.CASING: Usual(
        0.5, 4.0, Stage.DRIPPING,
        ("season only now: seasoning put on earlier molds in the fridge",
         "no fresh garlic, herbs or air under the casing", "prick every bubble", "pull the string tight"),
    ),
    Stage.DRIPPING: Usual(
        6.0, 8.0, Stage.HANGING,
        ("tacky to the touch, no longer wet: then the mold culture", "no bubble under the casing"),
    ),
    Stage.HANGING: Usual(
        45 * DAY_H, 60 * DAY_H, Stage.EQUALISING_MOISTURE,
        ("squeeze: firm all through, or a hard skin over a soft middle?",
         "white, dry, powdery mold is usually the wanted coat; green or grey: wipe with vinegar",
         "black, yellow, orange or pink mold, or any under the casing: discard",
         "rotten, tangy or off: discard"),
    ),
    Stage.EQUALISING_MOISTURE: Usual(
        7 * DAY_H, 21 * DAY_H, Stage.DONE,
        ("airless only at 4 °C or below", "no liquid, no gas in the bag"),
    ),
}  # fmt: skip
"""For a neck of 102 to 114 mm. Salting, dripping, hanging: common practice, no source. Casing and the two
equalisings: our own choice, no source."""

ORDER = {stage: place for place, stage in enumerate(Stage)} | {
    Stage.EQUALISING_MOISTURE: list(Stage).index(Stage.HANGING)
}
"""Hanging and equalising moisture may take turns; every other stage comes once, in this order."""
LAST = frozenset({Stage.DONE, Stage.DISCARDED})
COLD = frozenset({Stage.SALTING, Stage.EQUALISING_SALT, Stage.EQUALISING_MOISTURE})
"""Stages spent at 4 °C or below."""

TURN_MS = 2 * MS_PER_DAY
RE_TIE_MS = (5 * MS_PER_DAY, 7 * MS_PER_DAY)
WEIGH_DAYS = (3, 7)
WEEK_MS = 7 * MS_PER_DAY
NEAR_TARGET_PCT = 3.0
NEAR_TARGET_MS = WEEK_MS // 2
JUST_WEIGHED_MS = 36 * MS_PER_H
"""A weigh-in so short before a planned one stands for it."""


class Job(StrEnum):
    """Something to do with a piece."""

    TURN = "turn"
    NEXT_STAGE = "next stage"
    WEIGH = "weigh"
    RE_TIE = "re-tie"


class Due(NamedTuple):
    """A job, from when on, and by when at the latest [ms UTC]; `stage`: which one begins with it, if any."""

    job: Job
    at_ms: int
    until_ms: int
    stage: Stage | None = None


class Life(NamedTuple):
    """What is known of a piece's way: times ms UTC, size mm (diameter or thickness), losses % of green.

    `hanging` says that it hangs now; `loss_pct` is that of the last weigh-in.
    """

    kind: str
    size_mm: float | None
    stage: Stage
    since_ms: int
    hung_ms: int | None = None
    hanging: bool = False
    weighed_ms: tuple[int, ...] = ()
    re_tied_ms: int | None = None
    loss_pct: float | None = None
    target_loss_pct: float = 35.0


def stage_hours(stage: Stage, kind: str, size_mm: float | None) -> tuple[float, float] | None:
    """Return how long a stage usually takes [h], from and to; None for the last ones.

    Salting by the rule of `salting.salting_days_by_rule`, for the piece's size or that usual for its kind.
    Hanging is a neck's, and no more than a first guess: `forecast` knows better.
    """
    usual = USUAL.get(stage)
    if usual is None:
        return None
    if stage is Stage.SALTING:
        size = size_mm if size_mm is not None else KINDS[kind].size_mm if kind in KINDS else None
        try:
            low, high = salting_days_by_rule(size) if size is not None else (0.0, 0.0)
        except OutOfRange:
            low = high = 0.0
        if high:
            return low * DAY_H, high * DAY_H
    return usual.least_h, usual.most_h


def follows(before: Stage, after: Stage) -> bool:
    """Return whether a piece can go from one stage to another: forwards, any number of them at a time."""
    return before not in LAST and (ORDER[after] > ORDER[before] or (
        ORDER[after] == ORDER[before] and after is not before))  # fmt: skip


def in_order(stages: Sequence[Stage]) -> bool:
    """Return whether these stages can have followed one another."""
    return all(follows(one, other) for one, other in pairwise(stages))


def jobs(life: Life, now_ms: int) -> tuple[Due, ...]:
    """Return what is to be done with a piece, the next first; nothing once it is done or discarded."""
    if life.stage in LAST:
        return ()
    found: list[Due] = []
    if life.stage is Stage.SALTING:
        turns = max(1, -(-(now_ms - life.since_ms) // TURN_MS))
        found.append(_job(Job.TURN, life.since_ms + turns * TURN_MS))
    if life.stage is Stage.HANGING:
        found += _while_hanging(life, now_ms)
    else:
        hours = stage_hours(life.stage, life.kind, life.size_mm)
        if hours is not None:
            low, high = (life.since_ms + round(h * MS_PER_H) for h in hours)
            found.append(Due(Job.NEXT_STAGE, low, high, USUAL[life.stage].then))
    end_ms = min((d.at_ms for d in found if d.job is Job.NEXT_STAGE), default=None)
    kept = [d for d in found if d.job is not Job.TURN or end_ms is None or d.at_ms < end_ms]
    return tuple(sorted(kept, key=lambda d: (d.at_ms, d.job)))


def due(life: Life, now_ms: int) -> Due | None:
    """Return the next job, overdue ones first; None when there is none."""
    return next(iter(jobs(life, now_ms)), None)


def weigh_due_ms(life: Life) -> int | None:
    """Return when the next weigh-in is due: at the hang, day 3, day 7, weekly, twice a week near the target.

    None while it does not hang. Common practice, no source.
    """
    if life.hung_ms is None or not life.hanging:
        return None
    last_ms = max((w for w in life.weighed_ms if w >= life.hung_ms - JUST_WEIGHED_MS), default=None)
    if last_ms is None:
        return life.hung_ms
    if life.loss_pct is not None and life.loss_pct >= life.target_loss_pct - NEAR_TARGET_PCT:
        return last_ms + NEAR_TARGET_MS
    for day in WEIGH_DAYS:
        planned_ms = life.hung_ms + day * MS_PER_DAY
        if planned_ms > last_ms + JUST_WEIGHED_MS:
            return planned_ms
    return last_ms + WEEK_MS


def _while_hanging(life: Life, now_ms: int) -> list[Due]:
    weigh_ms = weigh_due_ms(life)
    if weigh_ms is None or life.hung_ms is None:  # taken down, and no other stage was told
        return []
    if life.loss_pct is not None and life.loss_pct >= life.target_loss_pct:
        return [_job(Job.NEXT_STAGE, max(life.weighed_ms), Stage.EQUALISING_MOISTURE)]
    found = [_job(Job.WEIGH, weigh_ms)]
    first_ms, last_ms = (life.hung_ms + ms for ms in RE_TIE_MS)
    tied = life.re_tied_ms is not None and life.re_tied_ms >= life.hung_ms
    if not tied and now_ms <= last_ms + MS_PER_DAY:
        found.append(Due(Job.RE_TIE, first_ms, last_ms))
    return found


def _job(job: Job, at_ms: int, stage: Stage | None = None) -> Due:
    return Due(job, at_ms, at_ms + MS_PER_DAY, stage)
