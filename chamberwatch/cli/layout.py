"""How text stands on a terminal: 80 columns, columns aligned, nothing told by colour alone (or at all)."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

WIDTH = 80


def paragraph(prefix: str, text: str) -> str:
    """Return `text` wrapped behind `prefix`, continued under its first word."""
    return textwrap.fill(text, WIDTH, initial_indent=prefix + " ", subsequent_indent=" " * (len(prefix) + 1))


def columns(rows: Sequence[Sequence[str]], *, gap: int = 2) -> list[str]:
    """Return rows as lines with their columns aligned on the left; the last column is not padded."""
    if not rows:
        return []
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]) - 1)]
    lines = []
    for row in rows:
        cells = [cell.ljust(width) for cell, width in zip(row, widths, strict=False)]
        lines.append((" " * gap).join([*cells, row[-1]]).rstrip())
    return lines
