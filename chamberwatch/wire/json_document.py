"""JSON documents: each value stands where a JSON pointer (RFC 6901) says."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from chamberwatch.wire import pointer
from chamberwatch.wire.json_text import load

MOST_LEAVES = 200
"""So many values of a document are looked at for a suggestion; the rest is left out."""

parse = load
"""Bytes to a document; `ABSENT` when blank."""


def at(document: Any, place: str) -> Any:
    """Return the value at a pointer, `ABSENT` if there is none."""
    return pointer.at(document, place)


def leaves(document: Any) -> Iterator[tuple[str, Any]]:
    """Yield the pointer and value of what is neither array nor object, in the document's order."""
    waiting: list[tuple[tuple[str, ...], Any]] = [((), document)]
    given = 0
    while waiting and given < MOST_LEAVES:
        parts, node = waiting.pop()
        if isinstance(node, dict):
            waiting += reversed([((*parts, name), inner) for name, inner in node.items()])
        elif isinstance(node, list):
            waiting += reversed([((*parts, str(i)), inner) for i, inner in enumerate(node[:MOST_LEAVES])])
        else:
            given += 1
            yield pointer.write(parts), node
