"""`away`: the sheet for whoever leaves, who stands in meanwhile, and being back."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from datetime import tzinfo
from typing import Any

from chamberwatch.cli.home import Home, now_ms
from chamberwatch.cli.layout import paragraph, wrapped
from chamberwatch.cli.pictures import alarm_line, stamp
from chamberwatch.daemon.lives import life
from chamberwatch.daemon.outage import slacks
from chamberwatch.errors import UsageError
from chamberwatch.journal.away import Away
from chamberwatch.journal.facts import Facts
from chamberwatch.journal.pieces import Piece
from chamberwatch.journal.reader import Reader
from chamberwatch.meat.stages import due as next_job
from chamberwatch.settings import Settings
from chamberwatch.wire.timestamp import format_rfc3339
from chamberwatch.words.away import Going, sheet
from chamberwatch.words.duties import duties
from chamberwatch.words.stages import say_due
from chamberwatch.words.until import parse_until

Subs = Any


def add(subs: Subs, common: argparse.ArgumentParser) -> None:
    """Add the command to the parser."""
    what = "before you leave: what to do, what falls due, who stands in until you are back"
    p = subs.add_parser("away", parents=[common], help=what, description=what)
    end = p.add_mutually_exclusive_group(required=True)
    end.add_argument("--until", metavar="T", help="2d, sun 18:00, tomorrow 20:00, 2026-11-20 18:00, RFC 3339")
    end.add_argument("--back", action="store_true", help="you are back")
    p.add_argument("--stand-in", metavar="CHANNEL", help='a channel with role = "stand-in"')
    p.add_argument("--remark", default="", help="what the stand-in must know: key, fuse box, your number")
    p.add_argument("--json", action="store_true", help="what was recorded, as JSON")
    p.set_defaults(run=_away)


def _away(args: argparse.Namespace) -> None:
    home = Home.of(args, need_settings=True)
    settings, now = home.with_journal(), now_ms()
    home.need_journal()
    chambers = [c.name for c in settings.plan.chambers]
    with Facts(home.journal_path, now_ms=now, chambers=chambers, zone=home.zone) as facts:
        if args.back:
            was = facts.asks.come_back(now)
            print(_json(was) if args.json else wrapped(_welcome(was)))
            return
        away = facts.asks.go_away(Away(now, _until(args, home, now), _stand_in(args, settings), args.remark))
    if args.json:
        print(_json(away))
        return
    with home.reader() as reader:
        print("\n".join(_lines(_going(away, home, settings, reader, now))))


def _welcome(was: Away) -> str:
    to = f", not {was.stand_in}'s" if was.stand_in else ""
    return f"welcome back: alarms are yours again{to}. `events` shows what happened meanwhile."


def _until(args: argparse.Namespace, home: Home, now: int) -> int:
    try:
        return parse_until(args.until, now, home.zone)
    except ValueError as error:
        raise UsageError(f"--until: {error}") from None


def _stand_in(args: argparse.Namespace, settings: Settings) -> str:
    """Return the stand-in's channel; the only one there is need not be named."""
    known = [c.name for c in settings.file.notify.channel if c.role == "stand-in"]
    if args.stand_in is None:
        return known[0] if len(known) == 1 else ""
    if args.stand_in not in known:
        there = ", ".join(known) or 'none; give a [[notify.channel]] role = "stand-in"'
        raise UsageError(f"--stand-in: {args.stand_in!r} is no stand-in's channel; there is: {there}")
    return str(args.stand_in)


def _going(away: Away, home: Home, settings: Settings, reader: Reader, now: int) -> Going:
    units, zone = home.units(reader), home.zone
    due = [
        (duty.at_ms, f"{p.name}: {duty.what} ({_about(duty.at_ms, now, home)})")
        for p in reader.pieces()
        if p.ever_hung and p.stay_at(now) is not None
        for duty in duties(p.hung_ms, p.weigh_ins[-1].at_ms if p.weigh_ins else None, now, away.until_ms)
    ]
    for piece in reader.pieces():
        due += _stage_due(reader, piece, now, away.until_ms, zone)
    return Going(
        stamp(away.until_ms, now, zone),
        away.stand_in,
        tuple(slacks(settings.plan, reader)),
        tuple(text for _, text in sorted(due)),
        tuple(alarm_line(a, now, zone, units).removeprefix("! ") for a in reader.alarms()),
        away.remark,
        units,
    )


def _stage_due(
    reader: Reader, piece: Piece, now: int, until_ms: int, zone: tzinfo
) -> list[tuple[int, str]]:
    """Return the next job of a piece that does not hang yet, if it falls due before then."""
    found = None if piece.ever_hung else life(piece, now, reader.remarks(piece))
    job = next_job(found, now) if found is not None else None
    return [(job.at_ms, f"{piece.name}: {say_due(job, now, zone)}")] if job and job.at_ms < until_ms else []


def _about(at_ms: int, now: int, home: Home) -> str:
    when = stamp(at_ms, now, home.zone).rpartition(" ")[0]
    return f"due since {when}" if at_ms < now else f"due {when}"


def _lines(going: Going) -> Iterator[str]:
    for heading, lines in sheet(going):
        yield heading
        yield from (paragraph("  -", " ".join(line.split())) for line in lines)
        yield ""


def _json(away: Away) -> str:
    return json.dumps(
        {
            "from": format_rfc3339(away.from_ms),
            "until": format_rfc3339(away.until_ms),
            "stand_in": away.stand_in or None,
            "remark": away.remark or None,
        },
        ensure_ascii=False,
    )
