"""`cure`: what to weigh, what it brings into the meat, how long it salts."""

from __future__ import annotations

import argparse
import json
from typing import Any

from chamberwatch.cli.layout import wrapped
from chamberwatch.errors import FactRefused, OutOfRange, UsageError
from chamberwatch.meat.nitrite import Cure, dose, grams_for_ppm
from chamberwatch.meat.salting import core_salt_pct, salting_days_by_rule
from chamberwatch.model import Shape
from chamberwatch.words.curing import Dosing, say_cure
from chamberwatch.words.units import parse_length_mm, parse_mass_g, parse_percent

NITRITE_PPM, SALT = 150.0, "2.75%"
SALT_PCT = (1.0, 8.0)
CHECK_FAILED = 69


def add(subs: Any, common: argparse.ArgumentParser) -> None:
    """Add the command to the parser."""
    what = "dose a curing salt: what to weigh, what it brings, how long it salts"
    p = subs.add_parser("cure", parents=[common], help=what, description=what)
    p.add_argument("--green-weight", required=True, metavar="2150g")
    p.add_argument("--nitrite", required=True, metavar="6.25%", help="sodium nitrite, off this bag's label")
    p.add_argument("--nitrate", metavar="4%", help="sodium or potassium nitrate, off the label, if any")
    p.add_argument("--grams", metavar="5.2g", help="what you mean to take; else I say what to take")
    p.add_argument("--ppm", type=float, default=NITRITE_PPM, metavar="150", help="nitrite you want [mg/kg]")
    p.add_argument("--salt", default=SALT, metavar=SALT, help="salt in all, of green weight")
    p.add_argument("--diameter", metavar="108mm")
    p.add_argument("--thickness", metavar="45mm", help="of a flat piece")
    p.add_argument("--fried", action="store_true", help="belly that will be fried")
    p.add_argument("--commercial", action="store_true", help="hold it against commercial limits")
    p.add_argument("--json", action="store_true")
    p.set_defaults(run=_cure)


def _cure(args: argparse.Namespace) -> int:
    told = _dosing(args)
    if args.json:
        print(json.dumps(_document(told), ensure_ascii=False))
    else:
        print("\n".join(wrapped(text) for text in say_cure(told)))
    return CHECK_FAILED if told.stops else 0


def _dosing(args: argparse.Namespace) -> Dosing:
    green_g = _read(parse_mass_g, args.green_weight, "--green-weight")
    nitrate_pct = _read(parse_percent, args.nitrate, "--nitrate") if args.nitrate else 0.0
    cure = Cure(_read(parse_percent, args.nitrite, "--nitrite"), nitrate_pct)
    salt_pct = _read(parse_percent, args.salt, "--salt")
    if not SALT_PCT[0] <= salt_pct <= SALT_PCT[1]:
        low, high = SALT_PCT
        raise UsageError(f"--salt: {salt_pct:g} % is outside {low:g} to {high:g} % of green weight")
    if args.grams:
        cure_g = _read(parse_mass_g, args.grams, "--grams")
    else:
        cure_g = grams_for_ppm(args.ppm, cure, green_g)
    found = dose(cure, cure_g, green_g, commercial=args.commercial, fried=args.fried)
    days, core_pct = _salting(args, salt_pct)
    return Dosing(green_g, cure, cure_g, salt_pct, found, args.commercial, days, core_pct)


def _salting(args: argparse.Namespace, salt_pct: float) -> tuple[tuple[float, float] | None, float | None]:
    if args.diameter and args.thickness:
        raise UsageError("give --diameter (round) or --thickness (flat), not both")
    if not (args.diameter or args.thickness):
        return None, None
    shape = Shape.ROUND if args.diameter else Shape.SLAB
    size_mm = _read(parse_length_mm, args.diameter or args.thickness, "--diameter or --thickness")
    try:
        days = salting_days_by_rule(size_mm)
        return days, core_salt_pct(shape, size_mm, sum(days) / 2.0, salt_pct)
    except OutOfRange as error:
        raise FactRefused(str(error)) from None


def _read(parse: Any, text: str, option: str) -> float:
    try:
        return float(parse(text))
    except ValueError as error:
        raise UsageError(f"{option}: {error}") from None


def _document(told: Dosing) -> dict[str, Any]:
    """Return `cure --json`; masses g, parts %, nitrite and nitrate mg per kg of green weight."""
    return {
        "green_weight_g": told.green_weight_g,
        "cure_g": round(told.cure_g, 2),
        "plain_salt_g": round(told.plain_salt_g, 1),
        "nitrite_ppm": round(told.dose.nitrite_ppm, 1),
        "nitrate_ppm": round(told.dose.nitrate_ppm, 1),
        "salting_days": None if told.days is None else [round(day, 1) for day in told.days],
        "core_salt_pct": None if told.core_salt_pct is None else round(told.core_salt_pct, 2),
        "concerns": [str(concern) for concern in told.dose.concerns],
    }
