"""Whether a fact can be true. Pure: a check returns, or raises FactRefused: what, where, what may be."""

from __future__ import annotations

import difflib
import math
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.errors import FactRefused
from chamberwatch.journal.pieces import Piece, WeighIn
from chamberwatch.model import MS_PER_H, MS_PER_MIN, Kind, PieceFacts, Stage
from chamberwatch.words.kinds import HOUSE_KINDS
from chamberwatch.words.times import format_local
from chamberwatch.words.units import LENGTH_MAX_MM, MASS_MAX_G, show_mass

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import tzinfo

    from chamberwatch.journal.stays import Stay

AHEAD_MS = 5 * MS_PER_MIN
EARLIEST_MS = 946_684_800_000  # 1 Jan 2000: whatever is older is a typing mistake
SIZE_MAX_MM = 400.0  # no piece that is hung whole is thicker; common practice, no source
TEND_MAX_MS = 4 * MS_PER_H
NAME_CHARS = 64
TEXT_CHARS = 2000
# A kitchen scale repeats itself to about a gram or two; a piece that gains more than this was changed.
# Common practice, no source.
SCALE_G, SCALE_PART = 5.0, 0.005


class Voice(NamedTuple):
    """What a refusal needs to name times and masses as its reader does."""

    now_ms: int
    zone: tzinfo
    units: str

    def when(self, at_ms: int) -> str:
        """Return the local time."""
        return format_local(at_ms, self.now_ms, self.zone)

    def mass(self, mass_g: float) -> str:
        """Return the mass in the reader's unit."""
        return show_mass(mass_g, self.units)


def check_time(at_ms: int, voice: Voice, what: str = "that time") -> None:
    """Refuse what lies more than 5 min ahead of now, or before the year 2000."""
    if at_ms > voice.now_ms + AHEAD_MS:
        raise FactRefused(
            f"{what}, {voice.when(at_ms)}, is in the future: it is {voice.when(voice.now_ms)} now, "
            "and facts are recorded once they have happened"
        )
    if at_ms < EARLIEST_MS:
        raise FactRefused(f"{what}, {voice.when(at_ms)}, is before the year 2000; check the date")


def check_chamber(chamber: str, known: Iterable[str]) -> None:
    """Refuse a chamber that the settings do not have."""
    names = sorted(known)
    if chamber not in names:
        there = f"the chambers are: {', '.join(names)}" if names else "the journal knows no chamber yet"
        raise FactRefused(f"there is no chamber {chamber!r}; {there}")


def unknown_piece(name: str, known: list[str]) -> FactRefused:
    """Return the refusal of a name that no piece has, with those that resemble it."""
    folded = {other.casefold(): other for other in known}
    close = [folded[f] for f in difflib.get_close_matches(name.casefold(), folded, n=3, cutoff=0.6)]
    if close:
        return FactRefused(f"there is no piece {name!r}; did you mean {' or '.join(map(repr, close))}?")
    there = f"the pieces are: {', '.join(known)}" if known else "no piece was ever hung"
    return FactRefused(f"there is no piece {name!r}; {there}")


def tidy(what: str, text: str, longest: int) -> str:
    """Return the text with single blanks; refuse an empty one, one too long, one that cannot be printed."""
    tidied = " ".join(text.split())
    if not tidied:
        raise FactRefused(f"{what} is empty; write 1 to {longest} characters")
    if len(tidied) > longest:
        raise FactRefused(f"{what} has {len(tidied)} characters; at most {longest} are kept")
    if not tidied.isprintable():
        raise FactRefused(f"{what} holds characters that cannot be printed: {tidied!r}")
    return tidied


def _check_number(what: str, value: float | None, low: float, high: float, unit: str) -> None:
    if value is not None and not (math.isfinite(value) and low <= value <= high and value > 0):
        least = f"from {low:g}" if low > 0 else "above 0"
        raise FactRefused(f"{what} is {value:g} {unit}; it must be {least} to {high:g} {unit}")


def check_tare(tare_g: float) -> None:
    """Refuse a tare that is not 0 or more, in g."""
    if not (math.isfinite(tare_g) and 0 <= tare_g <= MASS_MAX_G):
        raise FactRefused(f"the tare is {tare_g:g} g; it must be from 0 to {MASS_MAX_G:g} g")


