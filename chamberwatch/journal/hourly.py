"""The air of a chamber by the hour: the median of the probes that were to be believed then.

Hours are counted from any moment, so that a piece's first hour begins when it was hung. Made of closed
five-minute bins only; an hour of which less than `LEAST_BINS` were seen is not known. Left out is a probe in
the hours in which an alarm said that it was stuck, made no sense or had left its own past.
"""

from __future__ import annotations

import json
import math
from itertools import groupby
from statistics import median
from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.journal.rollup import BIN_MS
from chamberwatch.model import MS_PER_H, EventState, Kind

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable, Iterator

LEAST_BINS = 3
"""Of an hour's twelve."""
NOT_BELIEVED = (Kind.PROBE_STUCK, Kind.PROBE_IMPLAUSIBLE, Kind.PROBES_DISAGREE)
CENTI = 100.0

HOURS = f"""
    SELECT (b.at_ms - :from_ms) / {MS_PER_H} AS hour, p.name,
        sum(n_temp > 0), sum(sum_temp_centi), sum(n_temp), sum(n_rh > 0), sum(sum_rh_centi), sum(n_rh)
    FROM rollup b JOIN probe p ON p.id = b.probe_id
    WHERE b.at_ms >= :from_ms AND b.at_ms <= :to_ms - {BIN_MS} AND p.chamber = :chamber
    GROUP BY hour, p.name ORDER BY hour, p.name
"""  # noqa: S608  our own numbers
KINDS = ", ".join(f"'{kind}'" for kind in NOT_BELIEVED)
DOUBTS = f"""
    SELECT kind, state, at_ms, since_ms, probes FROM event
    WHERE chamber = :chamber AND at_ms <= :to_ms AND kind IN ({KINDS})
    ORDER BY at_ms, seq
"""  # noqa: S608  our own names


class Hour(NamedTuple):
    """An hour's mean air, NaN where nobody measured: °C, %RH."""

    number: int
    temp_c: float
    rh_pct: float


class _Doubt(NamedTuple):
    probe: str
    from_ms: int
    to_ms: int


def hours(db: sqlite3.Connection, chamber: str, from_ms: int, to_ms: int) -> list[Hour]:
    """Return the hours from `from_ms` in which anything was measured up to `to_ms`, in order."""
    where = {"chamber": chamber, "from_ms": from_ms, "to_ms": to_ms}
    doubts = list(_doubts(db.execute(DOUBTS, where), to_ms))
    rows = db.execute(HOURS, where).fetchall()
    return [
        Hour(number, *_air(list(group), doubts, from_ms + number * MS_PER_H))
        for number, group in groupby(rows, key=lambda row: row[0])
    ]


def _air(rows: list[tuple[int, ...]], doubts: list[_Doubt], at_ms: int) -> tuple[float, float]:
    believed = [row for row in rows if not any(_covers(d, str(row[1]), at_ms) for d in doubts)]
    temps = [total / n / CENTI for _, _, bins, total, n, *_ in believed if bins >= LEAST_BINS]
    rhs = [total / n / CENTI for *_, bins, total, n in believed if bins >= LEAST_BINS]
    return (median(temps) if temps else math.nan), (median(rhs) if rhs else math.nan)


def _covers(doubt: _Doubt, probe: str, at_ms: int) -> bool:
    return doubt.probe == probe and doubt.from_ms < at_ms + MS_PER_H and at_ms < doubt.to_ms


def _doubts(rows: Iterable[tuple[str, str, int, int, str]], to_ms: int) -> Iterator[_Doubt]:
    """Yield from when to when each probe was not to be believed; alarms that stand last to `to_ms`."""
    begun: dict[tuple[str, str], int] = {}
    for kind, state, at_ms, since_ms, probes in rows:
        named = set(json.loads(probes))
        ends = state == EventState.RETURNED
        over = [key for key in begun if key[0] == kind and (ends or key[1] not in named)]
        for key in over:
            yield _Doubt(key[1], begun.pop(key), at_ms)
        if not ends:
            for probe in named:
                begun.setdefault((kind, probe), since_ms)
    for (_, probe), from_ms in begun.items():
        yield _Doubt(probe, from_ms, to_ms)
