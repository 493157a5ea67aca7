"""What may be written on the acknowledge topic.

all | CHAMBER | CHAMBER KIND          somebody is on it
quiet CHAMBER [KIND] LENGTH           quiet so long (8h), at most 72 h; KIND left out: what stands now
quiet CHAMBER [KIND] over             not any more
rest PROBE LENGTH | rest PROBE over   that probe is judged by nothing so long, at most 14 d

A chamber's own name comes first: one called "quiet" or "rest" is still a chamber.
"""

from __future__ import annotations

from chamberwatch.inputs import Acknowledge, Rest, Shelve
from chamberwatch.model import MS_PER_H, Kind, Plan
from chamberwatch.rules import rest, shelf
from chamberwatch.words.kinds import HOUSE_KINDS
from chamberwatch.words.units import parse_duration_ms

EVERYTHING = "all"
QUIET, REST, OVER = "quiet", "rest", "over"
BY = "MQTT"


def parse_acknowledgement(text: str, plan: Plan) -> tuple[str | None, Kind | None]:
    """Read 'all', 'CHAMBER' or 'CHAMBER KIND'; return (chamber or None, kind or None).

    Raises:
        ValueError: no such chamber or kind; the text says what is allowed.
    """
    words = text.split()
    if words in ([], [EVERYTHING]):
        return None, None
    chambers = [c.name for c in plan.chambers]
    if words[0] not in chambers:
        raise ValueError(f"{words[0]!r} is not a chamber; write all, or one of: {', '.join(chambers)}")
    if len(words) == 1:
        return words[0], None
    if len(words) > 2 or words[1] not in list(Kind):  # noqa: PLR2004  CHAMBER KIND
        raise ValueError(f"{' '.join(words[1:])!r} is not a kind; one of: {', '.join(Kind)}")
    return words[0], Kind(words[1])


def parse_request(text: str, plan: Plan, now_ms: int) -> Acknowledge | Shelve | Rest:
    """Read one message of the acknowledge topic.

    Raises:
        ValueError: no such chamber, kind or probe, or no such length; the text says what is allowed.
    """
    words = text.split()
    chambers = [c.name for c in plan.chambers]
    if not words or words[0] in chambers or words[0] not in (QUIET, REST):
        return Acknowledge(now_ms, *parse_acknowledgement(text, plan), BY)
    if words[0] == REST:
        return _rest(words[1:], plan, now_ms)
    return _quiet(words[1:], plan, now_ms)


def _rest(words: list[str], plan: Plan, now_ms: int) -> Rest:
    probes = [p.name for p in plan.probes]
    if not words or words[0] not in probes:
        raise ValueError(f"{' '.join(words[:1])!r} is not a probe; one of: {', '.join(probes)}")
    return Rest(now_ms, words[0], now_ms + _length_ms(words[1:], rest.LONGEST_MS), BY)


def _quiet(words: list[str], plan: Plan, now_ms: int) -> Shelve:
    if words[:1] in ([], [EVERYTHING]):
        raise ValueError(f"quiet needs one of: {', '.join(c.name for c in plan.chambers)}")
    named = 2 if len(words) > 1 and words[1] in list(Kind) else 1
    chamber, kind = parse_acknowledgement(" ".join(words[:named]), plan)
    if kind in HOUSE_KINDS or kind is Kind.MONITOR_GAP:
        raise ValueError(f"{kind} can't be made quiet: only what stands in a chamber can")
    length_ms = _length_ms(words[named:], shelf.LONGEST_MS)
    return Shelve(now_ms, chamber or "", kind, now_ms + length_ms, BY)


def _length_ms(words: list[str], longest_ms: int) -> int:
    """Return how long [ms]; 0 for `over`."""
    text = " ".join(words)
    if text == OVER:
        return 0
    if not text:
        raise ValueError(f"how long? 90min, 8h (at most {longest_ms // MS_PER_H} h), or over")
    length_ms = parse_duration_ms(text)
    if length_ms > longest_ms:
        raise ValueError(f"{text} is too long: at most {longest_ms // MS_PER_H} h")
    return length_ms
