"""What really was in a labelled run, and by when the truth gives reason for an alarm."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from statistics import fmean, median

from chamberwatch.model import MS_PER_DAY, MS_PER_H, MS_PER_MIN, Band
from simulator.plant import Plant

TEMPERATURE, HUMIDITY = Band(10.0, 15.0, 60.0), Band(70.0, 80.0, 100.0)
ACCURACY_C, ACCURACY_PCT = 0.3, 2.5
SHOWN_C, SHOWN_PCT, SHOWN_MS = 0.5, 5.0, 30 * MS_PER_MIN


@dataclass
class Truth:
    """What really was, once a minute: time, °C, %RH, compressor."""

    rows: list[tuple[int, float, float, bool]] = field(default_factory=list)

    def __call__(self, at_ms: int, plant: Plant) -> None:
        """Keep a minute."""
        self.rows.append((at_ms, plant.temp_c, plant.rh_pct, plant.cooling))

    def period_ms(self, until_ms: int) -> int:
        """Return the compressor's median cycle before that time; 1 h if there is none."""
        starts = [b[0] for a, b in pairwise(self.rows) if b[3] and not a[3] and b[0] < until_ms]
        cycles = [b - a for a, b in pairwise(starts[-12:])]
        return round(median(cycles)) if cycles else MS_PER_H

    def left_ms(self, from_ms: int) -> int | None:
        """Return when the mean air over a cycle (an hour at least) has left the band by a probe's accuracy."""
        minutes = max(60, self.period_ms(from_ms) // MS_PER_MIN)
        rows = [r for r in self.rows if r[0] >= from_ms - minutes * MS_PER_MIN]
        for i in range(minutes, len(rows)):
            if rows[i][0] < from_ms:
                continue
            last = rows[i - minutes : i]
            if _outside(sum(r[1] for r in last) / minutes, TEMPERATURE, ACCURACY_C) or _outside(
                sum(r[2] for r in last) / minutes, HUMIDITY, ACCURACY_PCT
            ):
                return rows[i][0]
        return None

    def slow_h(self, from_ms: int) -> float | None:
        """Return how long the mean air takes from leaving its usual to leaving the band [h]; None if it does not.

        Usual is the day's mean before `from_ms`, give or take a probe's accuracy.
        """
        left_ms = self.left_ms(from_ms)
        before = [r for r in self.rows if from_ms - MS_PER_DAY <= r[0] < from_ms]
        if left_ms is None or not before:
            return None
        temp_c, rh_pct = fmean(r[1] for r in before), fmean(r[2] for r in before)
        minutes = max(60, self.period_ms(from_ms) // MS_PER_MIN)
        rows = [r for r in self.rows if from_ms - minutes * MS_PER_MIN <= r[0] <= left_ms]
        for i in range(len(rows), minutes, -1):
            last = rows[i - minutes : i]
            calm = abs(fmean(r[1] for r in last) - temp_c) <= ACCURACY_C
            if calm and abs(fmean(r[2] for r in last) - rh_pct) <= ACCURACY_PCT:
                return (left_ms - rows[i - 1][0]) / MS_PER_H
        return (left_ms - from_ms) / MS_PER_H

    def warm_ms(self, from_ms: int) -> int | None:
        """Return when the air is above what it was in the half day before; None if it never is."""
        before = [r[1] for r in self.rows if from_ms - MS_PER_DAY // 2 <= r[0] < from_ms]
        top_c = _span(before, SHOWN_C)[1]
        return next((r[0] for r in self.rows if r[0] >= from_ms and r[1] > top_c), None)

    def shown_ms(self, from_ms: int) -> int | None:
        """Return when the air has been outside what it was before by what a door does for half an hour."""
        before = [r for r in self.rows if from_ms - MS_PER_DAY // 2 <= r[0] < from_ms]
        spans = [_span([r[i] for r in before], by) for i, by in ((1, SHOWN_C), (2, SHOWN_PCT))]
        since_ms = 0
        for row in self.rows:
            if row[0] < from_ms:
                continue
            inside = all(low <= value <= high for (low, high), value in zip(spans, row[1:3], strict=True))
            since_ms = 0 if inside else since_ms or row[0]
            if since_ms and row[0] - since_ms >= SHOWN_MS:
                return since_ms
        return None

    def dry20_ms(self, from_ms: int) -> int | None:
        """Return when the true humidity is 20 %RH outside its band."""
        return next((r[0] for r in self.rows if r[0] >= from_ms and _outside(r[2], HUMIDITY, 20.0)), None)


def _outside(value: float, band: Band, by: float) -> bool:
    return value > band.high + by or value < band.low - by


def _span(values: list[float], by: float) -> tuple[float, float]:
    """Return what all but the three in a hundred furthest on either side keep to, wider by so much."""
    ranked = sorted(values)
    cut = 3 * len(ranked) // 100
    return ranked[cut] - by, ranked[-1 - cut] + by
