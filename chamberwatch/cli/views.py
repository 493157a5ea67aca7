"""Commands that only look: now, events, pieces."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from typing import Any

from chamberwatch.cli.home import Home, now_ms
from chamberwatch.cli.layout import columns, paragraph
from chamberwatch.cli.pictures import (
    air_lines,
    alarm_line,
    away_line,
    event_block,
    piece_row,
    probe_row,
    rest_line,
)
from chamberwatch.daemon.lives import life
from chamberwatch.daemon.service import REHEARSAL
from chamberwatch.journal.fact_checks import check_chamber, unknown_piece
from chamberwatch.journal.pieces import Piece
from chamberwatch.journal.reader import Reader
from chamberwatch.journal.views import ChamberAir, ProbeState
from chamberwatch.meat.stages import Due, due
from chamberwatch.model import Alarm, Kind
from chamberwatch.psychrometrics import dew_point_c
from chamberwatch.wire.timestamp import format_rfc3339
from chamberwatch.words.stages import say_due

Subs = Any


def add(subs: Subs, common: argparse.ArgumentParser) -> None:
    """Add the commands to the parser."""
    p = subs.add_parser("now", parents=[common], help="the air now, open alarms, what hangs")
    p.add_argument("--json", action="store_true")
    p.set_defaults(run=_now)
    p = subs.add_parser("events", parents=[common], help="what happened, oldest first")
    p.add_argument("--json", action="store_true", help="JSON lines")
    p.add_argument("--since", metavar="T")
    p.add_argument("--until", metavar="T")
    p.add_argument("--kind", choices=[str(k) for k in Kind], metavar="KIND")
    p.add_argument("--chamber")
    p.add_argument("--piece", metavar="NAME")
    p.add_argument("--headlines", action="store_true", help="first lines only")
    p.set_defaults(run=_events)
    p = subs.add_parser("pieces", parents=[common], help="every piece: stage, day, weight, loss, next job")
    p.add_argument("--json", action="store_true")
    p.set_defaults(run=_pieces)


def _banner(home: Home) -> None:
    if home.settings is not None and home.settings.file.rehearsal is not None:
        print(REHEARSAL)


def _now(args: argparse.Namespace) -> None:
    home = Home.of(args)
    now = now_ms()
    with home.reader() as reader:
        if args.json:
            print(json.dumps(now_document(reader, now), ensure_ascii=False))
            return
        _banner(home)
        print("\n".join(_now_lines(home, reader, now)))


def _now_lines(home: Home, reader: Reader, now_ms: int) -> Iterator[str]:
    units, plan, zone = home.units(reader), reader.plan(), home.zone
    for air in reader.air():
        chamber = plan.chamber(air.chamber) if plan is not None else None
        yield from air_lines(air, chamber, now_ms, zone, units)
    yield from columns([probe_row(p, now_ms, units) for p in reader.probes()])
    yield from [rest_line(*rest, now_ms, zone) for rest in sorted(reader.resting(now_ms).items())]
    away = reader.away(now_ms)
    if away is not None:
        yield away_line(away, now_ms, zone)
    yield ""
    yield from [alarm_line(a, now_ms, zone, units) for a in reader.alarms()] or ["no open alarm"]
    yield ""
    hanging = [p for p in reader.pieces() if p.stay_at(now_ms) is not None]
    yield from columns([piece_row(p, now_ms, zone, units) for p in hanging]) or ["nothing hangs"]


def now_document(reader: Reader, at_ms: int) -> dict[str, Any]:
    """Return `now --json`: names and shapes are a contract; °C, %RH, g, %."""
    resting = reader.resting(at_ms)
    return {
        "at": format_rfc3339(at_ms),
        "chambers": [_air_object(a) for a in reader.air()],
        "probes": [_probe_object(p, resting.get(p.probe)) for p in reader.probes()],
        "alarms": [_alarm_object(a) for a in reader.alarms()],
        "pieces": [piece_object(p, at_ms) for p in reader.pieces() if p.stay_at(at_ms) is not None],
    }


def _when(at_ms: int | None) -> str | None:
    return None if at_ms is None else format_rfc3339(at_ms)


def _air_object(air: ChamberAir) -> dict[str, Any]:
    return {
        "chamber": air.chamber,
        "at": _when(air.at_ms),
        "temperature": air.temp_c,
        "humidity": air.rh_pct,
        "dew_point": _dew(air.temp_c, air.rh_pct),
        "probes": list(air.probes),
    }


def _dew(temp_c: float | None, rh_pct: float | None) -> float | None:
    if temp_c is None or not rh_pct:
        return None
    return round(dew_point_c(temp_c, rh_pct), 2)


def _probe_object(p: ProbeState, rests_until_ms: int | None) -> dict[str, Any]:
    return {
        "probe": p.probe,
        "chamber": p.chamber,
        "last_at": _when(p.at_ms),
        "temperature": p.temp_c,
        "humidity": p.rh_pct,
        "readings": p.readings,
        "refused": p.refused,
        "repeated": p.repeated,
        "late": p.late,
        "rests_until": _when(rests_until_ms),
    }


def _alarm_object(a: Alarm) -> dict[str, Any]:
    return {
        "id": a.event_id,
        "chamber": a.chamber,
        "kind": a.kind,
        "state": a.state,
        "priority": a.priority,
        "since": format_rfc3339(a.since_ms),
        "at": format_rfc3339(a.at_ms),
        "probes": list(a.probes),
        "value": a.value,
        "limit": a.limit,
        "acknowledged_by": a.acknowledged_by,
        "quiet_until": _when(a.shelved_until_ms),
    }


def piece_object(p: Piece, at_ms: int) -> dict[str, Any]:
    """Return one piece of `pieces --json` and `now --json`."""
    stay, entered = p.stay_at(at_ms), p.stage_at(at_ms)
    last = p.weigh_ins[-1] if p.weigh_ins else None
    return {
        "piece": p.name,
        "kind": p.facts.kind,
        "chamber": stay.chamber if stay else None,
        "day": p.day_at(at_ms) if stay else None,
        "green_weight_g": p.facts.green_weight_g,
        "target_loss_pct": p.facts.target_loss_pct,
        "weight_g": last.net_g if last else None,
        "weighed_at": _when(last.at_ms if last else None),
        "loss_pct": round(p.loss_pct(last.whole_g), 2) if last else None,
        "stage": entered.stage if entered else None,
        "stage_since": _when(entered.from_ms if entered else None),
        "cut_at": _when(p.cut.at_ms if p.cut else None),
        "verdict": p.cut.verdict or None if p.cut else None,
        "discarded_at": _when(p.discarded_ms),
        "discarded_why": p.discarded_why or None,
        "stays": [{"chamber": s.chamber, "from": _when(s.from_ms), "to": _when(s.to_ms)} for s in p.stays],
    }


def _events(args: argparse.Namespace) -> None:
    home = Home.of(args)
    now = now_ms()
    since_ms = None if args.since is None else home.when(args.since, now, "--since")
    until_ms = None if args.until is None else home.when(args.until, now, "--until")
    with home.reader() as reader:
        found = reader.events(
            since_ms=since_ms,
            until_ms=until_ms,
            kind=args.kind,
            chamber=_known_chamber(reader, args.chamber),
            piece=_known_piece(reader, args.piece),
        )
        if args.json:
            for event in found:
                print(json.dumps(event, ensure_ascii=False))
            return
        _banner(home)
        blocks = (event_block(e, now, home.zone, headline_only=args.headlines) for e in found)
        first = next(blocks, "nothing has happened")
        print("\n".join([first, *blocks]))


def _known_chamber(reader: Reader, name: str | None) -> str | None:
    """Return the chamber's name; one that is planned no more may still have its events."""
    plan = reader.plan()
    if name is not None and not any(reader.events(chamber=name)):
        check_chamber(name, [c.name for c in plan.chambers] if plan is not None else [])
    return name


