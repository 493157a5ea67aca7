"""What each command that records a fact does, and the sentence it answers with.

Each takes the facts, the command line, the house and the time it is about; it returns what was recorded (for
--json) and what to say. Refusals: FactRefused for what cannot be, UsageError for what cannot be read.
"""

from __future__ import annotations

import argparse
from contextlib import suppress
from dataclasses import replace
from typing import Any

from chamberwatch.cli.home import Home, now_ms
from chamberwatch.cli.pictures import stamp
from chamberwatch.cli.reading import given, needed
from chamberwatch.cli.stages import early, facts_given, known_piece, new_facts, removed_g
from chamberwatch.errors import FactRefused, UsageError
from chamberwatch.journal.fact_results import Hung
from chamberwatch.journal.facts import Facts
from chamberwatch.journal.pieces import Piece
from chamberwatch.model import Kind, PieceFacts
from chamberwatch.words.times import format_clock, format_local
from chamberwatch.words.units import (
    parse_mass_g,
    show_mass,
    show_span,
)
from chamberwatch.words.until import parse_until

AROUND_WEIGHING_MS = 15 * 60_000
"""A weigh-in is a door opening: so long before and after it the air alarms are held (common practice)."""

NEAR_MS = 20 * 60 * 60_000
"""Ahead no further than this, a clock time alone says which day is meant."""
UNITS = ("_mm", "_pct", "_g")
Done = tuple[Any, str]


def hang(facts: Facts, args: argparse.Namespace, home: Home, at_ms: int) -> Done:
    """Begin a stay."""
    now = now_ms()
    until_ms = None if args.until is None else home.when(args.until, now, "--until")
    hung = _hung(facts, args, home, at_ms, until_ms)
    warned = "\n".join(["", *early(home, hung.piece, at_ms)])
    again = " again" if hung.again else ""
    since = format_local(at_ms, now, home.zone)
    if until_ms is not None:
        until = format_local(until_ms, now, home.zone)
        return hung, f"{hung.piece} hung{again} in {hung.chamber} from {since} to {until}{warned}"
    return hung, f"{hung.piece} hangs{again} in {hung.chamber} since {since}{warned}"


def _hung(facts: Facts, args: argparse.Namespace, home: Home, at_ms: int, until_ms: int | None) -> Hung:
    said = facts_given(args)
    known = known_piece(home, args.name)
    if known is not None and not known.ever_hung:
        return facts.hang(_changed(known, said), args.chamber, at_ms, until_ms=until_ms)
    if args.kind is None and args.green_weight is None:
        _check_known(known, args.name, said)
        return facts.hang_again(args.name, args.chamber, at_ms, until_ms=until_ms)
    return facts.hang(new_facts(args.name, said), args.chamber, at_ms, until_ms=until_ms)


def _changed(known: Piece, said: dict[str, Any]) -> PieceFacts:
    """Return what is known of a piece from its salting, with what is said of it at its hang."""
    return replace(known.facts, **said)


def _check_known(known: Piece | None, name: str, said: dict[str, Any]) -> None:
    """Refuse a piece nobody knows when nothing is said of it, and facts that would go unheard."""
    if known is None:
        raise UsageError(
            f"{name} was never hung before: a new piece needs --kind (neck, loin …) and "
            "--green-weight (2150g, 4lb 12oz)"
        )
    unheard = [f"--{field.rsplit('_', 1)[0] if field.endswith(UNITS) else field}" for field in said]
    if unheard:
        options = ", ".join(option.replace("_", "-") for option in unheard)
        raise UsageError(
            f"{known.name} hangs again with what is known of it; {options} can't be changed here"
        )


def weigh(facts: Facts, args: argparse.Namespace, home: Home, at_ms: int) -> Done:
    """Record a weigh-in, and the door session it was."""
    mass_g = needed(parse_mass_g, args.mass, "the weight")
    tare_g = given(lambda text: parse_mass_g(text, zero_ok=True), args.tare, "--tare")
    slice_g = removed_g(args)
    w = facts.weigh(args.name, mass_g, at_ms, tare_g, args.remark, removed_g=slice_g, anyway=args.anyway)
    _open_door(facts, home, w.piece, at_ms)
    with home.reader() as reader:
        units = home.units(reader)
    text = f"{w.piece}: {show_mass(w.net_g, units)} without tare, {w.loss_pct:.1f} % lost of green weight"
    text += f" (target {w.target_loss_pct:g} %)"
    if w.lost_g is not None and w.last_ms is not None:
        how = "lost" if w.lost_g >= 0 else "gained"
        text += f"; {show_mass(abs(w.lost_g), units)} {how} in {show_span(at_ms - w.last_ms)}"
    if slice_g:
        text += f"; {show_mass(slice_g, units)} cut off is not counted as dried"
    return w, text


