"""The parser, and the one place where an error becomes a message and an exit code."""

from __future__ import annotations

import argparse
import io
import os
import re
import sys
import traceback
from pathlib import Path
from typing import Any, NoReturn

from chamberwatch import __version__
from chamberwatch.cli import curing, facts, forecasts, leaving, running, views
from chamberwatch.errors import ChamberwatchError, UsageError
from chamberwatch.model import Kind

EPILOG = """\
exit codes: 0 done · 64 the command line · 65 a fact refused · 66 a file missing · 69 a check failed ·
70 our fault · 74 the journal · 75 held by another process, try later · 77 not permitted · 78 the settings
"""


class _Parser(argparse.ArgumentParser):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # "-5g" is a wrong mass and not an unknown option: the parser of masses says what is wrong with it.
        self._negative_number_matcher = re.compile(r"^-[\d.]")

    def error(self, message: str) -> NoReturn:
        raise UsageError(f"{message}\ntry: {self.prog} --help")


def parser() -> argparse.ArgumentParser:
    """Return the whole command line."""
    top = _Parser(
        prog="chamberwatch",
        description="Watches the air of a cure chamber and what that air does to the meat hanging in it.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action="version", version=f"chamberwatch {__version__}")
    subs = top.add_subparsers(dest="command", required=True, metavar="COMMAND", parser_class=_Parser)
    common = argparse.ArgumentParser(add_help=False)
    common.add_argument("--config", type=Path, metavar="C", help="the settings file (TOML)")
    common.add_argument("--journal", type=Path, metavar="J", help="the journal, instead of the settings' one")
    running.add(subs, common)
    views.add(subs, common)
    forecasts.add(subs, common)
    curing.add(subs, common)
    facts.add(subs, common, [str(k) for k in Kind])
    leaving.add(subs, common)
    return top


def main(argv: list[str] | None = None) -> int:
    """Run one command; return its exit code."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without ° still gets its answer
    try:
        args = parser().parse_args(argv)
        return int(args.run(args) or 0)
    except ChamberwatchError as error:
        print(f"chamberwatch: {error}", file=sys.stderr)
        return error.exit_code
    except BrokenPipeError:
        # The reader of our output (a pager, `head`) has closed: not a fault, and nothing more can be said.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        return 130
    except Exception as error:  # noqa: BLE001  the last resort: whatever else it is, it is our own fault
        traceback.print_exc()
        print(f"chamberwatch: a fault of our own ({type(error).__name__}); please report it", file=sys.stderr)
        return ChamberwatchError.exit_code
