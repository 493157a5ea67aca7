"""Commands that run something: watch, check, replay, backup, rules."""

from __future__ import annotations

import argparse
import json
import logging
import os
import sys
from pathlib import Path
from typing import Any

from chamberwatch.cli.home import Home
from chamberwatch.cli.layout import paragraph, wrapped
from chamberwatch.errors import InputMissing, NotPermitted, Unavailable, UsageError
from chamberwatch.model import MS_PER_H, MS_PER_S
from chamberwatch.rules.catalogue import CATALOGUE
from chamberwatch.words.units import parse_duration_ms

Subs = Any
LISTEN_MOST_MS = MS_PER_H


def add(subs: Subs, common: argparse.ArgumentParser) -> None:
    """Add the commands to the parser."""
    p = subs.add_parser("watch", parents=[common], help="the daemon: read, judge, record, tell")
    p.add_argument("--rehearsal", action="store_true", help="take time from the readings (needs [rehearsal])")
    p.add_argument("--verbose", action="store_true", help="log every event")
    p.set_defaults(run=_watch)
    p = subs.add_parser("check", parents=[common], help="settings, ports, broker, clock, journal, channels")
    p.add_argument("--send-test", action="store_true", help="send a test message on every channel")
    p.add_argument("--listen", metavar="PROBE", help="show what a probe sends, and how it is read")
    p.add_argument("--for", dest="for_", metavar="TIME", help="how long to listen (60s unless given)")
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
    what = "every kind of event: when, when not any more, unit, source"
    p = subs.add_parser("rules", parents=[common], help=what)
    p.add_argument("--json", action="store_true")
    p.set_defaults(run=_rules)


def _watch(args: argparse.Namespace) -> None:
    from chamberwatch.daemon.service import set_up_log, watch  # noqa: PLC0415  other commands need none of it

    home = Home.of(args, need_settings=True)
    set_up_log(verbose=args.verbose)
    watch(home.with_journal(), rehearsal=args.rehearsal)


def _check(args: argparse.Namespace) -> int:
    from chamberwatch.daemon.checks import run_checks  # noqa: PLC0415
    from chamberwatch.daemon.findings import SIGNS, State  # noqa: PLC0415

    home = Home.of(args, need_settings=True)
    # What the parts log is told in the findings, in better order.
    logging.getLogger("chamberwatch").addHandler(logging.NullHandler())
    if args.listen is not None:
        return _listen(args, home)
    if args.for_ is not None:
        raise UsageError("--for says how long to listen: it needs --listen PROBE")
    bad = 0
    for finding in run_checks(home.with_journal(), send_test=args.send_test):
        print(paragraph(f"{SIGNS[finding.state]} ", f"{finding.about}: {finding.text}"), flush=True)
        bad += finding.state is State.FAULT
    print(f"{bad} to mend" if bad else "all well")
    return 69 if bad else 0


def _listen(args: argparse.Namespace, home: Home) -> int:
    from chamberwatch.cli.listening import listen  # noqa: PLC0415

    if args.send_test:
        raise UsageError("--listen and --send-test are two things: give one of them")
    try:
        for_ms = parse_duration_ms(args.for_ or "60s")
    except ValueError as error:
        raise UsageError(f"--for: {error}") from None
    if for_ms > LISTEN_MOST_MS:
        raise UsageError(f"--for: {args.for_} is too long; listen for at most 1h at a time")
    for text in listen(home.with_journal(), args.listen, for_ms / MS_PER_S):
        print(text, flush=True)
    return 0


def _replay(args: argparse.Namespace) -> None:
    from chamberwatch.daemon.replay import replay  # noqa: PLC0415

    home = Home.of(args, need_settings=True)
    settings = home.with_journal()
    if args.events is not None:
        _check_out(args.events, [*args.files, settings.journal_path, settings.source])
    summary = replay(settings, args.files, settings.journal_path)
    if args.events is not None:
        _write_events(args.events, home, set(summary.event_ids))
    print(json.dumps(summary.to_json(), ensure_ascii=False) if args.json else summary.text())


def _check_out(out: Path, taken: list[Path]) -> None:
    """See, before all the readings go in, that the events can be written, and over nothing needed."""
    if out.exists() and any(path.exists() and out.samefile(path) for path in taken):
        raise UsageError(f"--events {out}: that file is read here and would be overwritten; name another")
    if out.is_dir() or not out.parent.is_dir():
        raise InputMissing(f"--events {out}: there is no such folder, or it is one; name a file")
    if not os.access(out if out.exists() else out.parent, os.W_OK):
        raise NotPermitted(f"--events {out}: you may not write there")


def _write_events(out: Path, home: Home, wanted: set[str]) -> None:
    try:
        with home.reader() as reader, out.open("w", encoding="utf-8") as stream:
            stream.writelines(_line(e) for e in reader.events() if e["id"] in wanted)
    except OSError as error:
        why = f"--events {out}: not written ({error.strerror}); the journal has the events"
        raise Unavailable(why) from None


def _line(event: dict[str, Any]) -> str:
    return json.dumps(event, ensure_ascii=False) + "\n"


def _backup(args: argparse.Namespace) -> None:
    from chamberwatch.journal.backup import backup  # noqa: PLC0415

    home = Home.of(args)
    home.reader().close()
    size = backup(home.journal_path, args.target, overwrite=args.replace)
    print(wrapped(f"the journal is copied to {args.target} ({size / 1e6:.1f} MB, checked)"))


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