def _open_door(facts: Facts, home: Home, piece: str, at_ms: int) -> None:
    with home.reader() as reader:
        known = reader.piece(piece)
    stay = known.stay_at(at_ms) if known is not None else None
    if stay is None:
        return
    # A door session is on already, or the chamber is planned no more: then there is nothing to hold.
    with suppress(FactRefused):
        facts.asks.tend(stay.chamber, at_ms - AROUND_WEIGHING_MS, at_ms + AROUND_WEIGHING_MS)


def take_down(facts: Facts, args: argparse.Namespace, _home: Home, at_ms: int) -> Done:
    """End a stay."""
    t = facts.take_down(args.name, at_ms)
    return t, f"{t.piece} is down from {t.chamber} after {show_span(at_ms - t.from_ms)}"


def move(facts: Facts, args: argparse.Namespace, _home: Home, at_ms: int) -> Done:
    """End a stay and begin another."""
    m = facts.move(args.name, args.chamber, at_ms)
    return m, f"{m.piece} went from {m.from_chamber} to {m.chamber}"


def discard(facts: Facts, args: argparse.Namespace, _home: Home, at_ms: int) -> Done:
    """Record that a piece was thrown away."""
    d = facts.discard(args.name, args.why, at_ms)
    return d, (
        f"{d.piece} is recorded as discarded and can never hang again. Don't trim, cook, re-cure or feed it "
        "to animals; bin casing, net and purge; clean hooks and walls; look at its neighbours."
    )


def note(facts: Facts, args: argparse.Namespace, _home: Home, at_ms: int) -> Done:
    """Record a remark."""
    n = facts.note(args.about, args.text, at_ms)
    return n, f"noted about {n.about}"


def acknowledge(facts: Facts, args: argparse.Namespace, _home: Home, at_ms: int) -> Done:
    """Ask the watch to note that someone is on it."""
    kind = Kind(args.kind) if args.kind else None
    a = facts.asks.acknowledge(at_ms, chamber=args.chamber, kind=kind, by=args.by)
    if not a.alarms:
        return a, "no open alarm that nobody is on"
    return a, "you are on it: " + ", ".join(f"{alarm.kind} in {alarm.chamber}" for alarm in a.alarms)


def _until_ms(args: argparse.Namespace, home: Home, now: int) -> int | None:
    if args.over:
        return None
    try:
        return parse_until(args.until, now, home.zone)
    except ValueError as error:
        raise UsageError(f"--until: {error}") from None


def shelve(facts: Facts, args: argparse.Namespace, home: Home, at_ms: int) -> Done:
    """Ask the watch for quiet."""
    kind = Kind(args.kind) if args.kind else None
    s = facts.asks.shelve(at_ms, args.chamber, kind, _until_ms(args, home, at_ms), by=args.by)
    what = f"{', '.join(s.kinds)} in {s.chamber}"
    if s.until_ms is None:
        return s, f"not quiet any more about {what if kind else f'anything in {s.chamber}'}"
    return s, (
        f"quiet until {_ahead(s.until_ms, at_ms, home)} about {what}; it is watched and recorded all the "
        "same. What becomes urgent is told at once, and what still stands then is told again."
    )


def rest(facts: Facts, args: argparse.Namespace, home: Home, at_ms: int) -> Done:
    """Ask the watch to leave a probe out of all judging."""
    r = facts.asks.rest(at_ms, args.probe, _until_ms(args, home, at_ms), by=args.by)
    if r.until_ms is None:
        return r, f"{r.probe} in {r.chamber} counts again"
    text = f"{r.probe} in {r.chamber} rests until {_ahead(r.until_ms, at_ms, home)}; its readings are kept."
    if r.eyes:
        return r, f"{text} {r.chamber} is still watched by {', '.join(r.eyes)}."
    return r, f"{text} NOBODY WATCHES {r.chamber} until then: look at a plain thermometer yourself."


def _ahead(until_ms: int, now: int, home: Home) -> str:
    near = until_ms - now <= NEAR_MS
    return format_clock(until_ms, home.zone) if near else stamp(until_ms, now, home.zone)
