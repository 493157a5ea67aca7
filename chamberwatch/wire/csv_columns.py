"""Lines of columns: numbered from 1, parted by a comma, semicolon, tab, bar, or by blanks.

Source: Shafranovich, Common Format and MIME Type for Comma-Separated Values (CSV) Files, RFC 4180 (2005): a
cell may stand in quotes.

Where another sign parts the columns, `12,4` is the number 12.4. A line with fewer columns than the settings
name is broken and refused whole: which of its cells moved cannot be told.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator

from chamberwatch.model import Reason
from chamberwatch.wire.measured import ABSENT, Absent, Unreadable, text_of

SEPARATORS = {",": "a comma", ";": "a semicolon", "\t": "a tab", "|": "a bar", " ": "blanks"}
MOST_COLUMNS = 1000
_DECIMAL_COMMA = re.compile(r"([+-]?\d+),(\d+)", re.ASCII)


def parse(payload: bytes, separator: str = ",") -> list[str] | Absent:
    """Return the cells of a line without the blanks around them, `ABSENT` when it is blank.

    Raises:
        Unreadable: longer than 65,536 bytes, not UTF-8, or more than one line.
    """
    text = text_of(payload).strip("\r\n" if separator == "\t" else None)
    if not text.strip():
        return ABSENT
    if "\n" in text or "\r" in text:
        detail = f"one message is one line; this has {len(text.splitlines())}"
        raise Unreadable(Reason.NO_QUANTITY, detail)
    if separator == " ":
        return text.split()
    try:
        (cells,) = csv.reader([text], delimiter=separator, skipinitialspace=True)
    except csv.Error as why:
        raise Unreadable(Reason.NO_QUANTITY, f"the columns cannot be told apart: {why}") from why
    return [cell.strip() for cell in cells]


def at(cells: list[str], column: int, separator: str = ",") -> str:
    """Return a cell; columns are numbered from 1.

    Raises:
        Unreadable: the line has fewer columns.
    """
    if column > len(cells):
        has = f"{len(cells)} column" + ("s" if len(cells) != 1 else "")
        raise Unreadable(Reason.NO_VALUE, f"there is no column {column}: the line has {has}")
    cell = cells[column - 1]
    return cell if separator == "," else _DECIMAL_COMMA.sub(r"\1.\2", cell, count=1)


def leaves(cells: list[str], separator: str = ",") -> Iterator[tuple[int, str]]:
    """Yield every column's number with its cell."""
    for column in range(1, min(len(cells), MOST_COLUMNS) + 1):
        yield column, at(cells, column, separator)
