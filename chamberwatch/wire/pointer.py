"""JSON pointers: where in a document a value stands.

Source: Bryan, Zyp, Nottingham, JavaScript Object Notation (JSON) Pointer, RFC 6901 (2013), §3-§5.

Only the plain form is taken, not the one for links (§6, `#/a`). A place that is not there is `ABSENT`,
never an exception.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache
from typing import Any

from chamberwatch.wire.measured import ABSENT, show

_WRONG_TILDE = re.compile(r"~(?![01])")
_INDEX = re.compile(r"0|[1-9][0-9]*", re.ASCII)
_LONGEST_INDEX = 9


@lru_cache(maxsize=1024)
def parse(pointer: str) -> tuple[str, ...]:
    """Return a pointer's parts: `/air/t~1c` is `("air", "t/c")`, the empty one the whole document.

    Raises:
        ValueError: it does not begin with `/`, or has a `~` that is neither `~0` nor `~1`.
    """
    if not pointer:
        return ()
    if not pointer.startswith("/"):
        raise ValueError(f"{show(pointer)} must begin with /, like /temperature or /air/t")
    if _WRONG_TILDE.search(pointer):
        raise ValueError(f"{show(pointer)}: a ~ in a name is written ~0, a / in a name ~1")
    # In this order: ~01 is the name "~1", not "/".
    return tuple(part.replace("~1", "/").replace("~0", "~") for part in pointer[1:].split("/"))


def write(parts: Iterable[str]) -> str:
    """Return the pointer of these parts, the inverse of `parse`."""
    return "".join("/" + part.replace("~", "~0").replace("/", "~1") for part in parts)


def at(document: Any, pointer: str) -> Any:
    """Return the value at a pointer, `ABSENT` if there is none.

    Raises:
        ValueError: as `parse`.
    """
    node = document
    for part in parse(pointer):
        if isinstance(node, dict):
            node = node.get(part, ABSENT)
        elif isinstance(node, list) and _INDEX.fullmatch(part) and len(part) <= _LONGEST_INDEX:
            node = node[int(part)] if int(part) < len(node) else ABSENT
        else:
            return ABSENT
    return node
