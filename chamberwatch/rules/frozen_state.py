"""States of the rules to JSON values and back: NamedTuples become lists, by their own annotations.

Total for the types that rule states use: NamedTuple, tuple[X, ...], tuple[X, Y], X | None, int, float, str,
bool. A state of another shape (an older version's) raises, and the engine then starts that probe afresh.
"""

from __future__ import annotations

import functools
import types
import typing
from typing import Any


def dump(value: Any) -> Any:
    """Return a state as lists and plain values."""
    if isinstance(value, tuple):
        return [dump(v) for v in value]
    return value


@functools.cache
def _hints(cls: type) -> tuple[Any, ...]:
    return tuple(typing.get_type_hints(cls)[name] for name in cls._fields)  # type: ignore[attr-defined]


def load(cls: Any, body: Any) -> Any:
    """Return the state of type `cls` that `dump` made `body` from.

    Raises:
        ValueError, TypeError: `body` has another shape.
    """
    if hasattr(cls, "_fields"):
        hints = _hints(cls)
        return cls(*[load(hint, part) for hint, part in zip(hints, body, strict=True)])
    origin = typing.get_origin(cls)
    if origin is tuple:
        inner = typing.get_args(cls)
        if len(inner) == 2 and inner[1] is Ellipsis:  # noqa: PLR2004  tuple[X, ...]
            return tuple(load(inner[0], part) for part in body)
        return tuple(load(hint, part) for hint, part in zip(inner, body, strict=True))
    if origin in (types.UnionType, typing.Union):
        if body is None:
            return None
        return load(next(t for t in typing.get_args(cls) if t is not type(None)), body)
    return float(body) if cls is float else body
