"""`temperature-drift`, `humidity-drift`: the mean over whole cycles runs towards a limit and meets it soon.

Fed with the mean over the last full cycle, where one is learnt. Looked at each half hour, once `KNOWN` such
blocks are there, over the last 4 to 12, at least `PERIODS` cycles: Mann-Kendall significant, Theil-Sen's line
meets the limit within `HORIZON_MS`, the change over those blocks is larger than noise makes (`least`; over
the shortest window `STEEP` times that), it still goes on (`STILL`: a step that has levelled off is no drift),
the limit is not passed already (the band alarm says that), and the mean has left what it was in the last
24 h: a chamber that breathes with the day does not drift. Returned when the line no longer meets the limit
within twice the horizon, or the mean has come back into that range; being past the limit does not end it.

Missing input: a block of which less than half was seen does not exist; a gap of over two blocks forgets the
trend, not the range. Sources: Sen 1968; Gilbert 1987 (Mann-Kendall). The windows and the 24 h are our choice.
"""

from __future__ import annotations

from typing import NamedTuple

from chamberwatch.model import MS_PER_H, MS_PER_MIN, Band
from chamberwatch.rules import trend

BLOCK_MS = 30 * MS_PER_MIN
HORIZON_MS = 6 * MS_PER_H
RANGE_MS = 24 * MS_PER_H
WINDOWS = (12, 8, 6, 4)
"""Blocks looked at; the longest that is significant is believed."""
PERIODS = 2.5
"""Neighbouring means over a cycle share most of it: only over so many cycles do they tell of a trend."""
P = {12: 0.01, 8: 0.01, 6: 0.02, 4: 0.1}
"""Two-sided; 4 points in strict order give 0.09, the least they can."""
NEW_PART = 0.5
"""Of the least change: so far beyond the day's range the mean must be; noise on its breath is not new."""
KNOWN = 12
"""Blocks a chamber must have been known for: before, its settling in would look like a drift."""
BEFORE = 4
"""Blocks before the trend began: without them nothing is known of what it left."""
STEEP = 2.5
"""The shortest window is believed only for a change so many times the least that counts."""
STILL = 0.3
"""Of the line's slope: so fast at least it must have gone on over the last block."""
KEPT = 48


class State(NamedTuple):
    """The block under way (number, sum, count), closed block means, the side told (-1, 0, +1)."""

    number: int = -1
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
    """Add one mean.

    `least`: the smallest change that counts [unit]; `every_ms`: how far apart they come.
    """
    number = at_ms // BLOCK_MS
    if number == state.number:
        total = round(state.total + value, 3)
        return State(number, total, state.seen + 1, state.blocks, state.told), None
    found = None
    if 2 * state.seen * every_ms >= BLOCK_MS:
        ended_ms = (state.number + 1) * BLOCK_MS
        blocks = tuple(b for b in state.blocks if ended_ms - b[0] <= RANGE_MS)[-KEPT + 1 :]
        state = state._replace(blocks=(*blocks, (ended_ms, round(state.total / state.seen, 2))))
        state, found = _judge(state, band, least, period_ms or 0)
    return state._replace(number=number, total=value, seen=1), found


def _judge(state: State, band: Band, least: float, period_ms: int) -> tuple[State, Found | None]:
    side, meets_ms, since_ms = _drift(state, band, least, period_ms)
    if side == state.told:
        return state, None
    if state.told:
        found = Found(state.told, active=False, value=state.blocks[-1][1], meets_ms=0, since_ms=since_ms)
        return state._replace(told=0), found
    return state._replace(told=side), Found(side, True, state.blocks[-1][1], meets_ms, since_ms)  # noqa: FBT003


def _drift(state: State, band: Band, least: float, period_ms: int) -> tuple[int, int, int]:
    """Return the side (0: none), when the limit is met, and since when it goes that way."""
    newest_ms, newest = state.blocks[-1]
    told = state.told
    if len(state.blocks) < KNOWN and not told:
        return 0, 0, newest_ms
    horizon_ms = HORIZON_MS * (2 if told else 1)
    for length in WINDOWS:
        recent = state.blocks[-length:]
        short = length < WINDOWS[0] and length * BLOCK_MS < PERIODS * period_ms
        if short or len(recent) < length or recent[-1][0] - recent[0][0] > (length + 1) * BLOCK_MS:
            continue
        line = trend.trend([(t - newest_ms) / MS_PER_H for t, _ in recent], [v for _, v in recent])
        if line.slope == 0.0:
            continue
        side = 1 if line.slope > 0 else -1
        limit = band.high if side > 0 else band.low
        ahead = side * (limit - newest)
        if side != told and (ahead <= 0 or not _grows(line, recent, side, least)):
            continue  # past the limit already: the band alarm's business
        # Judged from the line too: one odd block, such as a visit's, is no trend. Told from the newest mean.
        far = max(ahead, side * (limit - line.intercept))
        beyond = 0.0 if side == told else least * NEW_PART
        if far / abs(line.slope) * MS_PER_H <= horizon_ms and _new(state, length, side, beyond):
            return side, newest_ms + round(max(0.0, ahead) / abs(line.slope) * MS_PER_H), recent[0][0]
    return 0, 0, newest_ms


def _grows(line: trend.Trend, recent: tuple[tuple[int, float], ...], side: int, least: float) -> bool:
    """Whether the change is significant, large enough, and still going on."""
    length = len(recent)
    enough = least * (STEEP if length == WINDOWS[-1] else 1.0)
    last = side * (recent[-1][1] - recent[-2][1])
    return (
        line.p <= P[length]
        and abs(line.slope) * (length - 1) * BLOCK_MS / MS_PER_H >= enough
        and last >= STILL * abs(line.slope) * BLOCK_MS / MS_PER_H
    )


def _new(state: State, length: int, side: int, beyond: float) -> bool:
    """Whether the newest mean lies beyond all of the last day's before this trend began, by how much."""
    before = [v for _, v in state.blocks[:-length]]
    if len(before) < BEFORE:
        return state.told == side
    return side * (state.blocks[-1][1] - (max(before) if side > 0 else min(before))) > beyond


def day_mean(state: State) -> float | None:
    """Return the mean of the last day's blocks; None before half a day was seen."""
    blocks = state.blocks
    if len(blocks) * BLOCK_MS < RANGE_MS // 2:
        return None
    return sum(v for _, v in blocks) / len(blocks)
