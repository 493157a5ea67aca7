"""Lines of `key=value` pairs, parted by blanks, commas, semicolons or ampersands: `t=12.4 rh=75.1`.

A value reaches up to the next key, so that `t=12.4 °C, rh=75 %` is read, and so that the decimal comma of
`t=12,4 rh=75` stands out instead of passing for 12. What stands before the first key is ignored. Of a key
given twice the last counts.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from chamberwatch.wire.measured import ABSENT, Absent, text_of

KEY = re.compile(r"[^\s,;&=]{1,64}")
_BETWEEN = " \t\r\n,;&"
_PARTING = str.maketrans(dict.fromkeys(",;&", " "))


def parse(payload: bytes) -> dict[str, str] | Absent:
    """Return the pairs of a line, `ABSENT` when it is blank.

    Raises:
        Unreadable: longer than 65,536 bytes, or not UTF-8.
    """
    text = text_of(payload).strip()
    if not text:
        return ABSENT
    pairs: dict[str, str] = {}
    key = ""
    # "=" as the last part: what stands before it is the last value, and no key.
    parts = text.split("=")
    for i, part in enumerate(parts):
        following = _last_word(part) if i + 1 < len(parts) else ""
        if key:
            pairs[key] = part[: len(part.rstrip()) - len(following)].strip(_BETWEEN).strip('"')
        key = following
    return pairs


def at(pairs: dict[str, str], key: str) -> str | Absent:
    """Return the value of a key, `ABSENT` if it is not there."""
    return pairs.get(key, ABSENT)


def leaves(pairs: dict[str, str]) -> Iterator[tuple[str, str]]:
    """Yield every key with its value, in the line's order."""
    yield from pairs.items()


def _last_word(text: str) -> str:
    words = text.translate(_PARTING).split()
    return words[-1] if words and text.rstrip().endswith(words[-1]) else ""
