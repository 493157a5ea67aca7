"""How air, alarms, events and pieces look on a terminal of 80 columns."""

from __future__ import annotations

from datetime import tzinfo
from typing import Any

from chamberwatch.cli.layout import paragraph
from chamberwatch.journal.pieces import Piece
from chamberwatch.journal.views import ChamberAir, ProbeState
from chamberwatch.model import MS_PER_MIN, Alarm, AlarmState, Band, ChamberPlan
from chamberwatch.psychrometrics import dew_point_c
from chamberwatch.wire.timestamp import parse_rfc3339
from chamberwatch.words.times import format_local
from chamberwatch.words.units import show_mass, show_rh, show_span, show_temp

OLD_MS = 5 * MS_PER_MIN
STATE_WORDS = {
    AlarmState.UNACKNOWLEDGED: "nobody is on it",
    AlarmState.ACKNOWLEDGED: "somebody is on it",
    AlarmState.RETURNED: "over, not yet seen by anybody",
}
EDGE_WORDS = {"active": "!", "returned": "-", "noted": "."}
"""One sign an event: began, ended, noted."""


def air_lines(air: ChamberAir, plan: ChamberPlan | None, now_ms: int, zone: tzinfo, units: str) -> list[str]:
    """Return a chamber's air now and how far it is from plan."""
    if air.at_ms is None:
        return [f"{air.chamber}: no reading yet"]
    age_ms = now_ms - air.at_ms
    when = f"{show_span(age_ms)} ago" if age_ms < 2 * OLD_MS else format_local(air.at_ms, now_ms, zone)
    lines = [f"{air.chamber}, {when}" + (" (old!)" if age_ms > OLD_MS else "")]
    if air.temp_c is not None:
        told = _against(air.temp_c, plan.temperature if plan else None, lambda v: show_temp(v, units))
        lines.append(f"  {show_temp(air.temp_c, units):>8}  {told}")
    if air.rh_pct is not None:
        told = _against(air.rh_pct, plan.humidity if plan else None, show_rh)
        lines.append(f"  {show_rh(air.rh_pct):>8}  {told}")
    if air.temp_c is not None and air.rh_pct:
        lines.append(f"  {show_temp(dew_point_c(air.temp_c, air.rh_pct), units):>8}  dew point")
    return lines


def _against(value: float, band: Band | None, show: Any) -> str:
    if band is None:
        return ""
    planned = f"planned {show(band.low)} to {show(band.high)}"
    if value > band.high:
        return f"{planned}: {value - band.high:.1f} above"
    if value < band.low:
        return f"{planned}: {band.low - value:.1f} below"
    return planned


def probe_row(p: ProbeState, now_ms: int, units: str) -> list[str]:
    """Return one probe: its own values, how old, its counters."""
    temp = "-" if p.temp_c is None else show_temp(p.temp_c, units)
    rh = "-" if p.rh_pct is None else show_rh(p.rh_pct)
    age = "never heard" if p.at_ms is None else f"{show_span(now_ms - p.at_ms)} ago"
    return [f"  probe {p.probe}", temp, rh, age, f"{p.readings} readings, {p.refused} refused"]


def alarm_line(a: Alarm, now_ms: int, zone: tzinfo, units: str) -> str:
    """Return one open alarm."""
    del units
    by = f" ({a.acknowledged_by})" if a.acknowledged_by else ""
    since = format_local(a.since_ms, now_ms, zone)
    return paragraph("!", f"{a.chamber}: {a.kind} since {since}, {a.priority}; {STATE_WORDS[a.state]}{by}")


def event_block(event: dict[str, Any], zone: tzinfo, *, headline_only: bool) -> str:
    """Return an event as a person reads it: when, its first line, and what it says below."""
    at_ms = parse_rfc3339(event["at"])
    head, *body = event["text"].split("\n")
    first = paragraph(f"{format_local(at_ms, 0, zone)} {EDGE_WORDS[event['state']]}", head)
    if headline_only:
        return first
    lines = [paragraph("     ", line) for line in body if line]
    return "\n".join([first, *lines, ""])


def piece_row(p: Piece, now_ms: int, zone: tzinfo, units: str) -> list[str]:
    """Return one piece: where, which day, weight and loss."""
    stay = p.stay_at(now_ms)
    if p.discarded_ms is not None:
        where = "discarded"
    elif stay is not None:
        where = f"{stay.chamber}, day {p.day_at(now_ms)}"
    else:
        ended = p.stays[-1].to_ms
        where = "not hanging" if ended is None else f"down since {format_local(ended, now_ms, zone)}"
    weight = show_mass(p.facts.green_weight_g, units) + " green"
    if not p.weigh_ins:
        return [p.name, p.facts.kind, where, weight, "not weighed yet"]
    last = p.weigh_ins[-1]
    loss = f"{p.loss_pct(last.net_g):.1f} % of {p.facts.target_loss_pct:g} % lost"
    return [p.name, p.facts.kind, where, weight, f"{show_mass(last.net_g, units)}, {loss}"]
