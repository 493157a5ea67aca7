"""How text stands on a terminal: 80 columns, columns aligned, nothing told by colour alone (or at all)."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

WIDTH = 80


def paragraph(prefix: str, text: str) -> str:
    """Return `text` wrapped behind `prefix`, continued under its first word."""
    return _fill(text, prefix + " ", " " * (len(prefix) + 1))


def wrapped(text: str) -> str:
    """Return `text` wrapped, what follows the first line set in."""
    return _fill(text, "", "  ")


def _fill(text: str, first: str, rest: str) -> str:
    return textwrap.fill(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    )


def columns(rows: Sequence[Sequence[str]], *, gap: int = 2) -> list[str]:
    """Return rows as lines, columns aligned on the left; where that is too wide, each row is wrapped."""
    if not rows:
        return []
    blank = " " * gap
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]) - 1)]
    lines = [
        blank.join([*(cell.ljust(width) for cell, width in zip(row, widths, strict=False)), row[-1]]).rstrip()
        for row in rows
    ]
    if max(map(len, lines)) <= WIDTH:
        return lines
    return [_fill(blank.join(row), "", " " * (len(row[0]) - len(row[0].lstrip()) + 2 * gap)) for row in rows]
