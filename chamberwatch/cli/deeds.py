"""What each command that records a fact does, and the sentence it answers with.

Each takes the facts, the command line, the house and the time it is about; it returns what was recorded (for
--json) and what to say. Refusals: FactRefused for what cannot be, UsageError for what cannot be read.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from chamberwatch.cli.home import Home, now_ms
from chamberwatch.cli.pictures import stamp
from chamberwatch.errors import FactRefused, UsageError
from chamberwatch.journal.facts import Facts
from chamberwatch.model import Kind, PieceFacts
from chamberwatch.words.times import format_clock, format_local
from chamberwatch.words.units import (
    parse_length_mm,
    parse_mass_g,
    parse_percent,
    show_mass,
    show_span,
)
from chamberwatch.words.until import parse_until

AROUND_WEIGHING_MS = 15 * 60_000
"""A weigh-in is a door opening: so long before and after it the air alarms are held (common practice)."""

NEAR_MS = 20 * 60 * 60_000
"""Ahead no further than this, a clock time alone says which day is meant."""

TARGET_LOSS_PCT = 35.0
"""Of a neck; common practice."""

Done = tuple[Any, str]


def _given(parse: Callable[[str], float], text: str | None, option: str) -> float | None:
    if text is None:
        return None
    try:
        return parse(text)
    except ValueError as error:
        raise UsageError(f"{option}: {error}") from None


def _needed(parse: Callable[[str], float], text: str | None, option: str) -> float:
    value = _given(parse, text, option)
    if value is None:
        raise UsageError(f"{option} is missing: a piece that hangs for the first time needs it")
    return value


def _tare(args: argparse.Namespace) -> float | None:
    return _given(lambda text: parse_mass_g(text, zero_ok=True), args.tare, "--tare")


def hang(facts: Facts, args: argparse.Namespace, home: Home, at_ms: int) -> Done:
    """Begin a stay."""
    now = now_ms()
    until_ms = None if args.until is None else home.when(args.until, now, "--until")
    if args.kind is None and args.green_weight is None:
        _check_known(args, home)
        hung = facts.hang_again(args.name, args.chamber, at_ms, until_ms=until_ms)
    else:
        hung = facts.hang(_piece_facts(args), args.chamber, at_ms, until_ms=until_ms)
    again = " again" if hung.again else ""
    since = format_local(at_ms, now, home.zone)
    if until_ms is not None:
        until = format_local(until_ms, now, home.zone)
        return hung, f"{hung.piece} hung{again} in {hung.chamber} from {since} to {until}"
    return hung, f"{hung.piece} hangs{again} in {hung.chamber} since {since}"


def _check_known(args: argparse.Namespace, home: Home) -> None:
    """Refuse a piece nobody knows when nothing is said of it, and facts that would go unheard."""
    with home.reader() as reader:
        known = reader.piece(" ".join(args.name.split()))
    if known is None:
        raise UsageError(
            f"{args.name} was never hung before: a new piece needs --kind (neck, loin …) and "
            "--green-weight (2150g, 4lb 12oz)"
        )
    facts = ("diameter", "thickness", "length", "casing", "salt", "fat", "target_loss", "tare")
    unheard = [f"--{name.replace('_', '-')}" for name in facts if getattr(args, name) is not None]
    if unheard:
        raise UsageError(
            f"{known.name} hangs again with what is known of it; {', '.join(unheard)} can't be changed here"
        )


def _piece_facts(args: argparse.Namespace) -> PieceFacts:
    if args.kind is None:
        raise UsageError("--kind is missing: neck, loin, tenderloin, round, belly, jowl …")
    return PieceFacts(
        args.name,
        args.kind,
        _needed(parse_mass_g, args.green_weight, "--green-weight"),
        _given(parse_length_mm, args.diameter, "--diameter"),
        _given(parse_length_mm, args.thickness, "--thickness"),
        _given(parse_length_mm, args.length, "--length"),
        args.casing or "none",
        _given(parse_percent, args.salt, "--salt"),
        args.fat or "medium",
        _given(parse_percent, args.target_loss, "--target-loss") or TARGET_LOSS_PCT,
        _tare(args) or 0.0,
    )


def weigh(facts: Facts, args: argparse.Namespace, home: Home, at_ms: int) -> Done:
    """Record a weigh-in, and the door session it was."""
    mass_g = _needed(parse_mass_g, args.mass, "the weight")
    w = facts.weigh(args.name, mass_g, at_ms, _tare(args), args.remark, anyway=args.anyway)
    _open_door(facts, home, w.piece, at_ms)
    with home.reader() as reader:
        units = home.units(reader)
    text = f"{w.piece}: {show_mass(w.net_g, units)} without tare, {w.loss_pct:.1f} % lost of green weight"
    text += f" (target {w.target_loss_pct:g} %)"
    if w.lost_g is not None and w.last_ms is not None:
        how = "lost" if w.lost_g >= 0 else "gained"
        text += f"; {show_mass(abs(w.lost_g), units)} {how} in {show_span(at_ms - w.last_ms)}"
    return w, text


def _open_door(facts: Facts, home: Home, piece: str, at_ms: int) -> None:
    with home.reader() as reader:
        known = reader.piece(piece)
    stay = known.stay_at(at_ms) if known is not None else None
    if stay is None:
        return
    # A door session is on already, or the chamber is planned no more: then there is nothing to hold.
    with suppress(FactRefused):
        facts.tend(stay.chamber, at_ms - AROUND_WEIGHING_MS, at_ms + AROUND_WEIGHING_MS)


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
    a = facts.acknowledge(at_ms, chamber=args.chamber, kind=kind, by=args.by)
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
    s = facts.shelve(at_ms, args.chamber, kind, _until_ms(args, home, at_ms), by=args.by)
    what = f"{', '.join(s.kinds)} in {s.chamber}"
    if s.until_ms is None:
        return s, f"not quiet any more about {what if kind else f'anything in {s.chamber}'}"
    return s, (
        f"quiet until {_ahead(s.until_ms, at_ms, home)} about {what}; it is watched and recorded all the "
        "same. What becomes urgent is told at once, and what still stands then is told again."
    )


def rest(facts: Facts, args: argparse.Namespace, home: Home, at_ms: int) -> Done:
    """Ask the watch to leave a probe out of all judging."""
    r = facts.rest(at_ms, args.probe, _until_ms(args, home, at_ms), by=args.by)
    if r.until_ms is None:
        return r, f"{r.probe} in {r.chamber} counts again"
    text = f"{r.probe} in {r.chamber} rests until {_ahead(r.until_ms, at_ms, home)}; its readings are kept."
    if r.eyes:
        return r, f"{text} {r.chamber} is still watched by {', '.join(r.eyes)}."
    return r, f"{text} NOBODY WATCHES {r.chamber} until then: look at a plain thermometer yourself."


def _ahead(until_ms: int, now: int, home: Home) -> str:
    near = until_ms - now <= NEAR_MS
    return format_clock(until_ms, home.zone) if near else stamp(until_ms, now, home.zone)
