"""JSON read with patience: what the quick reader refuses, and in plain words why it cannot be read.

Source: Bray (ed.), The JavaScript Object Notation (JSON) Data Interchange Format, RFC 8259 (2017).
"""

from __future__ import annotations

import json
from typing import Any

import orjson

from chamberwatch.model import Reason
from chamberwatch.wire.measured import ABSENT, MAX_PAYLOAD_BYTES, Unreadable, show, text_of

_BLANKS = " \t\r\n"


def load(payload: bytes) -> Any:
    """Return the JSON value of a payload, `ABSENT` when it is blank. A byte order mark is ignored.

    Raises:
        Unreadable: longer than 65,536 bytes, not UTF-8, or not JSON.
    """
    if len(payload) > MAX_PAYLOAD_BYTES:
        raise Unreadable(Reason.TOO_LONG, f"{len(payload)} bytes; at most {MAX_PAYLOAD_BYTES} are taken")
    try:
        return orjson.loads(payload)
    except orjson.JSONDecodeError:
        return load_slowly(payload)


def load_slowly(payload: bytes) -> Any:
    """Do as `load`, by the standard library, which takes more and says where it stumbled."""
    text = text_of(payload)
    try:
        return json.loads(text)
    except (ValueError, RecursionError) as why:
        if not text.strip(_BLANKS):
            return ABSENT
        raise Unreadable(Reason.NOT_JSON, _detail(why, text)) from why


def _detail(why: Exception, text: str) -> str:
    sample = show(text)[1:-1].replace('\\"', '"')
    if isinstance(why, RecursionError):
        return f"brackets too deep in {sample}"
    if not isinstance(why, json.JSONDecodeError):
        return f"a number too long in {sample}"
    if why.pos >= len(text) or why.msg.startswith("Unterminated"):
        return f"it ends too early, after {len(text)} characters: {sample}"
    return f"wrong at character {why.pos + 1} of {len(text)}: {sample}"
