"""Turn a validation error into lines a person can act on."""

from __future__ import annotations

from difflib import get_close_matches
from typing import Any

from annotated_types import Ge, Gt, Le, Lt, MaxLen
from pydantic import ValidationError
from pydantic.fields import FieldInfo

from chamberwatch.settings.tables import File

SECRET_KEYS = frozenset({"url", "password", "token"})
Loc = tuple[int | str, ...]


def describe(error: ValidationError, data: dict[str, Any]) -> list[str]:
    """Return one line a fault: where it is, what was given, what is allowed."""
    return [
        _line(fault["loc"], fault["type"], fault["msg"], fault["input"], data) for fault in error.errors()
    ]


def _line(loc: Loc, kind: str, message: str, given: Any, data: dict[str, Any]) -> str:
    where = _where(loc, data)
    if kind == "missing":
        return f"{where}: is missing{_allowed(loc)}"
    if kind == "extra_forbidden":
        return f"{where}: there is no such key{_nearest(loc)}"
    if kind == "value_error":
        return f"{where}: {message.removeprefix('Value error, ')}"
    shown = "(hidden)" if loc and loc[-1] in SECRET_KEYS else repr(given)
    return f"{where}: {shown} will not do{_allowed(loc) or ': ' + message}"


def _where(loc: Loc, data: dict[str, Any]) -> str:
    """Return 'probe 2 (front).every' for ('probe', 1, 'every')."""
    out, node = "", data
    for part in loc:
        try:
            node = node[part]  # type: ignore[index]
        except (KeyError, IndexError, TypeError):
            node = {}
        if isinstance(part, int):
            name = node.get("name") if isinstance(node, dict) else None
            out += f" {part + 1}" + (f" ({name})" if isinstance(name, str) else "")
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
    inner = getattr(annotation, "__args__", ())
    return next((m for m in map(_model_in, inner) if m is not None), None)


def _allowed(loc: Loc) -> str:
    info = _field(loc)
    if info is None:
        return ""
    choices = _choices(info.annotation)
    if choices:
        return f"; one of: {', '.join(map(str, choices))}"
    unit = info.description or ""
    if str in (info.annotation, *getattr(info.annotation, "__args__", ())) and unit:
        return f"; allowed: {unit}"
    bounds = [_bound(m) for m in info.metadata]
    text = " and ".join(b for b in bounds if b)
    if text:
        return f"; allowed: {text}{' ' + unit if unit else ''}"
    return f"; allowed: {unit}" if unit else ""


def _choices(annotation: Any) -> list[Any]:
    members = getattr(annotation, "__members__", None)
    if members:
        return [m.value for m in members.values()]
    inner = getattr(annotation, "__args__", ())
    return [a for a in inner if isinstance(a, str)]


def _bound(rule: Any) -> str:
    match rule:
        case Ge(ge=x):
            return f"at least {x}"
        case Gt(gt=x):
            return f"above {x}"
        case Le(le=x):
            return f"at most {x}"
        case Lt(lt=x):
            return f"below {x}"
        case MaxLen(max_length=x):
            return f"at most {x} long"
        case _:
            return ""


def _nearest(loc: Loc) -> str:
    parent = _field(loc[:-1])
    model = File if len(loc) == 1 else _model_in(parent.annotation) if parent is not None else None
    names = list(getattr(model, "model_fields", {}))
    close = get_close_matches(str(loc[-1]), names, 1)
    if close:
        return f"; did you mean {close[0]}?"
    return f"; keys here: {', '.join(names)}" if names else ""
