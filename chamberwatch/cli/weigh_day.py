"""`tend`: a door session; with --weigh, all pieces of the chamber on the scale in one door opening."""

from __future__ import annotations

import argparse
import sys
from typing import Any, NamedTuple, TextIO

from chamberwatch.cli.home import Home, now_ms
from chamberwatch.cli.layout import paragraph, wrapped
from chamberwatch.errors import FactRefused, UsageError
from chamberwatch.journal.facts import Facts
from chamberwatch.journal.pieces import Piece
from chamberwatch.model import MS_PER_DAY
from chamberwatch.words.duties import duties
from chamberwatch.words.times import format_local
from chamberwatch.words.units import parse_duration_ms, parse_mass_g, show_mass

TEND_MS = 30 * 60_000
WORDS_SHOWN = 60
ASKS = 5
"""So often is one piece asked for before the next one comes."""


class Day(NamedTuple):
    """What a weigh day came to: weighed, left out, and asked for in vain."""

    weighed: tuple[str, ...]
    skipped: tuple[str, ...]
    in_vain: tuple[str, ...]


def options(p: argparse.ArgumentParser) -> None:
    """Add the command's own arguments."""
    p.add_argument("chamber")
    p.add_argument("--for", dest="length", default=None, metavar="30min", help="how long (default 30min)")
    p.add_argument(
        "--weigh", action="store_true",
        help="ask for each piece's weight, the longest hung first; an empty line leaves one out",
    )  # fmt: skip


def tend(facts: Facts, args: argparse.Namespace, home: Home, at_ms: int) -> tuple[Any, str]:
    """Record a door session and ask the watch to hold its air alarms; weigh what hangs there if asked to."""
    if args.weigh and args.json:
        raise UsageError("--weigh asks and answers in words; leave out --json")
    length_ms = TEND_MS
    if args.length is not None:
        try:
            length_ms = parse_duration_ms(args.length)
        except ValueError as error:
            raise UsageError(f"--for: {error}") from None
    t = facts.asks.tend(args.chamber, at_ms, at_ms + length_ms)
    until = format_local(t.until_ms, now_ms(), home.zone)
    text = f"door session at {t.chamber} until {until}; air alarms are held, then watching goes on"
    if not args.weigh:
        return t, text
    print(wrapped(text))
    day = _weigh(facts, home, args.chamber, at_ms, sys.stdin)
    if day.in_vain:
        raise FactRefused(f"{_came_to(day)}. Not taken: {', '.join(day.in_vain)}; give them with `weigh`")
    return t, (
        f"{_came_to(day)}. Shut the door: if it still stands open after the session, you are told (door-open)"
    )


def _came_to(day: Day) -> str:
    left = f"; left out: {', '.join(day.skipped)}" if day.skipped else ""
    return f"weighed: {', '.join(day.weighed) or 'nothing'}{left}"


def _weigh(facts: Facts, home: Home, chamber: str, at_ms: int, lines: TextIO) -> Day:
    with home.reader() as reader:
        units = home.units(reader)
        there = [p for p in reader.pieces() if (s := p.stay_at(at_ms)) is not None and s.chamber == chamber]
    found = [p for p in there if p.ever_hung]  # what lies in salt is not weighed yet
    weighed: list[str] = []
    skipped: list[str] = []
    in_vain: list[str] = []
    for piece in found:
        print(paragraph("  -", _about(piece, at_ms, home, units)))
        taken = _ask(facts, piece, at_ms, lines, units)
        (in_vain if taken is None else weighed if taken else skipped).append(piece.name)
    return Day(tuple(weighed), tuple(skipped), tuple(in_vain))


def _about(piece: Piece, at_ms: int, home: Home, units: str) -> str:
    """Return a piece as it waits for the scale: day, tare, what it weighed last, what is due with it."""
    last = piece.weigh_ins[-1] if piece.weigh_ins else None
    was = "not weighed yet"
    if last is not None:
        was = (
            f"last on the scale {show_mass(last.mass_g, units)}, {format_local(last.at_ms, at_ms, home.zone)}"
        )
    due = duties(piece.hung_ms, last.at_ms if last else None, at_ms, at_ms + MS_PER_DAY)
    others = "; ".join(duty.what for duty in due) or "nothing else is due; look for mold"
    tare = show_mass(piece.tare_at(at_ms), units)
    return f"{piece.name}, day {piece.day_at(at_ms)}, tare {tare}; {was}. {others[0].upper()}{others[1:]}."


def _ask(facts: Facts, piece: Piece, at_ms: int, lines: TextIO, units: str) -> bool | None:
    """Ask until a weight is taken (True) or left out (False); None: what was written could not be taken."""
    refused = False
    for _ in range(ASKS):
        print("    weight: ", end="", flush=True)
        line = lines.readline()
        if not lines.isatty():
            print(line.strip()[:WORDS_SHOWN])
        if not line.strip():
            return None if refused and not line else False
        try:
            w = facts.weigh(piece.name, parse_mass_g(line.strip()), at_ms)
        except (ValueError, FactRefused) as error:
            refused = True
            print(paragraph("    ", str(error)))
            continue
        net = show_mass(w.net_g, units)
        print(f"    {net} without tare, {w.loss_pct:.1f} % of {w.target_loss_pct:g} % lost")
        return True
    return None