def check_piece(facts: PieceFacts) -> PieceFacts:
    """Return the facts with their words tidied.

    Refuse what no piece can have: empty names, masses and lengths not above 0, parts outside their range.
    """
    _check_number("the green weight", facts.green_weight_g, 0, MASS_MAX_G, "g")
    _check_number("the diameter", facts.diameter_mm, 0, SIZE_MAX_MM, "mm")
    _check_number("the thickness", facts.thickness_mm, 0, SIZE_MAX_MM, "mm")
    _check_number("the length", facts.length_mm, 0, LENGTH_MAX_MM, "mm")
    _check_number("the salt", facts.salt_pct, 0, 20, "% of green weight")
    _check_number("the target loss", facts.target_loss_pct, 1, 75, "% of green weight")
    check_tare(facts.tare_g)
    return replace(
        facts,
        name=tidy("the piece's name", facts.name, NAME_CHARS),
        kind=tidy("the kind of piece", facts.kind, NAME_CHARS),
        casing=tidy("the casing", facts.casing, NAME_CHARS),
        fat=tidy("the fat", facts.fat, NAME_CHARS),
        species=tidy("the species", facts.species, NAME_CHARS) if facts.species else "",
        source=tidy("the source", facts.source, TEXT_CHARS) if facts.source else "",
        fan=tidy("the fan", facts.fan, NAME_CHARS),
    )


def check_same(facts: PieceFacts, piece: Piece, voice: Voice) -> None:
    """Refuse a known name for what is, by kind or green weight, another piece."""
    old = piece.facts
    if facts.kind != old.kind or not math.isclose(facts.green_weight_g, old.green_weight_g, abs_tol=0.5):
        raise FactRefused(
            f"there is a piece {piece.name!r} already ({old.kind}, {voice.mass(old.green_weight_g)} green, "
            f"{begun(piece, voice)}); give the new one another name"
        )


def begun(piece: Piece, voice: Voice) -> str:
    """Return how and when a piece began: `first hung 20 Nov 18:00`, `salting since …`."""
    entered = piece.stages[0] if piece.stages else None
    if entered is None or entered.stage is Stage.HANGING:
        return f"first hung {voice.when(piece.begun_ms)}"
    return f"{entered.stage} since {voice.when(entered.from_ms)}"


def check_stay(piece: Piece, from_ms: int, to_ms: int | None, voice: Voice) -> None:
    """Refuse a stay that ends before it begins, overlaps another of the piece, or follows its discarding."""
    if to_ms is not None and to_ms <= from_ms:
        raise FactRefused(f"a stay cannot end {voice.when(to_ms)} when it begins {voice.when(from_ms)}")
    if piece.discarded_ms is not None and (to_ms is None or to_ms > piece.discarded_ms):
        raise FactRefused(
            f"{piece.name} was discarded {voice.when(piece.discarded_ms)} ({piece.discarded_why}); "
            "what was discarded is not hung again"
        )
    if piece.cut is not None and (to_ms is None or to_ms > piece.cut.at_ms):
        raise FactRefused(
            f"{piece.name} was cut open {voice.when(piece.cut.at_ms)}; what was cut is not hung again"
        )
    for stay in piece.stays:
        if (to_ms is None or stay.from_ms < to_ms) and (stay.to_ms is None or from_ms < stay.to_ms):
            raise FactRefused(_overlap(piece.name, stay, from_ms, voice))


def _overlap(name: str, stay: Stay, from_ms: int, voice: Voice) -> str:
    if not stay.hanging:
        end = "" if stay.to_ms is None else f" to {voice.when(stay.to_ms)}"
        return f"{name} lay in {stay.chamber} from {voice.when(stay.from_ms)}{end}; it can't be in two places"
    if stay.to_ms is None and stay.from_ms <= from_ms:
        return (
            f"{name} hangs in {stay.chamber} since {voice.when(stay.from_ms)}; move it, or take it down first"
        )
    end = "and hangs there still" if stay.to_ms is None else f"to {voice.when(stay.to_ms)}"
    text = f"{name} hung in {stay.chamber} from {voice.when(stay.from_ms)} {end}; two stays cannot overlap"
    if from_ms < stay.from_ms:
        return f"{text}: say with --until when the one from {voice.when(from_ms)} ended, before that"
    return text


def check_mass(mass_g: float, tare_g: float, voice: Voice) -> None:
    """Refuse a mass that is not above its tare, in g."""
    _check_number("the mass", mass_g, 0, MASS_MAX_G, "g")
    check_tare(tare_g)
    if mass_g <= tare_g:
        raise FactRefused(
            f"{voice.mass(mass_g)} is not more than the tare of {voice.mass(tare_g)} (casing, net, hook); "
            "check the number, or give another tare"
        )


def check_removed(removed_g: float, net_g: float, voice: Voice) -> None:
    """Refuse a slice that is below 0, or heavier than what it left [g]."""
    if not (math.isfinite(removed_g) and 0 <= removed_g <= net_g):
        raise FactRefused(
            f"{voice.mass(removed_g)} cut off is more than the {voice.mass(net_g)} that are left; "
            "a trial slice is from 0 to half of the piece"
        )


