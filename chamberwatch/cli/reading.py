"""Quantities of the command line: read, or refused with the option they stand behind."""

from __future__ import annotations

from collections.abc import Callable

from chamberwatch.errors import UsageError


def given(parse: Callable[[str], float], text: str | None, option: str) -> float | None:
    """Return the value, None where nothing is written.

    Raises:
        UsageError: it cannot be read.
    """
    if text is None:
        return None
    try:
        return parse(text)
    except ValueError as error:
        raise UsageError(f"{option}: {error}") from None


def needed(parse: Callable[[str], float], text: str | None, option: str) -> float:
    """Return the value of an option that a new piece needs.

    Raises:
        UsageError: it is missing, or cannot be read.
    """
    value = given(parse, text, option)
    if value is None:
        raise UsageError(f"{option} is missing: a piece that hangs for the first time needs it")
    return value
