"""`forecast`: when a piece is ready, and where it stands, with what-ifs."""

from __future__ import annotations

import argparse
import json
from typing import Any

from chamberwatch.cli.home import Home, now_ms
from chamberwatch.cli.layout import wrapped
from chamberwatch.daemon.outlook import Outlook, outlook
from chamberwatch.errors import UsageError
from chamberwatch.journal.fact_checks import unknown_piece
from chamberwatch.journal.pieces import Piece
from chamberwatch.journal.reader import Reader
from chamberwatch.meat.forecast import Ahead
from chamberwatch.words.forecast import Dated, Span, say_forecast
from chamberwatch.words.times import format_local
from chamberwatch.words.units import parse_rh_pct, parse_temp_c

TEMP_C, RH_PCT = (0.0, 30.0), (30.0, 98.0)


def add(subs: Any, common: argparse.ArgumentParser) -> None:
    """Add the command to the parser."""
    what = "when a piece is ready, and where it stands"
    p = subs.add_parser("forecast", parents=[common], help=what, description=what)
    p.add_argument("name", metavar="NAME")
    p.add_argument("--as-of", metavar="T", help="as it looked then, from what was known up to then")
    p.add_argument("--if-humidity", metavar="72", help="what if the air is so from now on")
    p.add_argument("--if-temperature", metavar="11C", help="what if the air is so from now on; 52F too")
    p.add_argument("--json", action="store_true")
    p.set_defaults(run=_forecast)


def _forecast(args: argparse.Namespace) -> None:
    home = Home.of(args)
    with home.reader() as reader:
        recorded = reader.piece(" ".join(args.name.split()))
        if recorded is None:
            raise unknown_piece(args.name, [p.name for p in reader.pieces()])
        now = _now(reader)
        as_of_ms = home.when(args.as_of, now, "--as-of")

        def change(ahead: Ahead) -> Ahead:
            return _changed(args, ahead)

        found = outlook(reader, recorded, as_of_ms, lambda ms: format_local(ms, now, home.zone), change)
        if args.json:
            print(json.dumps(found.document(), ensure_ascii=False))
            return
        told = _dated(found, recorded, asked=bool(args.if_humidity or args.if_temperature))
        print("\n".join(wrapped(text) for text in say_forecast(told, home.units(reader), home.zone)))


def _now(reader: Reader) -> int:
    """Return the time now; where readings are of later times (replayed ones), that of the newest."""
    return max([now_ms(), *(p.at_ms for p in reader.probes() if p.at_ms is not None)])


def _changed(args: argparse.Namespace, ahead: Ahead) -> Ahead:
    temp_c, rh_pct = ahead.temp_c, ahead.rh_pct
    if args.if_humidity is not None:
        rh_pct = _within(parse_rh_pct, args.if_humidity, "--if-humidity", RH_PCT, "%RH")
    if args.if_temperature is not None:
        temp_c = _within(parse_temp_c, args.if_temperature, "--if-temperature", TEMP_C, "°C")
    return Ahead(temp_c, rh_pct, ahead.known)


def _within(parse: Any, text: str, option: str, bounds: tuple[float, float], unit: str) -> float:
    try:
        value = float(parse(text))
    except ValueError as error:
        raise UsageError(f"{option}: {error}") from None
    if not bounds[0] <= value <= bounds[1]:
        raise UsageError(f"{option}: {value:g} {unit} is outside {bounds[0]:g} to {bounds[1]:g} {unit}")
    return value


def _dated(found: Outlook, recorded: Piece, *, asked: bool) -> Dated:
    told, known, taught = found.forecast, found.course, found.learnt
    source = "asked" if asked else "days" if known.ahead_measured else "plan"
    return Dated(
        found.name,
        recorded.day_at(found.as_of_ms),
        found.as_of_ms,
        known.piece.target_loss_pct,
        Span(*told.loss_pct),
        Span(*found.ready_ms),
        told.open_end,
        told.surface_aw.middle,
        told.core_aw.middle,
        told.mean_aw.middle,
        told.ready_mean_aw.middle,
        len(known.weighed) + (known.piece.hung_g is not None),
        recorded.tare_at(found.as_of_ms),
        known.measured_h,
        len(known.air.known) - known.measured_h,
        known.ahead.temp_c,
        known.ahead.rh_pct,
        source,
        known.piece.kind,
        None if taught is None else (taught.pieces, taught.days, taught.loss_pct),
    )