def check_weigh_in(piece: Piece, new: WeighIn, voice: Voice, *, anyway: bool) -> None:
    """Refuse a weigh-in before the piece began, twice at one time, or of a piece that gained weight.

    A gain is more than 5 g and 0.5 %; `anyway` lets one pass (re-netted, larded, washed).
    """
    if new.at_ms < piece.begun_ms:
        raise FactRefused(
            f"{piece.name} was {begun(piece, voice)}; it cannot have been weighed {voice.when(new.at_ms)}"
        )
    if piece.cut is not None and new.at_ms > piece.cut.at_ms:
        raise FactRefused(f"{piece.name} was cut open {voice.when(piece.cut.at_ms)}: that is its last weight")
    if piece.discarded_ms is not None and new.at_ms > piece.discarded_ms:
        raise FactRefused(f"{piece.name} was discarded {voice.when(piece.discarded_ms)}")
    twin = next((w for w in piece.weigh_ins if w.at_ms == new.at_ms), None)
    if twin is not None:
        raise FactRefused(
            f"{piece.name} has a weigh-in at that very time already: {voice.mass(twin.mass_g)}, "
            f"{voice.when(twin.at_ms)}"
        )
    if not anyway:
        _check_gain(piece, new, voice)


def _check_gain(piece: Piece, new: WeighIn, voice: Voice) -> None:
    tail = (
        "a piece loses weight: check number and tare, or add --anyway if it was re-netted, larded or washed"
    )
    green_g = piece.facts.green_weight_g
    if _gained(green_g, new.whole_g):
        raise FactRefused(
            f"{voice.mass(new.mass_g)} less the tare of {voice.mass(new.tare_g)} is "
            f"{voice.mass(new.net_g - green_g)} more than {piece.name}'s green weight of "
            f"{voice.mass(green_g)}; {tail}"
        )
    before = [w for w in piece.weigh_ins if w.at_ms < new.at_ms]
    after = [w for w in piece.weigh_ins if w.at_ms > new.at_ms]
    if before and _gained(before[-1].whole_g, new.whole_g):
        raise FactRefused(
            f"{piece.name} has gained {voice.mass(new.whole_g - before[-1].whole_g)} since "
            f"{voice.when(before[-1].at_ms)}; {tail}"
        )
    if after and _gained(new.whole_g, after[0].whole_g):
        raise FactRefused(
            f"{piece.name} would have gained {voice.mass(after[0].whole_g - new.whole_g)} by its weigh-in of "
            f"{voice.when(after[0].at_ms)}; {tail}"
        )


def _gained(before_g: float, after_g: float) -> bool:
    return after_g - before_g > max(SCALE_G, SCALE_PART * before_g)


def check_discard(piece: Piece, at_ms: int, voice: Voice) -> None:
    """Refuse discarding twice, or before the last thing known of the piece."""
    if piece.discarded_ms is not None:
        raise FactRefused(
            f"{piece.name} was discarded already, {voice.when(piece.discarded_ms)} ({piece.discarded_why})"
        )
    last_ms = last_known_ms(piece)
    opened = piece.stays[-1] if piece.stays and piece.stays[-1].to_ms is None else None
    if at_ms < last_ms or (opened is not None and at_ms == opened.from_ms):
        raise FactRefused(
            f"{piece.name} was still hung or weighed {voice.when(last_ms)}; "
            f"it cannot have been discarded {voice.when(at_ms)}"
        )


def check_ahead(what: str, at_ms: int, until_ms: int | None, longest_ms: int, voice: Voice) -> None:
    """Refuse an end that is not ahead, or further ahead than it may be."""
    if until_ms is not None and not at_ms < until_ms <= at_ms + longest_ms:
        raise FactRefused(
            f"{what} until {voice.when(until_ms)}: its end must be ahead of now ({voice.when(at_ms)}) "
            f"and at most {longest_ms // MS_PER_H} h from now"
        )


def check_shelf(kind: Kind | None, at_ms: int, until_ms: int | None, longest_ms: int, voice: Voice) -> None:
    """Refuse quiet without a near end, and about what is told once or concerns no chamber."""
    if kind in HOUSE_KINDS or kind is Kind.MONITOR_GAP:
        raise FactRefused(f"{kind} can't be made quiet: only what stands in a chamber can")
    check_ahead("quiet", at_ms, until_ms, longest_ms, voice)


def last_known_ms(piece: Piece) -> int:
    """Return the last time at which something is known of a piece: a stay's edge, a stage, a weigh-in."""
    edges = [stay.to_ms or stay.from_ms for stay in piece.stays]
    return max(edges + [one.from_ms for one in piece.told] + [w.at_ms for w in piece.weigh_ins])


def check_tend(from_ms: int, until_ms: int, voice: Voice) -> None:
    """Refuse a door session that ends before it begins or lasts over 4 h."""
    check_time(from_ms, voice, "the beginning")
    if not from_ms < until_ms <= from_ms + TEND_MAX_MS:
        raise FactRefused(
            f"a door session from {voice.when(from_ms)} to {voice.when(until_ms)}: "
            f"it must last above 0 and at most {TEND_MAX_MS // MS_PER_H} h"
        )
