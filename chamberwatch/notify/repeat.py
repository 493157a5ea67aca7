"""When a notice comes again, how it is then worded, how long a channel that fails is left alone.

Rules for this file: pure; no clock, no chance of its own. `chance` is a number in 0..1 drawn by the caller.
"""

from __future__ import annotations

from chamberwatch.model import MS_PER_H, MS_PER_MIN, EventState, Note, Priority

# Minutes after the first message; then hourly. The owner's choice (three tries within the half hour in which
# a cold chamber warms by a degree or two), no standard: ISA-18.2 leaves the re-alarm period to the plant.
_EARLY_MS = (5 * MS_PER_MIN, 15 * MS_PER_MIN, 30 * MS_PER_MIN)

LATE_MS = 15 * MS_PER_MIN
"""A message that needed several tries and is older than this says how late it comes."""

STILL_SO = 'Still so, nobody has said "I\'m on it":'


def _offset_ms(repeat: int) -> int:
    """Time from the first message to repeat number `repeat` (0: the first itself) [ms]."""
    if repeat <= 0:
        return 0
    if repeat <= len(_EARLY_MS):
        return _EARLY_MS[repeat - 1]
    return _EARLY_MS[-1] + (repeat - len(_EARLY_MS)) * MS_PER_H


def next_repeat_due_ms(first_sent_ms: int, repeat: int) -> int:
    """When repeat number `repeat` (1: the first repeat) of a message sent at `first_sent_ms` is due [ms]."""
    return first_sent_ms + _offset_ms(repeat)


def due_after_sending_ms(sent_ms: int, repeat: int) -> int:
    """When the repeat after number `repeat`, sent at `sent_ms`, is due [ms].

    The one just sent counts as sent on its time. So the gaps hold even when a channel was down for hours,
    and repeats that were missed meanwhile do not come in a bunch.
    """
    return next_repeat_due_ms(sent_ms - _offset_ms(repeat), repeat + 1)


def comes_again(priority: str, state: str, note: str) -> bool:
    """Whether a notice repeats until someone is on it: urgent, and new, just raised, or quiet no more."""
    return priority == Priority.HIGH and (state == EventState.ACTIVE or note in (Note.RAISED, Note.UNSHELVED))


def wording(body: str, repeat: int, failures: int, age_ms: int) -> str:
    """Return the body as it is sent: a repeat says so, and a held-up message says how late it is."""
    lead = [STILL_SO] if repeat > 0 else []
    if failures > 0 and repeat == 0 and age_ms > LATE_MS:
        lead.append(f"(Told {_span(age_ms)} after it happened: this channel could not be reached before.)")
    return "\n".join([*lead, body])


def _span(ms: int) -> str:
    hours, minutes = divmod(ms // MS_PER_MIN, 60)
    if not hours:
        return f"{minutes} min"
    return f"{hours} h {minutes} min" if hours < 48 else f"{hours // 24} days"  # noqa: PLR2004  two days


def retry_in_s(failures: int, chance: float, first_s: float = 5.0, cap_s: float = 900.0) -> float:
    """How long to leave a channel alone after `failures` failures in a row before this one [s].

    Doubles from `first_s` to `cap_s`, then ±20 % of chance so that many boards do not knock in step. The
    exponent is capped before it is used: a float power overflows after about a thousand failures.
    """
    doubled = first_s * 2.0 ** min(failures, 20)
    return max(first_s, min(cap_s, min(cap_s, doubled) * (0.8 + 0.4 * chance)))


class Allowance:
    """How many messages a channel may be given: `burst` at once, then one every `every_s` seconds."""

    def __init__(self, burst: int, every_s: float, start_s: float) -> None:
        self._burst = burst
        self._every_s = every_s
        self._left = float(burst)
        self._at_s = start_s

    def take(self, now_s: float) -> float:
        """Use one up and return 0, or return the seconds until there is one to use."""
        self._left = min(self._burst, self._left + (now_s - self._at_s) / self._every_s)
        self._at_s = now_s
        if self._left >= 1.0:
            self._left -= 1.0
            return 0.0
        return (1.0 - self._left) * self._every_s
