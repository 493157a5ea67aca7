"""How well forecasts hold: `python tests/bench/forecast_cover.py [--pieces 300]`.

Pieces dried by the simulator's own meat are forecast at half of their hang and, without any weigh-in, after one
day. Seeds below 1000 shape the priors, those from 1000 judge. It is a simulator against a simulator: not yet proven
on real meat. Exit code 0 if every goal is met by what was asked for, else 1; 2 for a wrong argument.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import sys
import time
from pathlib import Path
from statistics import median
from typing import NamedTuple

from forecast_herd import Hang, hang

from chamberwatch.daemon.course import expected
from chamberwatch.meat.forecast import forecast
from chamberwatch.meat.hours import filled, planned
from chamberwatch.meat.piece import piece
from chamberwatch.meat.posterior import WeighedAt, posterior
from chamberwatch.model import PieceFacts

H_PER_DAY = 24


class Row(NamedTuple):
    """One forecast against what came: days after the hang; `ready` None if it never came in the simulated time."""

    seed: int
    kind: str
    when: str
    at: float
    ready: float | None
    low: float
    middle: float
    high: float

    @property
    def covers(self) -> bool:
        """Whether what came lies within the 80 % interval."""
        return self.ready is not None and self.low <= self.ready <= self.high


def rows(seed: int) -> list[Row]:
    """Return a piece's forecasts: after a day without weigh-ins, and at half hang with them."""
    lived = hang(seed)
    if lived.ready_h is None:
        return []
    return [_row(lived, "no weigh-in", H_PER_DAY, 0), _row(lived, "half hang", lived.ready_h // 2, 99)]


def _row(lived: Hang, when: str, hours: int, most: int) -> Row:
    told = lived.told
    size = {"diameter_mm": told.size_mm} if told.kind != "belly" else {"thickness_mm": told.size_mm}
    facts = PieceFacts(
        f"Piece {lived.seed}", told.kind, told.green_g, casing=told.casing, salt_pct=told.salt_pct,
        target_loss_pct=told.target_pct, **size,
    )  # fmt: skip
    known = [w for w in lived.weighed if w[0] <= hours][:most]
    hung_g = known[0][1] if known else None
    plan = planned(hours, 12.5, 75.0)
    air = filled(lived.shown_c[:hours], lived.shown_pct[:hours], plan)
    subject = piece(facts, hung_g=hung_g)
    left = posterior(subject, air, [WeighedAt(*w) for w in known[1:]], seed=lived.seed)
    found = forecast(subject, left, air, expected(air, plan)[0]).ready_days
    return Row(lived.seed, told.kind, when, hours / H_PER_DAY, (lived.ready_h or 0) / H_PER_DAY, *found)


class Goal(NamedTuple):
    """One line of the table."""

    what: str
    figure: float
    wanted: str
    met: bool


def goals(found: list[Row]) -> list[Goal]:
    """Return the goals with what was reached."""
    half = [r for r in found if r.when == "half hang"]
    none = [r for r in found if r.when == "no weigh-in"]
    cover, off = _cover(half), median(abs(r.middle - (r.ready or 0.0)) for r in half)
    width, first = median(r.high - r.low for r in half), _cover(none)
    wide = median(r.high - r.low for r in none)
    return [
        Goal("half hang: the 80 % interval covers [%]", cover, "72-88", 72 <= cover <= 88),
        Goal("half hang: median error [d]", off, "<= 3", off <= 3),
        Goal("half hang: median width [d]", width, "<= 14", width <= 14),
        Goal("no weigh-in: the 80 % interval covers [%]", first, ">= 72", first >= 72),
        Goal("no weigh-in: median width [d]", wide, "<= 60", wide <= 60),
    ]


def _cover(found: list[Row]) -> float:
    return 100.0 * sum(r.covers for r in found) / len(found)


def main() -> int:
    """Forecast them all in parallel and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pieces", type=int, default=300)
    parser.add_argument("--first-seed", type=int, default=0, help="1000 and above judge, below tune")
    parser.add_argument("--jobs", type=int, default=2, help="processes")
    parser.add_argument("--json", type=Path, metavar="OUT", help="write every forecast there")
    args = parser.parse_args()
    found: list[Row] = []
    began_s = time.monotonic()
    with multiprocessing.Pool(args.jobs) as pool:
        for n, part in enumerate(pool.imap(rows, range(args.first_seed, args.first_seed + args.pieces)), 1):
            found += part
            if sys.stderr.isatty() or n % 25 == 0:
                end = "\r" if sys.stderr.isatty() else "\n"
                print(f"{n} of {args.pieces} pieces, {time.monotonic() - began_s:.0f} s", end=end, file=sys.stderr)
    table = goals(found)
    print(f"{len(found) // 2} pieces that got ready within 240 days, dried by the simulator's own physics")
    for goal in table:
        print(f"{goal.what:45} {goal.figure:6.1f}   wanted {goal.wanted:6} {'met' if goal.met else 'NOT MET'}")
    if args.json:
        args.json.write_text(json.dumps([r._asdict() for r in found]), encoding="utf-8")
    return 0 if all(goal.met for goal in table) else 1


if __name__ == "__main__":
    sys.exit(main())
