"""Stages and jobs of a piece in words, and what is said when one begins."""

from __future__ import annotations

from typing import TYPE_CHECKING

from chamberwatch.meat.nitrite import Concern
from chamberwatch.meat.stages import USUAL, Due, Job
from chamberwatch.model import MS_PER_DAY, MS_PER_H, Stage
from chamberwatch.words.dates import day_of, say_day, say_days
from chamberwatch.words.times import format_local

if TYPE_CHECKING:
    from datetime import tzinfo

BEGIN = {
    Stage.SALTING: "salt it",
    Stage.EQUALISING_SALT: "rinse, dry, and let the salt even out in the fridge",
    Stage.CASING: "season, case and tie it",
    Stage.DRIPPING: "let it drip",
    Stage.HANGING: "mold culture, then hang it",
    Stage.EQUALISING_MOISTURE: "take it down and let the moisture even out in the fridge",
    Stage.DONE: "open, cut and judge it",
}
"""What is to be done for a stage to begin."""
JOBS = {
    Job.TURN: "turn it",
    Job.WEIGH: "weigh it",
    Job.RE_TIE: "re-tie it: the string is loose by now",
}
TOO_EARLY = (
    "TOO EARLY: it was in salt for {days:.1f} days; the trade's rule asks for at least {least:.0f} at this "
    "size. The centre may hold too little salt to be hung warm: put it back into the fridge at 2 to 4 °C "
    "until its time is up. If it has already hung warm for a day or more and you are not sure, discard it."
)
RULE = "the trade's rule, no more than a rule"
PARASITES = (
    "A cure does not kill parasites: use tested pork, or freeze pork 20 days at -15 °C or colder (pieces up "
    "to 15 cm)."
)
GAME = ("boar", "bear", "game", "deer", "venison", "horse")
GAME_PARASITES = (
    "Game and horse: neither freezing nor curing kills their parasites reliably: have it tested in a "
    "laboratory, or cook it."
)
WHO_NOT = "Whoever is pregnant, elderly, very young or of weak immunity should not eat it uncooked."
DOSED = {
    Concern.TOO_MUCH_NITRITE: "TOO MUCH NITRITE: if that is what went in, discard the piece.",
    Concern.TOO_MUCH_NITRATE: "TOO MUCH NITRATE: if that is what went in, discard the piece.",
    Concern.TOO_LITTLE_NITRITE: "TOO LITTLE NITRITE: it protects against nothing.",
    Concern.TENFOLD_TOO_MUCH: "Perhaps ten times too much: read the bag's label again.",
    Concern.TENFOLD_TOO_LITTLE: "Perhaps ten times too little: read the bag's label again.",
}
CUT = "Keep it at 4 °C or below. Colour is not a safety test; grey in the centre: the cure did not reach it."
VERDICT_NOTES = {
    "good": "",
    "fair": "",
    "poor": "A dark ring, gaps, green, slime or an off smell mean discard: then record `discard --why` too.",
}
MINUTES_MATTER_MS = 2 * MS_PER_DAY


def say_due(due: Due, now_ms: int, zone: tzinfo) -> str:
    """Return a job and its time: `turn it, 27 November`; `weigh it, due since 22 November`."""
    what = JOBS[due.job] if due.stage is None else BEGIN[due.stage]
    if due.until_ms - due.at_ms < MS_PER_DAY and abs(due.at_ms - now_ms) < MINUTES_MATTER_MS:
        first = format_local(due.at_ms, now_ms, zone)
        when = f"from {first} on" if due.at_ms > now_ms else f"due since {first}"
        return f"{what}, {when}"
    today, first_day, last_day = (day_of(ms, zone) for ms in (now_ms, due.at_ms, due.until_ms))
    if last_day < today:
        return f"{what}, due since {say_day(first_day, today)}"
    if due.at_ms <= now_ms:
        return f"{what}, due now"
    if due.until_ms - due.at_ms > MS_PER_DAY:
        return f"{what}, {say_days(first_day, last_day, today)}"
    return f"{what}, {say_day(first_day, today)}"


def say_checks(stage: Stage) -> str:
    """Return what to look at and smell during a stage; '' where there is nothing."""
    usual = USUAL.get(stage)
    return f"Look and smell: {'; '.join(usual.checks)}." if usual is not None else ""


def say_too_early(salted_h: float, least_h: float) -> str:
    """Return the warning for a piece that left its salt before the rule's time."""
    return TOO_EARLY.format(days=salted_h * MS_PER_H / MS_PER_DAY, least=least_h * MS_PER_H / MS_PER_DAY)


def say_parasites(species: str) -> str:
    """Return the caution for a species: pork and what nobody named, or game; and who should not eat it."""
    words = species.casefold()
    if any(game in words for game in GAME):
        return f"{GAME_PARASITES} {WHO_NOT}"
    pork = not words or "pork" in words or "pig" in words
    return f"{PARASITES} {WHO_NOT}" if pork else WHO_NOT
