"""What `start`, `stage` and `cut` do, and the warning a hang out of time gets."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterator, Mapping
from typing import Any

from chamberwatch.cli.home import Home, now_ms
from chamberwatch.cli.reading import given, needed
from chamberwatch.daemon.lives import life
from chamberwatch.errors import FactRefused, UsageError
from chamberwatch.journal.facts import Facts
from chamberwatch.journal.pieces import CutOpen, Piece
from chamberwatch.journal.stage_facts import hung_too_early
from chamberwatch.meat.nitrite import Cure, dose
from chamberwatch.meat.stages import due, stage_hours
from chamberwatch.model import PieceFacts, Stage
from chamberwatch.words.cautions import DISCARD
from chamberwatch.words.stages import (
    CUT,
    DOSED,
    RULE,
    VERDICT_NOTES,
    say_checks,
    say_due,
    say_parasites,
    say_too_early,
)
from chamberwatch.words.times import format_local
from chamberwatch.words.units import parse_length_mm, parse_mass_g, parse_percent, show_length

Done = tuple[Any, str]

TARGET_LOSS_PCT = 35.0
"""Of a neck; common practice."""
STAGES = tuple(str(stage).replace(" ", "-") for stage in Stage)


def facts_given(args: argparse.Namespace) -> dict[str, Any]:
    """Return what the command line says of a piece, under the names of `PieceFacts`."""
    found = {
        "kind": args.kind,
        "green_weight_g": given(parse_mass_g, args.green_weight, "--green-weight"),
        "diameter_mm": given(parse_length_mm, args.diameter, "--diameter"),
        "thickness_mm": given(parse_length_mm, args.thickness, "--thickness"),
        "length_mm": given(parse_length_mm, args.length, "--length"),
        "casing": args.casing,
        "salt_pct": given(parse_percent, args.salt, "--salt"),
        "fat": args.fat,
        "target_loss_pct": given(parse_percent, args.target_loss, "--target-loss"),
        "tare_g": given(lambda text: parse_mass_g(text, zero_ok=True), args.tare, "--tare"),
        "species": getattr(args, "species", None),
        "source": getattr(args, "source", None),
        "fan": args.fan,
        "nitrite_pct": given(parse_percent, getattr(args, "nitrite", None), "--nitrite"),
        "nitrate_pct": given(parse_percent, getattr(args, "nitrate", None), "--nitrate"),
        "cure_g": given(parse_mass_g, getattr(args, "cure", None), "--cure"),
    }
    return {name: value for name, value in found.items() if value is not None}


def new_facts(name: str, said: Mapping[str, Any]) -> PieceFacts:
    """Return the facts of a piece nobody knew, defaults where nothing is said.

    Raises:
        UsageError: kind or green weight are missing.
    """
    if "kind" not in said:
        raise UsageError("--kind is missing: neck, loin, tenderloin, round, belly, jowl …")
    if "green_weight_g" not in said:
        raise UsageError("--green-weight is missing: a new piece needs it (2150g, 4lb 12oz)")
    return PieceFacts(name, **({"target_loss_pct": TARGET_LOSS_PCT} | dict(said)))


def known_piece(home: Home, name: str) -> Piece | None:
    """Return the piece of that name, None if there is none."""
    with home.reader() as reader:
        return reader.piece(" ".join(name.split()))


def start(facts: Facts, args: argparse.Namespace, home: Home, at_ms: int) -> Done:
    """Record that salting begins."""
    if args.bone_in:
        raise FactRefused(
            f"{args.name}: meat on the bone is not watched over here: salt and water move differently around "
            "a bone, and spoilage there shows late; bone it out first"
        )
    said = facts_given(args)
    concerns, ppm = _dosed(said)
    known = known_piece(home, args.name)
    if known is None:
        wanted = new_facts(args.name, said)
    else:
        base = {field: getattr(known.facts, field) for field in PieceFacts.__slots__}
        wanted = PieceFacts(**(base | said))
    s = facts.start(wanted, at_ms, args.chamber)
    where = f"in {s.chamber}" if s.chamber else "where no probe watches"
    text = [f"{s.piece} is in salt {where} since {format_local(at_ms, now_ms(), home.zone)}."]
    text += [*concerns, *ppm, *_next(home, s.piece), say_parasites(wanted.species), DISCARD]
    return s, "\n".join(text)


def _dosed(said: Mapping[str, Any]) -> tuple[list[str], list[str]]:
    """Return what is wrong with the dose, and what it brings; it is recorded all the same: it went in."""
    nitrite, cure_g, green_g = (said.get(name) for name in ("nitrite_pct", "cure_g", "green_weight_g"))
    if nitrite is None and cure_g is None:
        return [], []
    if nitrite is None or cure_g is None or green_g is None:
        raise UsageError("say all of --nitrite (per cent, off the bag), --cure (grams) and --green-weight")
    found = dose(Cure(nitrite, said.get("nitrate_pct", 0.0)), cure_g, green_g)
    brings = f"The cure brings {found.nitrite_ppm:.0f} ppm nitrite (home limit 200 ppm, 21 CFR 172.175)."
    return [DOSED[c] for c in found.concerns if c in DOSED], [brings]


def read_stage(text: str) -> Stage:
    """Return the stage a person means: its name with blanks or hyphens, or its beginning if only one has it.

    Raises:
        UsageError: none or several.
    """
    word = " ".join(text.replace("-", " ").lower().split())
    found = [stage for stage in Stage if stage == word] or [s for s in Stage if word and s.startswith(word)]
    if len(found) != 1:
        what = "could be either of two" if found else "is none"
        raise UsageError(f"stage {text!r} {what}; the stages are: {', '.join(STAGES)}")
    return found[0]


def stage(facts: Facts, args: argparse.Namespace, home: Home, at_ms: int) -> Done:
    """Record that a stage begins."""
    wanted = read_stage(args.stage)
    s = facts.stage(args.name, wanted, at_ms, args.chamber, correct=args.correct)
    text = [f"{s.piece}: {wanted} since {format_local(at_ms, now_ms(), home.zone)}."]
    text += [*early(home, s.piece, at_ms), say_checks(wanted), *_next(home, s.piece)]
    return s, "\n".join(line for line in text if line)


def _next(home: Home, name: str) -> Iterator[str]:
    """Yield the next job of a piece, as of now."""
    now = now_ms()
    with home.reader() as reader:
        piece = reader.piece(name)
        found = life(piece, now, reader.remarks(piece)) if piece is not None else None
    job = due(found, now) if found is not None else None
    if found is not None and found.stage is Stage.SALTING:
        low, high = (hours / 24 for hours in stage_hours(Stage.SALTING, found.kind, found.size_mm) or (0, 0))
        size = f" for {show_length(found.size_mm, home.units())}" if found.size_mm is not None else ""
        yield f"In salt for {low:.0f} to {high:.0f} days{size}, turned every 2 days: {RULE}."
    if job is not None:
        yield f"Next: {say_due(job, now, home.zone)}."


def early(home: Home, name: str, at_ms: int) -> Iterator[str]:
    """Yield a warning if the piece left its salt by `at_ms` before the rule's time was up."""
    piece = known_piece(home, name)
    hours = stage_hours(Stage.SALTING, piece.facts.kind, piece.size_mm) if piece is not None else None
    entered = piece.stage_at(at_ms) if piece is not None else None
    if piece is None or hours is None or entered is None or entered.stage is Stage.SALTING:
        return
    salted_h = hung_too_early(piece, at_ms, hours[0])
    if salted_h is not None and entered.stage is not Stage.EQUALISING_SALT:
        yield say_too_early(salted_h, hours[0])


def cut(facts: Facts, args: argparse.Namespace, _home: Home, at_ms: int) -> Done:
    """Record what was seen when a piece was opened."""
    crust_mm = given(lambda text: parse_length_mm(text, zero_ok=True), args.crust, "--crust")
    seen = CutOpen(at_ms, crust_mm, args.centre, args.salt, args.verdict, None)
    c = facts.cut(args.name, seen)
    lost = f", {c.loss_pct:.0f} % lost (target {c.target_loss_pct:g} %)" if c.loss_pct is not None else ""
    text = [f"{c.piece} is done: {c.days} days from the hang{lost}.", VERDICT_NOTES.get(c.verdict, "")]
    return c, "\n".join(line for line in [*text, CUT, DISCARD] if line)


SLICE = re.compile(r"\bslice\w*\D*?(\d[\d.]*\s*(?:g|kg|oz|lb)\b)", re.IGNORECASE)


def removed_g(args: argparse.Namespace) -> float:
    """Return what was cut off [g]: --removed, else what the remark says of a slice (`trial slice 120 g`)."""
    if args.removed is not None:
        return needed(parse_mass_g, args.removed, "--removed")
    found = SLICE.search(args.remark)
    return parse_mass_g(found[1]) if found else 0.0
