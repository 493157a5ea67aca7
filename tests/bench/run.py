"""Every benchmark, one table: `python tests/bench/run.py [--short] [--json OUT] [NAME…]`.

Names: pipeline, memory, kill, latency, disk. `--short` runs each just long enough to see that it works; its figures
mean nothing. The exit code is 0 whether goals are met or not: a figure belongs to its machine.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path

import disk
import kill
import latency
import memory
import pipeline
from bench_parts import Figure, table

BENCHES: dict[str, Callable[..., list[Figure]]] = {
    "pipeline": pipeline.run,
    "memory": memory.run,
    "kill": kill.run,
    "latency": latency.run,
    "disk": disk.run,
}


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("names", nargs="*", metavar="NAME", help="which (default: all)")
    parser.add_argument("--short", action="store_true", help="only see that each works")
    parser.add_argument("--json", type=Path, metavar="OUT", help="write the figures for a program")
    parser.add_argument("--kills", type=int, help="how often `kill` kills")
    args = parser.parse_args()
    unknown = set(args.names) - BENCHES.keys()
    if unknown:
        parser.error(f"there is no bench {', '.join(sorted(unknown))}; there are {', '.join(BENCHES)}")
    figures: list[Figure] = []
    for name in args.names or BENCHES:
        print(f"{name} …", file=sys.stderr, flush=True)
        bench = partial(BENCHES[name], kills=args.kills) if name == "kill" else BENCHES[name]
        figures += bench(short=args.short)
    print(table(figures))
    if args.json:
        args.json.write_text(json.dumps([f.to_json() for f in figures], indent=1, ensure_ascii=False), encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
