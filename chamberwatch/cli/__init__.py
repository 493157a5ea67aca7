"""The command line: words in, one short transaction or query, words out. Exit codes: `errors`."""

from chamberwatch.cli.main import main

__all__ = ["main"]
