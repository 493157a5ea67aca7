"""Commands that record what only the owner knows: pieces, stays, weights, notes, doors, "I'm on it"."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict, is_dataclass
from typing import Any

from chamberwatch.cli.home import Home, now_ms
from chamberwatch.errors import FactRefused, UsageError
from chamberwatch.journal.facts import Facts
from chamberwatch.journal.store import Journal
from chamberwatch.model import Kind, PieceFacts
from chamberwatch.wire.timestamp import format_rfc3339
from chamberwatch.words.times import format_local
from chamberwatch.words.units import (
    parse_duration_ms,
    parse_length_mm,
    parse_mass_g,
    parse_percent,
    show_mass,
    show_span,
)

TEND_MS = 30 * 60_000
AROUND_WEIGHING_MS = 15 * 60_000
"""A weigh-in is a door opening: so long before and after it the air alarms are held (common practice)."""

Subs = Any


def add(subs: Subs, common: argparse.ArgumentParser, kinds: list[str]) -> None:
    """Add the commands to the parser."""
    _add_pieces(subs, common)
    p = _command(subs, common, "note", "write something down about a piece or a chamber", _note)
    p.add_argument("about", metavar="NAME")
    p.add_argument("text")
    p = _command(subs, common, "tend", "a door session: air alarms are held, then it ends by itself", _tend)
    p.add_argument("chamber")
    p.add_argument("--for", dest="length", default=None, metavar="30min", help="how long (default 30min)")
    p = _command(subs, common, "acknowledge", "I'm on it: repeats stop until it returns", _acknowledge)
    p.add_argument("chamber", nargs="?", help="default: every open alarm of the house")
    p.add_argument("kind", nargs="?", choices=kinds, metavar="KIND")
    p.add_argument("--by", default="", help="who")


def _add_pieces(subs: Subs, common: argparse.ArgumentParser) -> None:
    p = _command(subs, common, "hang", "a piece begins to hang (or hangs again)", _hang)
    p.add_argument("name", metavar="NAME")
    p.add_argument("--chamber", required=True)
    p.add_argument("--kind", help="neck, loin, tenderloin, round, belly, jowl …")
    p.add_argument("--green-weight", metavar="2150g")
    p.add_argument("--diameter", metavar="108mm", help="of a round piece")
    p.add_argument("--thickness", metavar="55mm", help="of a flat piece")
    p.add_argument("--length", metavar="280mm")
    p.add_argument("--casing", default="none", metavar="beef-bung")
    p.add_argument("--salt", metavar="2.75%%")
    p.add_argument("--fat", default="medium", choices=["lean", "medium", "fat"])
    p.add_argument("--target-loss", default="35%", metavar="35%%")
    p.add_argument("--tare", metavar="80g", help="casing, net, twine, hook")
    p.add_argument("--until", metavar="T", help="when that stay ended, if it is over")
    p = _command(subs, common, "weigh", "what the scale shows; the tare is remembered", _weigh)
    p.add_argument("name", metavar="NAME")
    p.add_argument("mass", metavar="1830g")
    p.add_argument("--tare", metavar="80g")
    p.add_argument("--remark", default="", help="trial slice, re-netted, larded, washed …")
    p.add_argument("--anyway", action="store_true", help="take a gain in weight for true")
    p = _command(subs, common, "take-down", "a piece leaves its chamber", _take_down)
    p.add_argument("name", metavar="NAME")
    p = _command(subs, common, "move", "a piece goes to another chamber", _move)
    p.add_argument("name", metavar="NAME")
    p.add_argument("--chamber", required=True)
    p = _command(subs, common, "discard", "a piece is thrown away, and why; it never hangs again", _discard)
    p.add_argument("name", metavar="NAME")
    p.add_argument("--why", required=True)


Action = Callable[[Facts, argparse.Namespace, Home, int], tuple[Any, str]]


def _command(
    subs: Subs, common: argparse.ArgumentParser, name: str, what: str, action: Action
) -> argparse.ArgumentParser:
    p: argparse.ArgumentParser = subs.add_parser(name, parents=[common], help=what, description=what)
    p.add_argument(
        "--at", metavar="T", help="when it was (default now): '2h ago', 'yesterday 18:00', RFC 3339"
    )
    p.add_argument("--json", action="store_true", help="what was recorded, as JSON")
    p.set_defaults(run=lambda args: _record(args, action))
    return p


def _record(args: argparse.Namespace, action: Action) -> None:
    home = Home.of(args)
    now = now_ms()
    chambers = None
    if home.settings is not None:
        chambers = [c.name for c in home.settings.plan.chambers]
        _remember(home)
    with Facts(home.journal_path, now_ms=now, chambers=chambers, zone=home.zone) as facts:
        result, text = action(facts, args, home, home.when(args.at, now))
    print(json.dumps(_plain(result), ensure_ascii=False) if args.json else text)


def _remember(home: Home) -> None:
    """Tell a new journal the settings' house, so that later commands need only --journal."""
    if home.settings is not None and not home.journal_path.exists():
        journal = Journal.open(home.journal_path)
        try:
            journal.remember_plan(home.settings.plan, home.settings.file.units)
        finally:
            journal.close()


