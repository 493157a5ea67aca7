"""Every kind of event: its rule in a line, defaults, unit and source, as `chamberwatch rules` prints."""

from __future__ import annotations

from dataclasses import dataclass

from chamberwatch.model import MS_PER_DAY, MS_PER_MIN, MS_PER_S, Kind, Priority
from chamberwatch.rules import cooling, house, implausible, silence

GAP_FLOOR_MS = silence.FLOOR_MS
BROKER_PATIENCE_MS = 60 * MS_PER_S
RE_ALARM_MS = MS_PER_DAY
"""An alarm that still stands is told again once a day; ISA-18.2 calls one older than 24 h stale."""
JUMP_C = (12.0, 30_000.0)
JUMP_PCT = (40.0, 12_000.0)
"""(reach [°C, %RH], lag [ms]): a door thrown open, felt through the fastest element in still air."""


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
    "(default {patience}: {example}); the sum is capped at 1.5 × patience. Once a cycle is learnt, not "
    "while the mean of the last whole one is inside, unless far outside ({far}, or {near} for 30 min); "
    "of low priority, and sent to nobody, while it is outside by no more than the probe's accuracy"
)
_PAGE = "Page 1954 (cumulative sum); the band is common practice, no source; the patience our choice"


def _band(kind: Kind, side: str, unit: str, patience: str, example: str, far: str, near: str) -> Entry:
    return Entry(
        kind,
        f"air {side} the planned band: "
        + _BAND.format(patience=patience, example=example, far=far, near=near),
        "the sum has drained to 0 and that mean, where there is one, is inside",
        unit,
        Priority.MEDIUM,
        _PAGE,
    )


_TREND = "Sen 1968, Gilbert 1987 (Mann-Kendall); the windows our choice"
_T_EXAMPLE = "1 °C outside for 60 min, 6 °C for 10"
_H_EXAMPLE = "5 %RH outside for 20 min, 20 %RH for 5"

CATALOGUE: dict[Kind, Entry] = {
    e.kind: e
    for e in (
        _band(Kind.TEMPERATURE_HIGH, "above", "°C", "60 °C·min", _T_EXAMPLE, "3 °C", "1 °C"),
        _band(Kind.TEMPERATURE_LOW, "below", "°C", "60 °C·min", _T_EXAMPLE, "3 °C", "1 °C"),
        _band(Kind.HUMIDITY_HIGH, "above", "%RH", "100 %RH·min", _H_EXAMPLE, "10 %RH", "5 %RH"),
        _band(Kind.HUMIDITY_LOW, "below", "%RH", "100 %RH·min", _H_EXAMPLE, "10 %RH", "5 %RH"),
        Entry(
            Kind.PROBE_SILENT,
            "nothing heard, good or refused, for 3 × the probe's interval, at least 90 s, by arrival; "
            "urgent when the chamber has had no reading that was not refused for 60 min",
            "the probe is heard again, even if the line is refused; if it fell silent again within 30 min, "
            "five times in a row",
            "min",
            Priority.MEDIUM,
            "our choice",
        ),
        Entry(
            Kind.PROBE_IMPLAUSIBLE,
            f"{implausible.RAISE_AT // implausible.WEIGHT} bad pieces of input in a row, or more than a "
            "quarter of all for long (refused, or a jump that the next readings do not confirm: more "
            f"than {JUMP_C[0]:g} °C or {JUMP_PCT[0]:g} %RH, less where the probe speaks often)",
            f"{implausible.WEIGHT} good ones have come for each bad one, {implausible.CAP} at most",
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
        Entry(
            Kind.TEMPERATURE_DRIFT,
            "half-hourly means over a whole cycle run towards a limit, significantly and still, over 2 to "
            "6 h (2.5 cycles at least), and meet it within 6 h, outside what they were in the last 24 h; "
            "seen by at least two probes where two are well; not before 12 such means are known, nor while "
            "tended or 15 min after; not upwards while a new piece may make the air damp",
            "the line no longer meets the limit within 12 h, or the mean is back in the day's range",
            "°C",
            Priority.LOW,
            _TREND,
        ),
        Entry(
            Kind.HUMIDITY_DRIFT,
            "as temperature-drift, for humidity",
            "as temperature-drift",
            "%RH",
            Priority.LOW,
            _TREND,
        ),
        Entry(
            Kind.HUMIDITY_SWING,
            "6 rainflow cycles of at least 12 %RH (and twice the learnt saw-tooth) within 6 h; or 2 cycles "
            "of at least 6 %RH, within 72 h, of what the meat's outer millimetre feels (lag 5.6 h); seen by "
            "at least two probes where two are well",
            "fewer than that within the window",
            "%RH",
            Priority.LOW,
            "ASTM E1049-85 (rainflow); lag from published diffusivities; the counts our choice",
        ),
        Entry(
            Kind.CONDENSATION_RISK,
            "the air's dew point lies above a piece's estimated surface for more than 60 min; seen by at "
            "least two probes where two are well",
            "the dew point is 0.5 °C below the surface",
            "°C",
            Priority.MEDIUM,
            "psychrometrics; the surface's lag (90 min) is our estimate",
        ),
        Entry(
            Kind.COOLING_LOST,
            f"{cooling.CYCLES:g} learnt compressor cycles and {cooling.SLACK_MS // MS_PER_MIN} min (after a "
            f"run that was cut short {cooling.CUT_MS // MS_PER_MIN} min) have passed since the air was last "
            f"at its coldest, and it climbs {cooling.ABOVE_C:g} °C past its usual top",
            "the air has come down by its usual saw-tooth (at least 0.5 °C)",
            "°C",
            Priority.HIGH,
            "our choice",
        ),
        Entry(
            Kind.DOOR_OPEN,
            "within 10 min the air warms by 1 °C and by 0.8 °C more than it usually would, and 15 min later "
            "it has for 10 min been near its warmest or settled, past its usual top and 3 %RH from where it "
            "was, or (where the compressor keeps up) a saw-tooth and 3 %RH from where it was; seen by at "
            "least two probes where two are well",
            "it has come back by half",
            "°C",
            Priority.MEDIUM,
            "our choice, after common practice",
        ),
        Entry(
            Kind.PROBE_STUCK,
            "a reading has not changed at all for 3 h while another probe, or the probe's other half, moved "
            "by 0.4 °C or 2 %RH",
            "the first other value",
            "°C or %RH",
            Priority.MEDIUM,
            "our choice",
        ),
        Entry(
            Kind.PROBES_DISAGREE,
            "two hourly means in a row depart by more than 0.5 °C or 2 %RH from the learnt difference "
            "between the probes, or one by half as much again; names the one that left its own past",
            "the departure is below half of that",
            "°C or %RH",
            Priority.MEDIUM,
            "our choice, against makers' stated drift (from memory)",
        ),
        Entry(
            Kind.CLOCK_STEP,
            "the board's clock was set anew: it moved against the time that passed; the value says by how "
            "much, above 0 for forwards",
            "a one-off fact",
            "s",
            Priority.LOW,
            "our choice",
        ),
        Entry(
            Kind.DISK_LOW,
            f"less than {house.DISK_LOW_PCT:g} % of the disk that holds the journal is free",
            f"{house.DISK_BACK_PCT:g} % is free again",
            "% free",
            Priority.MEDIUM,
            "our choice",
        ),
        Entry(
            Kind.CHANNEL_FAILING,
            f"a channel has refused all it was handed for {house.CHANNEL_PATIENCE_MS // MS_PER_MIN} min",
            "a message goes through",
            "tries",
            Priority.MEDIUM,
            "our choice",
        ),
    )
}