def _known_piece(reader: Reader, name: str | None) -> str | None:
    """Return a piece's name as it was first written."""
    if name is None:
        return None
    piece = reader.piece(" ".join(name.split()))
    if piece is None:
        raise unknown_piece(name, [p.name for p in reader.pieces()])
    return piece.name


def _pieces(args: argparse.Namespace) -> None:
    home = Home.of(args)
    now = now_ms()
    with home.reader() as reader:
        pieces = reader.pieces()
        if args.json:
            told = [piece_object(p, now) | {"next": _job_object(_next_job(reader, p, now))} for p in pieces]
            print(json.dumps(told, ensure_ascii=False))
            return
        _banner(home)
        lines = columns([piece_row(p, now, home.zone, home.units(reader)) for p in pieces])
        print("\n".join(lines) if lines else "no piece is recorded yet")
        jobs = [(p.name, job) for p in pieces if (job := _next_job(reader, p, now)) is not None]
        for name, job in sorted(jobs, key=lambda one: one[1].at_ms):
            print(paragraph(f"  {name}:", say_due(job, now, home.zone)))


def _next_job(reader: Reader, piece: Piece, now_ms: int) -> Due | None:
    found = life(piece, now_ms, reader.remarks(piece))
    return due(found, now_ms) if found is not None else None


def _job_object(job: Due | None) -> dict[str, Any] | None:
    if job is None:
        return None
    return {"job": job.job, "from": _when(job.at_ms), "to": _when(job.until_ms), "stage": job.stage}
