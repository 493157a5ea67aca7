"""Turn a validation error into lines a person can act on."""

from __future__ import annotations

import os
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from pydantic.fields import FieldInfo

from chamberwatch.settings.tables import ENV_PREFIX, NESTED, File

SECRET_KEYS = frozenset({"url", "password", "token", "credential"})
SHOWN_CHARS = 60
BOUNDS = (
    ("ge", "at least"),
    ("gt", "above"),
    ("le", "at most"),
    ("lt", "below"),
    ("min_length", "at least"),
    ("max_length", "at most"),
)
SHAPES = {
    "model_type": "a table is needed here, with key = value",
    "model_attributes_type": "a table is needed here, with key = value",
    "tuple_type": "a list is needed here, each entry under its own [[…]]",
}
"""What pydantic calls a value of the wrong shape, and what to write instead."""
Loc = tuple[int | str, ...]


def describe(error: ValidationError, data: dict[str, Any]) -> list[str]:
    """Return one line a fault: where it is, what was given, what is allowed."""
    return [
        _line(fault["loc"], fault["type"], fault["msg"], fault["input"], data)
        for fault in error.errors()
        # A list whose only entry has a fault counts as too short as well: true, but no help.
        if fault["type"] != "too_short" or not fault["input"]
    ]


def no_such_key(loc: Loc, data: dict[str, Any]) -> str:
    """Return the line about a key nobody knows."""
    return f"{where(loc, data)}: there is no such key{_nearest(loc)}"


def _line(loc: Loc, kind: str, message: str, given: Any, data: dict[str, Any]) -> str:
    place = where(loc, data)
    if kind == "missing":
        return f"{place}: is missing{_allowed(loc)}"
    if kind == "extra_forbidden":
        return no_such_key(loc, data) + _from_environment(loc)
    text = f"{place}: {_shown(loc, given)} will not do"
    if kind == "value_error":
        text += f": {message.removeprefix('Value error, ')}"
    elif kind in SHAPES:
        text += f": {SHAPES[kind]}"
    else:
        text += _allowed(loc) or f": {message}"
    return text + _from_environment(loc)


def _shown(loc: Loc, given: Any) -> str:
    """Return what was given, unless it is, or may hold, a secret."""
    if isinstance(given, dict | list | tuple):
        return "a table" if isinstance(given, dict) else f"a list of {len(given)}"
    secret = loc[-1:] and loc[-1] in SECRET_KEYS
    # An address in the wrong place holds its password there as well. A port's address has none.
    if secret or ("://" in str(given) and loc[-1:] != ("port",)):
        return "(hidden)"
    text = repr(given)
    return text if len(text) <= SHOWN_CHARS else text[:SHOWN_CHARS] + "…"


def _from_environment(loc: Loc) -> str:
    name = ENV_PREFIX + NESTED.join(str(part).upper() for part in loc)
    return f" (it comes from the environment variable {name})" if name in os.environ else ""


def where(loc: Loc, data: dict[str, Any]) -> str:
    """Return 'probe 2 (front).every' for ('probe', 1, 'every')."""
    out, node = "", data
    for part in loc:
        try:
            node = node[part]  # type: ignore[index]
        except (KeyError, IndexError, TypeError):
            node = {}
        if isinstance(part, int):
            name = node.get("name") if isinstance(node, dict) else None
            fit = isinstance(name, str) and len(name) <= SHOWN_CHARS and "://" not in name
            out += f" {part + 1}" + (f" ({name})" if fit else "")
        else:
            out += ("." if out else "") + part
    return out or "the file"


def _field(loc: Loc) -> FieldInfo | None:
    model: Any = File
    info: FieldInfo | None = None
    for part in loc:
        if isinstance(part, int):
            continue
        info = getattr(model, "model_fields", {}).get(part)
        if info is None:
            return None
        model = _model_in(info.annotation)
    return info


def _model_in(annotation: Any) -> Any:
    if hasattr(annotation, "model_fields"):
        return annotation
    return next((m for m in map(_model_in, _args(annotation)) if m is not None), None)


def _allowed(loc: Loc) -> str:
    info = _field(loc)
    if info is None:
        return ""
    choices = _choices(info.annotation)
    if choices:
        return f"; one of: {', '.join(map(str, choices))}"
    words = _described(info)
    if words and _is_text(info.annotation):
        return f"; allowed: {words}"
    text = " ".join(filter(None, (" and ".join(filter(None, map(_bound, info.metadata))), words)))
    return f"; allowed: {text}" if text else ""


def _described(info: FieldInfo) -> str:
    """Return what a key takes, also where the key may be left out (`X | None`)."""
    inner = [m for arg in _args(info.annotation) for m in getattr(arg, "__metadata__", ())]
    found = (m.description for m in (info, *inner) if isinstance(m, FieldInfo))
    return next((words for words in found if words), "")


def _args(annotation: Any) -> tuple[Any, ...]:
    return tuple(getattr(annotation, "__args__", ()))


def _is_text(annotation: Any) -> bool:
    kinds = (annotation, *_args(annotation))
    return any(kind in (str, Path) or getattr(kind, "__origin__", None) is str for kind in kinds)


def _choices(annotation: Any) -> list[Any]:
    members = getattr(annotation, "__members__", None)
    if members:
        return [m.value for m in members.values()]
    args = _args(annotation)
    return [a for a in args if isinstance(a, str)] or [c for inner in args for c in _choices(inner)]


def _bound(rule: Any) -> str:
    found = [f"{word} {limit}" for name, word in BOUNDS if (limit := getattr(rule, name, None)) is not None]
    return " and ".join(found)


def _nearest(loc: Loc) -> str:
    parent = _field(loc[:-1])
    model = File if len(loc) == 1 else _model_in(parent.annotation) if parent is not None else None
    names = list(getattr(model, "model_fields", {}))
    close = get_close_matches(str(loc[-1]), names, 1)
    if close:
        return f"; did you mean {close[0]}?"
    return f"; keys here: {', '.join(names)}" if names else ""
