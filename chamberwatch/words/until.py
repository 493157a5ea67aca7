"""A moment ahead as people write it: "quiet until …". Pure."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from chamberwatch.model import MS_PER_S
from chamberwatch.words.times import WEEKDAYS, parse_when
from chamberwatch.words.units import parse_duration_ms

if TYPE_CHECKING:
    from datetime import tzinfo

TAKEN = "write 8h or 2d (from now), 18:00 (the next), tomorrow 07:00, sun 18:00, 2026-11-20 18:00 or RFC 3339"
_CLOCK = re.compile(r"(?:(?P<day>today|tomorrow|[a-z]{3})\s+)?(?P<clock>\d{1,2}:\d{2})", re.IGNORECASE)
_LENGTH = re.compile(r"(?:in\s+)?(?P<length>\d[\d.]*\s*[a-z].*)", re.IGNORECASE)


def parse_until(text: str, now_ms: int, zone: tzinfo) -> int:
    """Return ms UTC of a moment ahead, local times in `zone`; ValueError saying what is taken.

    A clock time alone is its next occurrence, a weekday's the next such day (a week on, if it is past today).
    """
    given = text.strip()
    try:
        at_ms = _read(given, now_ms, zone)
    except ValueError as error:
        raise ValueError(f"{given[:40]!r} is not a moment ahead that I understand; {TAKEN}") from error
    if at_ms <= now_ms:
        raise ValueError(f"{given[:40]!r} is not ahead of now; {TAKEN}")
    return at_ms


def _read(given: str, now_ms: int, zone: tzinfo) -> int:
    if match := _CLOCK.fullmatch(given):
        return _clock(match["day"], match["clock"], now_ms, zone)
    if match := _LENGTH.fullmatch(given):
        return now_ms + parse_duration_ms(match["length"])
    return parse_when(given, now_ms, zone)


def _clock(day: str | None, clock: str, now_ms: int, zone: tzinfo) -> int:
    today = datetime.fromtimestamp(now_ms / MS_PER_S, zone).date()
    word = (day or "").lower()
    if word == "tomorrow":
        ahead = 1
    elif word in ("", "today"):
        ahead = 0
    else:
        ahead = ([name.lower() for name in WEEKDAYS].index(word) - today.weekday()) % 7
    at_ms = parse_when(f"{today + timedelta(days=ahead)} {clock.zfill(5)}", now_ms, zone)
    if at_ms <= now_ms and word != "today":
        step = 1 if word in ("", "tomorrow") else 7
        at_ms = parse_when(f"{today + timedelta(days=ahead + step)} {clock.zfill(5)}", now_ms, zone)
    return at_ms
