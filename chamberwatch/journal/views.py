"""The shapes of what a reader gives out, and how they are made from rows."""

from __future__ import annotations

import json
from statistics import median
from typing import Any, NamedTuple

from chamberwatch.rules.silence import patience_ms
from chamberwatch.wire.timestamp import format_rfc3339


class ProbeState(NamedTuple):
    """A probe's newest air [°C, %RH], when that was, and its counters.

    `at_ms` is None before its first reading, `every_s` when it is no longer in the plan.
    """

    probe: str
    chamber: str
    planned: bool
    every_s: float | None
    at_ms: int | None
    temp_c: float | None
    rh_pct: float | None
    readings: int
    refused: int
    repeated: int
    merged: int
    late: int


class ChamberAir(NamedTuple):
    """The median over the probes of a chamber that spoke lately [°C, %RH], and when the newest did."""

    chamber: str
    at_ms: int | None
    temp_c: float | None
    rh_pct: float | None
    probes: tuple[str, ...]


class RefusedRow(NamedTuple):
    """How often input of a probe ("" = of none we know) was refused for a reason, and the last time."""

    probe: str
    reason: str
    n: int
    last_at_ms: int
    last_detail: str


class Rollup(NamedTuple):
    """Five minutes of one probe from `at_ms` on; means and extremes None where nothing was measured."""

    at_ms: int
    probe: str
    n_temp: int
    mean_temp_c: float | None
    min_temp_c: float | None
    max_temp_c: float | None
    n_rh: int
    mean_rh_pct: float | None
    min_rh_pct: float | None
    max_rh_pct: float | None


def whole(centi: int | None) -> float | None:
    """Return a stored hundredth-integer in its unit."""
    return None if centi is None else centi / 100


def chamber_air(chamber: str, probes: list[ProbeState]) -> ChamberAir:
    """Return the median of the chamber's planned probes, without those that had fallen silent."""
    spoken = [(p.at_ms, p) for p in probes if p.chamber == chamber and p.at_ms is not None]
    newest_ms = max((at_ms for at_ms, _ in spoken), default=None)
    if newest_ms is None:
        return ChamberAir(chamber, None, None, None, ())
    lately = [p for at_ms, p in spoken if p.every_s and newest_ms - at_ms <= patience_ms(p.every_s)]
    temps = [p.temp_c for p in lately if p.temp_c is not None]
    rhs = [p.rh_pct for p in lately if p.rh_pct is not None]
    return ChamberAir(
        chamber,
        newest_ms,
        median(temps) if temps else None,
        median(rhs) if rhs else None,
        tuple(p.probe for p in lately),
    )


def rollup_row(row: tuple[Any, ...]) -> Rollup:
    """Return a row of `rollup`, joined with its probe's name, in units."""
    at_ms, probe, n_temp, sum_temp, min_temp, max_temp, n_rh, sum_rh, min_rh, max_rh = row
    mean_temp_c = sum_temp / n_temp / 100 if n_temp else None
    mean_rh_pct = sum_rh / n_rh / 100 if n_rh else None
    temp = (n_temp, mean_temp_c, whole(min_temp), whole(max_temp))
    return Rollup(at_ms, probe, *temp, n_rh, mean_rh_pct, whole(min_rh), whole(max_rh))


def event_line(row: dict[str, Any], pieces: list[str]) -> dict[str, Any]:
    """Return a row of `event` as the object of its line; names and order are a contract."""
    return {
        "id": row["id"],
        "at": format_rfc3339(row["at_ms"]),
        "since": format_rfc3339(row["since_ms"]),
        "kind": row["kind"],
        "state": row["state"],
        "priority": row["priority"],
        "chamber": row["chamber"],
        "probes": json.loads(row["probes"]),
        "pieces": pieces,
        "value": row["value"],
        "limit": row["limit_value"],
        "because": row["because"],
        "text": row["text"],
    }
