"""The command line: words in, one short transaction or one query, words out. Exit codes: `chamberwatch.errors`."""

from chamberwatch.cli.main import main

__all__ = ["main"]
