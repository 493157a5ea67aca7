"""Commands that record what only the owner knows: pieces, stays, weights, notes, doors, "I'm on it"."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from dataclasses import asdict, is_dataclass
from typing import Any

from chamberwatch.cli import deeds, stages, weigh_day
from chamberwatch.cli.home import Home, now_ms
from chamberwatch.cli.layout import wrapped
from chamberwatch.journal.facts import Facts
from chamberwatch.journal.store import Journal
from chamberwatch.wire.timestamp import format_rfc3339
from chamberwatch.words.stages import VERDICT_NOTES

Subs = Any


def add(subs: Subs, common: argparse.ArgumentParser, kinds: list[str]) -> None:
    """Add the commands to the parser."""
    _add_stages(subs, common)
    _add_pieces(subs, common)
    p = _command(subs, common, "note", "write something down about a piece or a chamber", deeds.note)
    p.add_argument("about", metavar="NAME")
    p.add_argument("text")
    p = _command(subs, common, "tend", "a door session: holds the air alarms, ends by itself", weigh_day.tend)
    weigh_day.options(p)
    p = _command(subs, common, "acknowledge", "I'm on it: repeats stop until it returns", deeds.acknowledge)
    p.add_argument("chamber", nargs="?", help="default: every open alarm of the house")
    p.add_argument("kind", nargs="?", choices=kinds, metavar="KIND")
    p.add_argument("--by", default="", help="who")
    what = "quiet about a chamber's alarms until a time that always comes (at most 72 h)"
    p = _command(subs, common, "shelve", what, deeds.shelve, past=False)
    p.add_argument("chamber")
    p.add_argument(
        "kind", nargs="?", choices=kinds, metavar="KIND", help="default: whatever stands there now"
    )
    _add_until(p, "not quiet any more")
    what = "a probe counts for nothing for a time (at most 14 d); its readings are kept"
    p = _command(subs, common, "rest", what, deeds.rest, past=False)
    p.add_argument("probe")
    _add_until(p, "it counts again")


def _add_until(p: argparse.ArgumentParser, over: str) -> None:
    end = p.add_mutually_exclusive_group(required=True)
    end.add_argument("--until", metavar="T", help="8h, 18:00, tomorrow 07:00, sun 18:00, RFC 3339")
    end.add_argument("--over", action="store_true", help=over)
    p.add_argument("--by", default="", help="who")


def _add_stages(subs: Subs, common: argparse.ArgumentParser) -> None:
    p = _command(subs, common, "start", "salting begins: the piece, its cure, its fridge", stages.start)
    p.add_argument("name", metavar="NAME")
    p.add_argument("--chamber", help="the cold chamber it lies in, if a probe watches it")
    _add_facts(p)
    p.add_argument("--species", metavar="pork", help="pork, beef, wild boar …")
    p.add_argument("--source", metavar="TEXT", help="where it is from, whether tested or frozen")
    p.add_argument("--nitrite", metavar="6.25%", help="sodium nitrite, off this bag's label")
    p.add_argument("--nitrate", metavar="4%", help="nitrate, off this bag's label, if any")
    p.add_argument("--cure", metavar="5.2g", help="how much of that curing salt went in, to 0.1 g")
    p.add_argument("--bone-in", action="store_true", help="refused, with why")
    p = _command(subs, common, "stage", "a piece comes to its next stage", stages.stage)
    p.add_argument("name", metavar="NAME")
    p.add_argument("stage", metavar="STAGE", help=", ".join(stages.STAGES[:6]) + " (or how it begins)")
    p.add_argument("--chamber", help="the cold chamber it lies in, if a probe watches it")
    p.add_argument("--correct", action="store_true", help="what was recorded of this stage on was a mistake")
    p = _command(subs, common, "cut", "a piece is opened and judged: it is done", stages.cut)
    p.add_argument("name", metavar="NAME")
    p.add_argument("--crust", metavar="2mm", help="how thick the hard outside is; 0mm for none")
    p.add_argument("--centre", default="", metavar="TEXT", help="how the middle looks")
    p.add_argument("--salt", default="", metavar="TEXT", help="how it tastes of salt")
    p.add_argument("--verdict", default="", choices=tuple(VERDICT_NOTES), help="good, fair or poor")


def _add_facts(p: argparse.ArgumentParser) -> None:
    """Add what can be said of a piece."""
    p.add_argument("--kind", help="neck, loin, tenderloin, round, belly, jowl …")
    p.add_argument("--green-weight", metavar="2150g")
    p.add_argument("--diameter", metavar="108mm", help="of a round piece")
    p.add_argument("--thickness", metavar="55mm", help="of a flat piece")
    p.add_argument("--length", metavar="280mm")
    p.add_argument("--casing", metavar="beef-bung")
    p.add_argument("--salt", metavar="2.75%")
    p.add_argument("--fat", choices=["lean", "medium", "fat"], help="default medium")
    p.add_argument("--fan", choices=["off", "timed", "always"], help="the chamber's fan; default not known")
    p.add_argument("--target-loss", metavar="35%", help="default 35%%")
    p.add_argument("--tare", metavar="80g", help="casing, net, twine, hook")


def _add_pieces(subs: Subs, common: argparse.ArgumentParser) -> None:
    p = _command(subs, common, "hang", "a piece begins to hang (or hangs again)", deeds.hang)
    p.add_argument("name", metavar="NAME")
    p.add_argument("--chamber", required=True)
    _add_facts(p)
    p.add_argument("--until", metavar="T", help="when that stay ended, if it is over")
    p = _command(subs, common, "weigh", "what the scale shows; the tare is remembered", deeds.weigh)
    p.add_argument("name", metavar="NAME")
    p.add_argument("mass", metavar="1830g")
    p.add_argument("--tare", metavar="80g")
    p.add_argument("--removed", metavar="120g", help="cut off since the last weighing: a trial slice")
    p.add_argument("--remark", default="", help="trial slice 120 g, re-netted, larded, washed …")
    p.add_argument("--anyway", action="store_true", help="take a gain in weight for true")
    p = _command(subs, common, "take-down", "a piece leaves its chamber", deeds.take_down)
    p.add_argument("name", metavar="NAME")
    p = _command(subs, common, "move", "a piece goes to another chamber", deeds.move)
    p.add_argument("name", metavar="NAME")
    p.add_argument("--chamber", required=True)
    p = _command(subs, common, "discard", "a piece is thrown away; it never hangs again", deeds.discard)
    p.add_argument("name", metavar="NAME")
    p.add_argument("--why", required=True)


Action = Callable[[Facts, argparse.Namespace, Home, int], deeds.Done]


def _command(
    subs: Subs, common: argparse.ArgumentParser, name: str, what: str, action: Action, *, past: bool = True
) -> argparse.ArgumentParser:
    p: argparse.ArgumentParser = subs.add_parser(name, parents=[common], help=what, description=what)
    if past:
        p.add_argument(
            "--at", metavar="T", help="when it was (default now): '2h ago', 'yesterday 18:00', RFC 3339"
        )
    p.add_argument("--json", action="store_true", help="what was recorded, as JSON")
    p.set_defaults(run=lambda args: _record(args, action))
    return p


def _record(args: argparse.Namespace, action: Action) -> None:
    home = Home.of(args)
    now = now_ms()
    at_ms = home.when(getattr(args, "at", None), now)
    chambers = _chambers(home)
    with Facts(home.journal_path, now_ms=now, chambers=chambers, zone=home.zone) as facts:
        result, text = action(facts, args, home, at_ms)
    if args.json:
        print(json.dumps(_plain(result), ensure_ascii=False))
    else:
        print("\n".join(wrapped(line) for line in text.split("\n") if line))


def _chambers(home: Home) -> list[str] | None:
    """Return the settings' chambers; a journal that is not there yet is made, if the settings are given."""
    if home.settings is None:
        home.need_journal()
        return None
    plan = home.settings.plan
    if not home.journal_path.exists():
        journal = Journal.open(home.journal_path)
        try:
            journal.remember_plan(plan, home.settings.file.units)
        finally:
            journal.close()
    return [c.name for c in plan.chambers]


def _plain(value: Any) -> Any:
    """Return a result as JSON values: named fields, times as RFC 3339 under names without `_ms`."""
    if isinstance(value, dict):
        return {
            k.removesuffix("_ms"): _moment(v) if k.endswith("_ms") else _plain(v) for k, v in value.items()
        }
    if hasattr(value, "_asdict"):
        return _plain(value._asdict())
    if is_dataclass(value) and not isinstance(value, type):
        return _plain(asdict(value))
    return [_plain(v) for v in value] if isinstance(value, list | tuple) else value


def _moment(at_ms: int | None) -> str | None:
    return None if at_ms is None else format_rfc3339(at_ms)
