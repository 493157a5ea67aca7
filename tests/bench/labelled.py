"""Every rule against labelled weekends: `python tests/bench/labelled.py [--seeds 20] [--quiet 52]`.

Each case of labelled_cast.py is lived through on two plants with many seeds, goes through the wire and the
engine (no journal), and is held against what must and may be told; then quiet weeks, in which nothing may be.
Seeds below 1000 shape thresholds; the seeds that judge begin at 1000 (`--first-seed 1000`) and shape nothing.
Exit code 0 if every goal is met by the runs that were asked for, else 1; 2 for a wrong argument.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import sys
import time
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

from labelled_cast import CASES
from labelled_run import SETS, Outcome, run, run_quiet
from labelled_table import BY_NAME, goals, report

Job = tuple[str, str, str, int, float]


def jobs(args: argparse.Namespace) -> Iterator[Job]:
    """Yield (what, name, plant, seed, days) of every run that is asked for."""
    seeds = range(args.first_seed, args.first_seed + args.seeds)
    names = args.faults if args.faults is not None else [c.name for c in CASES]
    for seed in seeds:
        for name in names:
            for plant in args.plants:
                yield "fault", name, plant, seed, 0.0
    for seed in range(args.first_seed, args.first_seed + args.quiet):
        for sets in args.sets:
            for plant in args.plants:
                yield "quiet", sets, plant, seed, args.days


def do(job: Job) -> Outcome:
    """Live one run through."""
    what, name, plant, seed, days = job
    return run(BY_NAME[name], plant, seed) if what == "fault" else run_quiet(name, plant, seed, days)


def main() -> int:
    """Run them all in parallel and print the table."""
    args = _parser().parse_args()
    todo = list(jobs(args))
    outcomes: list[Outcome] = []
    began_s = time.monotonic()
    with multiprocessing.Pool(args.jobs) as pool:
        for outcome in pool.imap_unordered(do, todo):
            outcomes.append(outcome)
            if sys.stderr.isatty() or len(outcomes) % 50 == 0:
                end = "\r" if sys.stderr.isatty() else "\n"
                print(f"{len(outcomes)} of {len(todo)} runs, {time.monotonic() - began_s:.0f} s", end=end, file=sys.stderr)
    order = {(j[1] if j[0] == "fault" else f"quiet {j[1]}", j[2], j[3]): n for n, j in enumerate(todo)}
    outcomes.sort(key=lambda o: order[o.case, o.plant, o.seed])
    faults = [o for o in outcomes if not o.case.startswith("quiet ")]
    quiet = [o for o in outcomes if o.case.startswith("quiet ")]
    names = list(BY_NAME)
    faults.sort(key=lambda o: (names.index(o.case), o.plant, o.seed))
    for line in report(faults, quiet):
        print(line)
    if args.json:
        args.json.write_text(json.dumps([asdict(o) for o in outcomes]), encoding="utf-8")
    return 0 if all(goal.met for goal in goals(faults, quiet)) else 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=20, help="seeds a fault and plant")
    parser.add_argument("--first-seed", type=int, default=0, help="1000 and above judge, below tune")
    parser.add_argument("--faults", nargs="*", choices=list(BY_NAME), metavar="NAME", help="only these")
    parser.add_argument("--plants", nargs="+", choices=["fridge", "cabinet"], default=["fridge", "cabinet"])
    parser.add_argument("--quiet", type=int, default=52, metavar="N", help="seeds of quiet weeks")
    parser.add_argument("--days", type=float, default=7.0, help="length of a quiet week")
    parser.add_argument("--sets", nargs="+", choices=list(SETS), default=list(SETS), help="set points of quiet weeks")
    parser.add_argument("--jobs", type=int, default=2, help="processes")
    parser.add_argument("--json", type=Path, metavar="OUT", help="write every run's events there")
    return parser


if __name__ == "__main__":
    sys.exit(main())
