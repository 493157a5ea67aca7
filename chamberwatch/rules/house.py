"""The monitor watching itself: the disk under the journal, the channels to people, the clock.

These concern the whole house: their events name no chamber (""), and every piece that hangs anywhere. Missing
input: nobody looked, nothing changes. Source: our choice; 10 % is what filesystems themselves keep in reserve
by halves (ext4: 5 %, from memory).
"""

from __future__ import annotations

from chamberwatch.inputs import ChannelState, DiskFree
from chamberwatch.model import MS_PER_MIN, Kind
from chamberwatch.rules.edge import Edge

HOUSE = ""
DISK = "disk"
DISK_LOW_PCT = 10.0
DISK_BACK_PCT = 12.0
CHANNEL_PATIENCE_MS = 15 * MS_PER_MIN


def disk(item: DiskFree, *, standing: bool) -> Edge | None:
    """Return the disk's edge, if it is one; an NaN changes nothing."""
    if not standing and item.free_pct < DISK_LOW_PCT:
        return _disk_edge(item, active=True)
    if standing and item.free_pct >= DISK_BACK_PCT:
        return _disk_edge(item, active=False)
    return None


def _disk_edge(item: DiskFree, *, active: bool) -> Edge:
    return Edge(Kind.DISK_LOW, DISK, active, item.at_ms, item.at_ms, item.free_pct, DISK_LOW_PCT)


def channel(item: ChannelState, *, standing: bool) -> Edge | None:
    """Return a channel's edge: raised once it has failed for 15 min, returned when a message went through."""
    since_ms = item.failing_since_ms
    if since_ms is None:
        if not standing:
            return None
        return Edge(Kind.CHANNEL_FAILING, item.channel, active=False, at_ms=item.at_ms, since_ms=item.at_ms)
    if standing or item.at_ms - since_ms < CHANNEL_PATIENCE_MS:
        return None
    return Edge(
        Kind.CHANNEL_FAILING,
        item.channel,
        active=True,
        at_ms=since_ms + CHANNEL_PATIENCE_MS,
        since_ms=since_ms,
        value=float(item.tries),
    )
