"""Commands that run something: watch, check, replay, backup, rules."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from chamberwatch.cli.home import Home
from chamberwatch.cli.layout import paragraph
from chamberwatch.rules.catalogue import CATALOGUE

Subs = Any


def add(subs: Subs, common: argparse.ArgumentParser) -> None:
    """Add the commands to the parser."""
    p = subs.add_parser("watch", parents=[common], help="the daemon: read, judge, record, tell")
    p.add_argument("--rehearsal", action="store_true", help="take time from the readings (needs [rehearsal])")
    p.add_argument("--verbose", action="store_true", help="log every event")
    p.set_defaults(run=_watch)
    p = subs.add_parser("check", parents=[common], help="settings, ports, broker, clock, journal, channels")
    p.add_argument("--send-test", action="store_true", help="send a test message on every channel")
    p.set_defaults(run=_check)
    p = subs.add_parser("replay", parents=[common], help="recorded SenML lines through the same rules")
    p.add_argument("files", nargs="+", type=Path, metavar="FILE")
    p.add_argument(
        "--events", type=Path, metavar="OUT.jsonl", help="write this replay's events as JSON lines"
    )
    p.add_argument("--json", action="store_true", help="the summary as JSON")
    p.set_defaults(run=_replay)
    p = subs.add_parser("backup", parents=[common], help="a whole copy of the journal, also while watching")
    p.add_argument("target", type=Path, metavar="TARGET")
    p.add_argument("--replace", action="store_true", help="replace TARGET if it exists")
    p.set_defaults(run=_backup)
    p = subs.add_parser("rules", help="every kind of event: when, when not any more, unit, source")
    p.add_argument("--json", action="store_true")
    p.set_defaults(run=_rules)


def _watch(args: argparse.Namespace) -> None:
    from chamberwatch.daemon.service import set_up_log, watch  # noqa: PLC0415  other commands need none of it

    home = Home.of(args, need_settings=True)
    set_up_log(verbose=args.verbose)
    watch(home.with_journal(), rehearsal=args.rehearsal)


def _check(args: argparse.Namespace) -> int:
    from chamberwatch.daemon.checks import State, run_checks  # noqa: PLC0415

    home = Home.of(args, need_settings=True)
    bad = 0
    for finding in run_checks(home.with_journal(), send_test=args.send_test):
        print(finding.line(), flush=True)
        bad += finding.state is State.FAULT
    print(f"{bad} to mend" if bad else "all well")
    return 69 if bad else 0


def _replay(args: argparse.Namespace) -> None:
    from chamberwatch.daemon.replay import replay  # noqa: PLC0415

    home = Home.of(args, need_settings=True)
    settings = home.with_journal()
    summary = replay(settings, args.files, settings.journal_path)
    if args.events is not None:
        with home.reader() as reader, args.events.open("w", encoding="utf-8") as out:
            wanted = set(summary.event_ids)
            out.writelines(_line(e) for e in reader.events() if e["id"] in wanted)
    if args.json:
        print(json.dumps(summary.to_json(), ensure_ascii=False))
    else:
        print(summary.text())


def _line(event: dict[str, Any]) -> str:
    return json.dumps(event, ensure_ascii=False) + "\n"


def _backup(args: argparse.Namespace) -> None:
    from chamberwatch.journal.backup import backup  # noqa: PLC0415

    home = Home.of(args)
    home.reader().close()
    size = backup(home.journal_path, args.target, overwrite=args.replace)
    print(f"the journal is copied to {args.target} ({size / 1e6:.1f} MB, checked)")


def _rules(args: argparse.Namespace) -> None:
    if args.json:
        json.dump([_entry(e) for e in CATALOGUE.values()], sys.stdout, ensure_ascii=False, indent=1)
        print()
        return
    for e in CATALOGUE.values():
        print(e.kind)
        for name, text in (
            ("raised", e.raised),
            ("returns", e.returns),
            ("unit", e.unit),
            ("source", e.source),
        ):
            print(paragraph(f"  {name:8}", text))


def _entry(e: Any) -> dict[str, str]:
    return {
        "kind": e.kind,
        "raised": e.raised,
        "returns": e.returns,
        "unit": e.unit,
        "priority": e.priority,
        "source": e.source,
    }
