"""Five-minute bins of the air: count, sum, least and greatest, per probe.

A bin is written in the commit that brings a reading past its end, so every bin before the one that holds the
journal's newest time is there, and again whenever a late row lands in it. Nothing needs to be remembered.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from chamberwatch.journal.plans import get_meta
from chamberwatch.model import MS_PER_MIN

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable

BIN_MS = 5 * MS_PER_MIN
RAW_FROM = "raw_from_ms"  # `meta` key: raw rows before this time have been pruned; their bins are final

ROLL = f"""
    INSERT OR REPLACE INTO rollup
    SELECT at_ms - at_ms % {BIN_MS} AS bin_ms, probe_id,
        count(temp_centi), sum(temp_centi), min(temp_centi), max(temp_centi),
        count(rh_centi), sum(rh_centi), min(rh_centi), max(rh_centi)
    FROM reading WHERE at_ms >= ? AND at_ms < ? GROUP BY bin_ms, probe_id
"""  # noqa: S608  BIN_MS is our own number


def bin_of(at_ms: int) -> int:
    """Return the start [ms] of the bin that holds `at_ms`."""
    return at_ms - at_ms % BIN_MS


def roll(db: sqlite3.Connection, before_ms: int, after_ms: int, behind_ms: Iterable[int]) -> None:
    """Write the bins closed as the newest time moves from `before_ms` to `after_ms`, and those changed since.

    `behind_ms`: the times of rows that landed or changed behind. A bin whose raw rows are pruned stays.
    """
    open_bin, closed_to = bin_of(before_ms), bin_of(after_ms)
    if closed_to > open_bin:
        db.execute(ROLL, (open_bin, closed_to))
    dirty = {bin_of(at_ms) for at_ms in behind_ms if at_ms < open_bin}
    if dirty:
        kept_from_ms = int(get_meta(db, RAW_FROM) or 0)
        for at_ms in sorted(dirty):
            if at_ms >= kept_from_ms:
                db.execute(ROLL, (at_ms, at_ms + BIN_MS))
