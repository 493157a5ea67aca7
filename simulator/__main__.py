"""`python -m simulator`: rehearse a weekend, write it to a file, or speak it to a monitor of your own."""

from __future__ import annotations

import argparse
import signal
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

from simulator.broker import BrokerSilent, Topics
from simulator.chamber import tell
from simulator.drive import links, rehearse
from simulator.monitor import MonitorFailed
from simulator.pace import pace_of
from simulator.replay_file import write
from simulator.shift import from_time, moved
from simulator.speak import Ports, speak
from simulator.table import Misunderstood, moment_ms
from simulator.terminal import NobodyListens
from simulator.weekend import find, read

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from simulator.chamber import Word
    from simulator.pace import Pace

FAILED, USAGE = 1, 64
"""A rehearsal that found fault; a wrong command line or file (the latter from BSD's sysexits.h)."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; return its exit code."""
    args = _parser().parse_args(argv)
    try:
        return int(args.run(args))
    except (Misunderstood, FileExistsError) as fault:
        print(f"simulator: {fault}", file=sys.stderr)
        return USAGE
    except (MonitorFailed, NobodyListens, BrokerSilent, OSError) as fault:
        print(f"simulator: {fault}", file=sys.stderr)
        return FAILED
    except KeyboardInterrupt:
        print("simulator: stopped", file=sys.stderr)
        return FAILED


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m simulator", description=__doc__)
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    _weekend_parser(commands.add_parser("weekend", help="rehearse a weekend with the real monitor"))
    _file_parser(commands.add_parser("replay-file", help="write a weekend's lines to a file"))
    _speak_parser(commands.add_parser("speak", help="speak a weekend to a monitor you run"))
    return parser


def _common(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("weekend", nargs="?", default="weekend", help="weekend, quiet, hour, or a file")
    parser.add_argument("--seed", type=int, help="another weather, other noise (default: the file's)")


def _weekend_parser(parser: argparse.ArgumentParser) -> None:
    _common(parser)
    parser.add_argument("--pace", default="max", help='"max", or how many times faster than real time')
    parser.add_argument("--keep", type=Path, metavar="DIR", help="where to put journal and settings")
    parser.add_argument("--no-bar", action="store_true", help="plain lines, no progress bar")
    parser.add_argument("--whole", action="store_true", help="print each message entire")
    parser.set_defaults(run=_weekend)


def _file_parser(parser: argparse.ArgumentParser) -> None:
    _common(parser)
    parser.add_argument("--out", type=Path, required=True, metavar="FILE")
    parser.set_defaults(run=_replay_file)


def _speak_parser(parser: argparse.ArgumentParser) -> None:
    _common(parser)
    where = parser.add_mutually_exclusive_group(required=True)
    where.add_argument("--port-dir", type=Path, metavar="DIR", help="a folder for the probes' ports")
    where.add_argument("--broker", metavar="HOST:PORT")
    parser.add_argument("--topic-prefix", default=None, metavar="P", help="topic P/PROBE")
    parser.add_argument("--pace", default="1", help="1: stamps are now; else the story's own times")
    parser.add_argument("--from", dest="begin", metavar="WHEN", help='begin there, such as "Sat 22:00"')
    parser.set_defaults(run=_speak)


def _weekend(args: argparse.Namespace) -> int:
    weekend, pace = read(find(args.weekend)), pace_of(args.pace)
    if args.keep is None:
        folder = Path(tempfile.mkdtemp(prefix="chamberwatch-"))
    else:
        folder = args.keep.resolve()
        folder.mkdir(parents=True, exist_ok=True)
    seed = weekend.seed if args.seed is None else args.seed
    return rehearse(weekend, folder, pace, seed=seed, bar=not args.no_bar, whole=args.whole)


def _replay_file(args: argparse.Namespace) -> int:
    weekend = read(find(args.weekend))
    with args.out.open("wb") as out:
        lines = write(tell(weekend, args.seed), out)
    print(f"{lines} lines in {args.out}")
    return 0


def _speak(args: argparse.Namespace) -> int:
    weekend, pace = read(find(args.weekend)), pace_of(args.pace)
    begin_ms = moment_ms(args.begin, weekend.start_ms) if args.begin else weekend.start_ms
    shift_ms = round(time.time() * 1000) - begin_ms if pace.factor == 1 else 0
    words = from_time(tell(moved(weekend, shift_ms), args.seed), begin_ms + shift_ms)
    if args.broker:
        lines = _to_broker(args, args.topic_prefix or weekend.chamber, words, pace)
    else:
        args.port_dir.mkdir(parents=True, exist_ok=True)
        ports = links(weekend, args.port_dir.resolve())
        for probe, link in ports.items():
            print(f"{probe} speaks at {link}", flush=True)
        with Ports(ports, patient=pace.factor != 1) as mouth:
            if pace.factor != 1:
                mouth.wait_for_reader()
            lines = speak(words, mouth, pace)
            if mouth.lost:
                print(f"{mouth.lost} lines were said to nobody")
    print(f"{lines} lines spoken")
    return 0


def _to_broker(args: argparse.Namespace, prefix: str, words: Iterable[Word], pace: Pace) -> int:
    host, _, port = args.broker.rpartition(":")
    if not (host and port.isdecimal()):
        raise Misunderstood(f"--broker takes HOST:PORT, such as 127.0.0.1:1883, not {args.broker!r}")
    print(f"speaking on {prefix}/PROBE at {host}:{port}", flush=True)
    with Topics(host, int(port), prefix) as mouth:
        return speak(words, mouth, pace)


if __name__ == "__main__":
    # A rehearsal that is told to end must still stop its monitor and take its ports away.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    raise SystemExit(main())