def _plain(value: Any) -> Any:
    """Return a result as JSON values: named fields, times as RFC 3339."""
    if isinstance(value, dict):
        return {
            k.removesuffix("_ms") if k.endswith("_ms") and isinstance(v, int) else k: format_rfc3339(v)
            if k.endswith("_ms") and isinstance(v, int)
            else _plain(v)
            for k, v in value.items()
        }
    if hasattr(value, "_asdict"):
        return _plain(value._asdict())
    if is_dataclass(value) and not isinstance(value, type):
        return _plain(asdict(value))
    return [_plain(v) for v in value] if isinstance(value, list | tuple) else value


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


def _hang(facts: Facts, args: argparse.Namespace, home: Home, at_ms: int) -> tuple[Any, str]:
    until_ms = None if args.until is None else home.when(args.until, now_ms())
    if args.kind is None and args.green_weight is None:
        hung = facts.hang_again(args.name, args.chamber, at_ms, until_ms=until_ms)
    else:
        hung = facts.hang(_piece_facts(args), args.chamber, at_ms, until_ms=until_ms)
    again = " again" if hung.again else ""
    since = format_local(at_ms, now_ms(), home.zone)
    return hung, f"{hung.piece} hangs{again} in {hung.chamber} since {since}"


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
        args.casing,
        _given(parse_percent, args.salt, "--salt"),
        args.fat,
        _needed(parse_percent, args.target_loss, "--target-loss"),
        _tare(args) or 0.0,
    )


def _weigh(facts: Facts, args: argparse.Namespace, home: Home, at_ms: int) -> tuple[Any, str]:
    mass_g = _needed(parse_mass_g, args.mass, "the weight")
    w = facts.weigh(args.name, mass_g, at_ms, _tare(args), args.remark, anyway=args.anyway)
    _open_door(facts, home, w.piece, at_ms)
    units = home.units()
    text = f"{w.piece}: {show_mass(w.net_g, units)} without tare, {w.loss_pct:.1f} % lost of green weight"
    text += f" (target {w.target_loss_pct:g} %)"
    if w.lost_g is not None and w.last_ms is not None:
        text += f"; {show_mass(w.lost_g, units)} since {show_span(at_ms - w.last_ms)} before"
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


def _take_down(facts: Facts, args: argparse.Namespace, _home: Home, at_ms: int) -> tuple[Any, str]:
    t = facts.take_down(args.name, at_ms)
    return t, f"{t.piece} is down from {t.chamber} after {show_span(at_ms - t.from_ms)}"


def _move(facts: Facts, args: argparse.Namespace, _home: Home, at_ms: int) -> tuple[Any, str]:
    m = facts.move(args.name, args.chamber, at_ms)
    return m, f"{m.piece} went from {m.from_chamber} to {m.chamber}"


def _discard(facts: Facts, args: argparse.Namespace, _home: Home, at_ms: int) -> tuple[Any, str]:
    d = facts.discard(args.name, args.why, at_ms)
    return d, (
        f"{d.piece} is recorded as discarded and can never hang again. Don't trim, cook, re-cure or feed it "
        "to animals; bin casing, net and purge; clean hooks and walls; look at its neighbours."
    )


def _note(facts: Facts, args: argparse.Namespace, _home: Home, at_ms: int) -> tuple[Any, str]:
    n = facts.note(args.about, args.text, at_ms)
    return n, f"noted about {n.about}"


def _tend(facts: Facts, args: argparse.Namespace, home: Home, at_ms: int) -> tuple[Any, str]:
    length_ms = TEND_MS if args.length is None else _given(parse_duration_ms, args.length, "--for")
    t = facts.tend(args.chamber, at_ms, at_ms + int(length_ms or TEND_MS))
    until = format_local(t.until_ms, now_ms(), home.zone)
    return t, f"door session at {t.chamber} until {until}; air alarms are held, then watching goes on"


def _acknowledge(facts: Facts, args: argparse.Namespace, _home: Home, at_ms: int) -> tuple[Any, str]:
    kind = Kind(args.kind) if args.kind else None
    a = facts.acknowledge(at_ms, chamber=args.chamber, kind=kind, by=args.by)
    if not a.alarms:
        return a, "no open alarm that nobody is on"
    return a, "you are on it: " + ", ".join(f"{alarm.kind} in {alarm.chamber}" for alarm in a.alarms)
