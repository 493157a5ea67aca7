"""Quantities as people write and read them: grams or pounds, millimetres or inches, °C or °F.

Storage is always SI; these two directions are the only place where other units exist. Every parser refuses
a number without a unit, because 1830 may be grams and 4 may be pounds.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, NamedTuple

from chamberwatch.model import MS_PER_DAY, MS_PER_H, MS_PER_MIN, MS_PER_S

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

G_PER_LB = 453.59237  # exact by definition (international avoirdupois pound; NIST SP 811, from memory)
OZ_PER_LB = 16
G_PER_OZ = G_PER_LB / OZ_PER_LB
MM_PER_IN = 25.4  # exact by definition (NIST SP 811, from memory)

MASS_MAX_G = 100_000.0
LENGTH_MAX_MM = 3_000.0
DURATION_MAX_MS = 400 * MS_PER_DAY

_MASS = {"g": 1.0, "kg": 1000.0, "lb": G_PER_LB, "lbs": G_PER_LB, "oz": G_PER_OZ}
_LENGTH = {"mm": 1.0, "cm": 10.0, "in": MM_PER_IN, '"': MM_PER_IN}
_DURATION = {
    "s": MS_PER_S, "min": MS_PER_MIN, "h": MS_PER_H, "d": MS_PER_DAY,
    "sec": MS_PER_S, "hour": MS_PER_H, "hours": MS_PER_H, "day": MS_PER_DAY, "days": MS_PER_DAY,
}  # fmt: skip
TEMP_MIN_C, TEMP_MAX_C = -60.0, 100.0
_TEMP = re.compile(r"([-+]?\d+(?:\.\d*)?)\s*(?:°|deg)?\s*([CF])", re.ASCII | re.IGNORECASE)
_TERM = re.compile(r"\s*(\d+\.?\d*|\.\d+)\s*([A-Za-z\"%]*)", re.ASCII)
_LONGEST = 40


def parse_mass_g(text: str, *, zero_ok: bool = False) -> float:
    """Return grams from `2150g`, `2.15kg`, `4lb 12oz`, `4.75lb`, `76oz`; above 0 (a tare: from 0) to 100 kg.

    Raises ValueError saying what is taken.
    """
    takes = _Takes("a mass", "2150g, 2.15kg, 4lb 12oz, 76oz", _MASS, MASS_MAX_G, "100 kg", zero_ok)
    return _sum(text, takes)


def parse_length_mm(text: str, *, zero_ok: bool = False) -> float:
    """Return millimetres from `108mm`, `10.8cm`, `4.25in`; above 0 (a crust: from 0), at most 3 m.

    Raises ValueError.
    """
    return _sum(text, _Takes("a length", "108mm, 10.8cm, 4.25in", _LENGTH, LENGTH_MAX_MM, "3000 mm", zero_ok))


def parse_duration_ms(text: str) -> int:
    """Return milliseconds from `90s`, `30min`, `2h`, `1h 30min`; above 0, at most 400 d. ValueError."""
    return round(_sum(text, _Takes("a duration", "90s, 30min, 2h, 3d", _DURATION, DURATION_MAX_MS, "400 d")))


def parse_percent(text: str, *, most_pct: float = 100.0) -> float:
    """Return percent from `2.75%` (or `2.75 %`); above 0, at most `most_pct`. Raises ValueError."""
    return _sum(text, _Takes("a percentage", "2.75%", {"%": 1.0}, most_pct, f"{most_pct:g} %"))


def parse_rh_pct(text: str) -> float:
    """Return %RH from `72`, `72%` or `72 %RH`; above 0, at most 100. Raises ValueError."""
    return parse_percent(text.strip().removesuffix("RH").rstrip().removesuffix("%").rstrip() + "%")


def parse_temp_c(text: str) -> float:
    """Return °C from `11C`, `11.5 °C` or `52F`; -60..100 °C. Raises ValueError saying what is taken."""
    match = _TEMP.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"{text[:_LONGEST]!r} is not a temperature with its unit; write it like 11C or 52F")
    value = float(match[1])
    temp_c = value if match[2].upper() == "C" else (value - 32.0) / 1.8
    if not TEMP_MIN_C <= temp_c <= TEMP_MAX_C:
        raise ValueError(f"{text[:_LONGEST]!r}: it must be {TEMP_MIN_C:g} to {TEMP_MAX_C:g} °C")
    return temp_c


class _Takes(NamedTuple):
    """What a parser takes: its name, examples, units and range."""

    what: str
    examples: str
    factors: Mapping[str, float]
    most: float
    most_said: str
    zero_ok: bool = False


def _sum(text: str, takes: _Takes) -> float:
    """Add up `number unit` terms, each unit smaller than the one before it."""
    wrong = _complaint(text, takes)
    if fault := _misreadable(text):
        raise wrong(fault)
    total, end, smaller_than = 0.0, 0, math.inf
    while match := _TERM.match(text, end):
        factor = takes.factors.get(match[2].lower(), 0.0)
        if not factor:
            raise wrong(f"{match[2]!r} is not a unit I take here" if match[2] else f"{match[1]} has no unit")
        if factor >= smaller_than:
            raise wrong("units must come largest first and once each")
        total, end, smaller_than = total + float(match[1]) * factor, match.end(), factor
    if end == 0 or text[end:].strip():
        raise wrong(f"this is not {takes.what}")
    if total > takes.most or (total == 0 and not takes.zero_ok):
        raise wrong(f"it must be {'0 to' if takes.zero_ok else 'above 0 and at most'} {takes.most_said}")
    return total


def _complaint(text: str, takes: _Takes) -> Callable[[str], ValueError]:
    shown = text if len(text) <= _LONGEST else text[:_LONGEST] + "…"
    return lambda fault: ValueError(f"{shown!r}: {fault}; write {takes.what} like {takes.examples}")


def _misreadable(text: str) -> str:
    """Return what would be misread: nothing at all, a sign, a decimal comma; '' if nothing would."""
    if not text.strip():
        return "nothing is written"
    if text.lstrip().startswith(("-", "\N{MINUS SIGN}")):
        return "it is negative"
    return "a comma could mean two things, decimals take a point" if "," in text else ""


# -- towards people ---------------------------------------------------------------------------------------


def show_mass(mass_g: float, units: str = "metric") -> str:
    """Return `2150 g`, or `4 lb 11.8 oz` for "us": 1 g, 0.1 oz."""
    if units != "us":
        return f"{mass_g:.0f} g"
    tenths = round(abs(mass_g) / G_PER_OZ * 10)  # round once, so that 15.96 oz becomes 1 lb and not 16.0 oz
    pounds, rest = divmod(tenths, OZ_PER_LB * 10)
    sign = "-" if mass_g < 0 else ""
    return f"{sign}{pounds} lb {rest / 10:g} oz" if pounds else f"{sign}{rest / 10:g} oz"


def show_length(length_mm: float, units: str = "metric") -> str:
    """Return `108 mm`, or `4.25 in` for "us"."""
    return f"{length_mm / MM_PER_IN:.2f} in" if units == "us" else f"{length_mm:.0f} mm"


def temp_unit(units: str) -> str:
    """Return the unit sign of temperatures."""
    return "°F" if units == "us" else "°C"


def temp_number(temp_c: float, units: str = "metric") -> float:
    """Return the figure a thermometer in those units shows: °F = 1.8 x °C + 32, exact."""
    return temp_c * 1.8 + 32 if units == "us" else temp_c


def show_temp(temp_c: float, units: str = "metric", *, beside_c: float | None = None) -> str:
    """Return `13.1 °C` or `55.6 °F`; two decimals where one would hide which side of `beside_c` it is."""
    shown = temp_number(temp_c, units)
    beside = shown if beside_c is None else temp_number(beside_c, units)
    digits = 2 if shown != beside and f"{shown:.1f}" == f"{beside:.1f}" else 1
    return f"{shown:.{digits}f} {temp_unit(units)}"


def show_temp_gap(gap_c: float, units: str = "metric") -> str:
    """Return a difference of two temperatures, `0.7 °C` or `1.3 °F`: 1 °C is 1.8 °F, without the 32."""
    return f"{gap_c * 1.8 if units == 'us' else gap_c:.1f} {temp_unit(units)}"


def show_rh(rh_pct: float, *, beside_pct: float | None = None) -> str:
    """Return `76 %`; decimals only where a whole number would hide which side of `beside_pct` it is."""
    beside = rh_pct if beside_pct is None else beside_pct
    digits = next((n for n in (0, 1) if rh_pct == beside or round(rh_pct, n) != round(beside, n)), 2)
    return f"{rh_pct:.{digits}f} %"


def show_span(span_ms: float) -> str:
    """Return a duration as one says it: `40 s`, `65 min`, `3 h 10 min`, `2 d 4 h`."""
    seconds = max(0, round(span_ms / MS_PER_S))
    if seconds < 2 * 60:
        return f"{seconds} s"
    minutes = round(seconds / 60)
    if minutes < 2 * 60:
        return f"{minutes} min"
    hours, rest = divmod(minutes, 60)
    if hours < 2 * 24:
        return f"{hours} h {rest} min" if rest else f"{hours} h"
    days, hours = divmod(round(minutes / 60), 24)
    return f"{days} d {hours} h" if hours else f"{days} d"
