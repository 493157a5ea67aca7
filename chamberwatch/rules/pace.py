"""How fast a chamber warms with its compressor still: what its own pauses have taught. Pure."""

from __future__ import annotations

from collections.abc import Iterable

from chamberwatch.rules.lane import Lane


def by_chamber(lanes: Iterable[Lane]) -> dict[str, float]:
    """Return the fastest learnt climb [°C/h] of each chamber's probes; one without is left out."""
    found: dict[str, float] = {}
    for lane in lanes:
        if lane.slow.norm is not None:
            found[lane.chamber] = max(found.get(lane.chamber, 0.0), lane.slow.norm.rise_c_per_h)
    return found
