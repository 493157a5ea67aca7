"""Every kind of event: its rule in a line, defaults, unit and source, as `chamberwatch rules` prints."""

from __future__ import annotations

from dataclasses import dataclass

from chamberwatch.model import MS_PER_DAY, MS_PER_S, Kind, Priority
from chamberwatch.rules import implausible, silence

GAP_FLOOR_MS = silence.FLOOR_MS
BROKER_PATIENCE_MS = 60 * MS_PER_S
RE_ALARM_MS = MS_PER_DAY
"""An alarm that still stands is told again once a day; ISA-18.2 calls one older than 24 h stale."""
JUMP_C = 10.0
JUMP_PCT = 30.0


@dataclass(frozen=True, slots=True)
class Entry:
    """One kind: when it is raised, when it returns, the unit of its value, its priority, its source."""

    kind: Kind
    raised: str
    returns: str
    unit: str
    priority: Priority
    source: str


_BAND = (
    "signed distance to the limit, summed over time from 0, reaches the patience "
    "(default {patience}: {example}); the sum is capped at 1.5 × patience"
)
_PAGE = "Page 1954 (cumulative sum); the band is common practice, no source; the patience our choice"


def _band(kind: Kind, side: str, unit: str, patience: str, example: str) -> Entry:
    return Entry(
        kind,
        f"air {side} the planned band: " + _BAND.format(patience=patience, example=example),
        "the sum has drained to 0",
        unit,
        Priority.MEDIUM,
        _PAGE,
    )


_T_EXAMPLE = "1 °C outside for 60 min, 6 °C for 10"
_H_EXAMPLE = "5 %RH outside for 20 min, 20 %RH for 5"

CATALOGUE: dict[Kind, Entry] = {
    e.kind: e
    for e in (
        _band(Kind.TEMPERATURE_HIGH, "above", "°C", "60 °C·min", _T_EXAMPLE),
        _band(Kind.TEMPERATURE_LOW, "below", "°C", "60 °C·min", _T_EXAMPLE),
        _band(Kind.HUMIDITY_HIGH, "above", "%RH", "100 %RH·min", _H_EXAMPLE),
        _band(Kind.HUMIDITY_LOW, "below", "%RH", "100 %RH·min", _H_EXAMPLE),
        Entry(
            Kind.PROBE_SILENT,
            "no good reading for 3 × the probe's interval, at least 90 s, by arrival; "
            "urgent when the chamber has had no working probe for 60 min",
            "the next reading",
            "min",
            Priority.MEDIUM,
            "our choice",
        ),
        Entry(
            Kind.PROBE_IMPLAUSIBLE,
            f"{implausible.RAISE_AT} more bad pieces of input than good ones (refused, or a lone jump of "
            f"over {JUMP_C:g} °C or {JUMP_PCT:g} %RH between two readings)",
            "as many good ones have come",
            "pieces",
            Priority.MEDIUM,
            "our choice; cf. the Hampel identifier",
        ),
        Entry(
            Kind.MONITOR_GAP,
            "the monitor itself was not running for 3 × the slowest probe's interval, at least 90 s",
            "a one-off fact",
            "min",
            Priority.LOW,
            "our choice",
        ),
        Entry(
            Kind.BROKER_LOST,
            "no connection to the MQTT broker for 60 s; also told when the broker comes back without "
            "what it held for us",
            "the connection stands again",
            "min",
            Priority.MEDIUM,
            "MQTT 5.0 §3.2.2.1.1 (session present); the time our choice",
        ),
    )
}
