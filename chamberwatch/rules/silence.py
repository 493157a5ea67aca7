"""A probe that says nothing: its deadline, and the hour after which a chamber without eyes is urgent.

The only rule on the arrival clock: a reading's own time cannot tell that none came.
"""

from __future__ import annotations

from chamberwatch.model import MS_PER_MIN, MS_PER_S

INTERVALS = 3
FLOOR_MS = 90 * MS_PER_S
BLIND_MS = 60 * MS_PER_MIN
"""No working probe for so long is urgent: longer than a radio gap; common practice, no source."""


def patience_ms(every_s: float) -> int:
    """Return how long a probe may be silent: max(3 intervals, 90 s). `every_s` > 0 [s]."""
    return max(round(INTERVALS * every_s * MS_PER_S), FLOOR_MS)
