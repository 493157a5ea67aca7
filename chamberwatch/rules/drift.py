"""`temperature-drift`, `humidity-drift`: the mean over whole cycles runs towards a limit and meets it soon.

Looked at when a block closes (a learnt cycle, at least 30 min), once `KNOWN` blocks are there, over the last
4 to 8 block means: Mann-Kendall significant, Theil-Sen's line meets the limit within `HORIZON_MS`, the change
over those blocks is larger than noise makes (`least`; over the shortest window `STEEP` times that), the limit
is not passed already (the band alarm says that), and the mean has left what it was in the last 24 h: a
chamber that breathes with the day does not drift. Returned when the line no longer meets the limit within
twice the horizon, or the mean has come back into that range; being past the limit does not end it.

Missing input: a block of which less than half was seen does not exist; a gap of over two blocks forgets the
trend, not the range. Sources: Sen 1968; Gilbert 1987 (Mann-Kendall). The windows and the 24 h are our choice.
"""

from __future__ import annotations

from typing import NamedTuple

from chamberwatch.model import MS_PER_H, MS_PER_MIN, Band
from chamberwatch.rules import trend

BLOCK_MS = 30 * MS_PER_MIN
GRAIN_MS = 5 * MS_PER_MIN
"""What is added comes at most so far apart: blocks are whole multiples of it."""
HORIZON_MS = 6 * MS_PER_H
RANGE_MS = 24 * MS_PER_H
WINDOWS = (8, 6, 4)
"""Blocks looked at; the longest that is significant is believed."""
P = {8: 0.01, 6: 0.02, 4: 0.1}
"""Two-sided; 4 points in strict order give 0.09, the least they can."""
NEW_PART = 0.5
"""Of the least change: so far beyond the day's range the mean must be; noise on its breath is not new."""
KNOWN = 12
"""Blocks a chamber must have been known for: before, its settling in would look like a drift."""
STEEP = 2.5
"""The shortest window is believed only for a change so many times the least that counts."""
KEPT = 48


class State(NamedTuple):
    """The block under way (number, length, sum, count), closed block means, the side told (-1, 0, +1)."""

    number: int = -1
    length_ms: int = BLOCK_MS
    total: float = 0.0
    seen: int = 0
    blocks: tuple[tuple[int, float], ...] = ()
    told: int = 0


class Found(NamedTuple):
    """A drift's edge: towards which side, where the mean is, when the line meets the limit (0: it ended)."""

    side: int
    active: bool
    value: float
    meets_ms: int
    since_ms: int


def step(
    state: State,
    at_ms: int,
    value: float,
    period_ms: int | None,
    band: Band,
    least: float,
    every_ms: int = MS_PER_MIN,
) -> tuple[State, Found | None]:
    """Add a minute's mean.

    `least`: the smallest change that counts [unit]; `every_ms`: how far minutes with a reading lie apart.
    """
    number = at_ms // state.length_ms
    if number == state.number:
        total = round(state.total + value, 3)
        return State(number, state.length_ms, total, state.seen + 1, state.blocks, state.told), None
    found = None
    if 2 * state.seen * every_ms >= state.length_ms:
        ended_ms = (state.number + 1) * state.length_ms
        blocks = tuple(b for b in state.blocks if ended_ms - b[0] <= RANGE_MS)[-KEPT + 1 :]
        state = state._replace(blocks=(*blocks, (ended_ms, round(state.total / state.seen, 2))))
        state, found = _judge(state, band, least)
    length_ms = max(BLOCK_MS, -(-(period_ms or 0) // GRAIN_MS) * GRAIN_MS)
    return state._replace(number=at_ms // length_ms, length_ms=length_ms, total=value, seen=1), found


def _judge(state: State, band: Band, least: float) -> tuple[State, Found | None]:
    side, meets_ms, since_ms = _drift(state, band, least, told=state.told)
    if side == state.told:
        return state, None
    if state.told:
        found = Found(state.told, active=False, value=state.blocks[-1][1], meets_ms=0, since_ms=since_ms)
        return state._replace(told=0), found
    return state._replace(told=side), Found(side, True, state.blocks[-1][1], meets_ms, since_ms)  # noqa: FBT003


def _drift(state: State, band: Band, least: float, *, told: int) -> tuple[int, int, int]:
    """Return the side (0: none), when the limit is met, and since when it goes that way."""
    newest_ms, newest = state.blocks[-1]
    if len(state.blocks) < KNOWN and not told:
        return 0, 0, newest_ms
    horizon_ms = HORIZON_MS * (2 if told else 1)
    for length in WINDOWS:
        recent = state.blocks[-length:]
        if len(recent) < length or recent[-1][0] - recent[0][0] > (length + 1) * state.length_ms:
            continue
        line = trend.trend([(t - newest_ms) / MS_PER_H for t, _ in recent], [v for _, v in recent])
        side = 1 if line.slope > 0 else -1
        limit = band.high if side > 0 else band.low
        enough = least * (STEEP if length == WINDOWS[-1] else 1.0)
        small = line.p > P[length] or abs(recent[-1][1] - recent[0][1]) < enough
        if line.slope == 0.0 or (small and side != told):
            continue
        ahead = side * (limit - newest)
        if ahead <= 0 and not told:
            continue  # past the limit already: the band alarm's business
        meets_ms = newest_ms + round(max(0.0, ahead) / abs(line.slope) * MS_PER_H)
        beyond = 0.0 if side == told else least * NEW_PART
        if meets_ms - newest_ms <= horizon_ms and _new(state, length, side, beyond):
            return side, meets_ms, recent[0][0]
    return 0, 0, newest_ms


def _new(state: State, length: int, side: int, beyond: float) -> bool:
    """Whether the newest mean lies beyond all of the last day's before this trend began, by how much."""
    before = [v for _, v in state.blocks[:-length]]
    return not before or side * (state.blocks[-1][1] - (max(before) if side > 0 else min(before))) > beyond


def day_mean(state: State) -> float | None:
    """Return the mean of the last day's blocks; None before half a day was seen."""
    blocks = state.blocks
    if len(blocks) * state.length_ms < RANGE_MS // 2:
        return None
    return sum(v for _, v in blocks) / len(blocks)
