"""How air, alarms, events and pieces look on a terminal of 80 columns."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, tzinfo
from functools import partial
from typing import Any

from chamberwatch.cli.layout import paragraph
from chamberwatch.journal.away import Away
from chamberwatch.journal.pieces import Piece
from chamberwatch.journal.views import ChamberAir, ProbeState
from chamberwatch.meat.stages import LAST
from chamberwatch.model import (
    MS_PER_DAY,
    MS_PER_MIN,
    MS_PER_S,
    Alarm,
    AlarmState,
    Band,
    ChamberPlan,
    Kind,
    Stage,
)
from chamberwatch.psychrometrics import dew_point_c
from chamberwatch.wire.timestamp import parse_rfc3339
from chamberwatch.words.kinds import AIR_KINDS, CLIMATE_KINDS, HOUSE_KINDS, TEMPERATURE_KINDS, TOO
from chamberwatch.words.times import MONTHS, WEEKDAYS, format_local
from chamberwatch.words.units import show_mass, show_rh, show_span, show_temp, temp_number
from chamberwatch.words.view import house_subject, join

OLD_MS = 5 * MS_PER_MIN
STATE_WORDS = {
    AlarmState.UNACKNOWLEDGED: "nobody is on it",
    AlarmState.ACKNOWLEDGED: "somebody is on it",
    AlarmState.SHELVED: "quiet until {until}",
    AlarmState.RETURNED: "over since {over}, not yet seen by anybody",
}
EDGE_WORDS = {"active": "alarm", "returned": "over ", "noted": "note "}


def air_lines(air: ChamberAir, plan: ChamberPlan | None, now_ms: int, zone: tzinfo, units: str) -> list[str]:
    """Return a chamber's air now and how far it is from plan."""
    if air.at_ms is None:
        return [f"{air.chamber}: no reading yet"]
    age_ms = now_ms - air.at_ms
    when = f"{show_span(age_ms)} ago" if age_ms < 2 * OLD_MS else format_local(air.at_ms, now_ms, zone)
    lines = [f"{air.chamber}, {when}" + (" (old!)" if age_ms > OLD_MS else "")]
    if air.temp_c is not None:
        told = _against(air.temp_c, plan.temperature if plan else None, partial(temp_number, units=units))
        lines.append(f"  {show_temp(air.temp_c, units):>8}  {told}")
    if air.rh_pct is not None:
        told = _against(air.rh_pct, plan.humidity if plan else None, float)
        shown = show_rh(air.rh_pct, beside_pct=plan.humidity.high if plan else None)
        lines.append(f"  {shown:>8}  {told}")
    if air.temp_c is not None and air.rh_pct:
        lines.append(f"  {show_temp(dew_point_c(air.temp_c, air.rh_pct), units):>8}  dew point")
    return lines


def _against(value: float, band: Band | None, shown: Callable[[float], float]) -> str:
    """Return the planned band and how far out of it a value is, in the figures people see."""
    if band is None:
        return ""
    low, high, there = shown(band.low), shown(band.high), shown(value)
    planned = f"planned {low:.4g} to {high:.4g}"
    if value > band.high:
        return f"{planned}: {there - high:.1f} above"
    if value < band.low:
        return f"{planned}: {low - there:.1f} below"
    return planned


def rest_line(probe: str, until_ms: int, now_ms: int, zone: tzinfo) -> str:
    """Return that a probe counts for nothing now."""
    return paragraph("-", f"{probe} rests until {stamp(until_ms, now_ms, zone)}: kept, judged by nothing")


def away_line(away: Away, now_ms: int, zone: tzinfo) -> str:
    """Return that the owner is away, and who stands in."""
    who = f"{away.stand_in} stands in" if away.stand_in else "nobody stands in"
    return paragraph("-", f"away until {stamp(away.until_ms, now_ms, zone)}: {who}")


def probe_row(p: ProbeState, now_ms: int, units: str) -> list[str]:
    """Return one probe: its own values, how old, its counters."""
    temp = "-" if p.temp_c is None else show_temp(p.temp_c, units)
    rh = "-" if p.rh_pct is None else show_rh(p.rh_pct)
    age = "never heard" if p.at_ms is None else f"{show_span(now_ms - p.at_ms)} ago"
    return [f"  probe {p.probe}", temp, rh, age, f"{p.readings} readings, {p.refused} refused"]


def alarm_line(a: Alarm, now_ms: int, zone: tzinfo, units: str) -> str:
    """Return one alarm that is not normal: what, since when, how far, whether somebody is on it."""
    text = f"{_subject(a)} {TOO[a.kind]} since {format_local(a.since_ms, now_ms, zone)}"
    if a.kind in AIR_KINDS and a.worst is not None:
        text += f", {_figure(a.kind, a.worst, a.limit, units)} at worst"
    over = format_local(a.returned_ms, now_ms, zone) if a.returned_ms is not None else ""
    until = stamp(a.shelved_until_ms, now_ms, zone) if a.shelved_until_ms is not None else ""
    by = f" ({a.acknowledged_by})" if a.acknowledged_by else ""
    return paragraph(
        "!", f"{text}: {STATE_WORDS[a.state].format(over=over, until=until)}{by} [{a.kind}, {a.priority}]"
    )


def _subject(a: Alarm) -> str:
    """Return what an alarm is about, with its verb."""
    if a.kind in HOUSE_KINDS:
        return f"{house_subject(a.kind, a.probes)} {'are' if a.kind is Kind.CHANNEL_FAILING else 'is'}"
    if a.kind in CLIMATE_KINDS:
        return f"{a.chamber} is"
    return f"{join(a.probes)} in {a.chamber} {'are' if len(a.probes) > 1 else 'is'}"


def _figure(kind: Kind, value: float, beside: float | None, units: str) -> str:
    if kind in TEMPERATURE_KINDS:
        return show_temp(value, units, beside_c=beside)
    return show_rh(value, beside_pct=beside)


def stamp(at_ms: int, now_ms: int, zone: tzinfo) -> str:
    """Return `Fri 20 Nov 18:00`, with the year where it is not this one."""
    at, now = (datetime.fromtimestamp(ms / MS_PER_S, zone) for ms in (at_ms, now_ms))
    year = "" if at.year == now.year else f" {at.year}"
    return f"{WEEKDAYS[at.weekday()]} {at.day:2d} {MONTHS[at.month - 1]}{year} {at:%H:%M}"


def event_block(event: dict[str, Any], now_ms: int, zone: tzinfo, *, headline_only: bool) -> str:
    """Return an event as a person reads it: when, its first line, and what it says below."""
    when = stamp(parse_rfc3339(event["at"]), now_ms, zone)
    head, *body = event["text"].split("\n")
    first = paragraph(f"{when}  {EDGE_WORDS[event['state']]}", head)
    if headline_only:
        return first
    later = [name for name in event["pieces"] if name not in event["text"]]
    if later:
        body.append(f"Entered after this was told: {join(later)} hung there too.")
    return "\n".join([first, *(paragraph("     ", line) for line in body if line), ""])


def piece_row(p: Piece, now_ms: int, zone: tzinfo, units: str) -> list[str]:
    """Return one piece: where, at which stage, which day, weight and loss."""
    weight = show_mass(p.facts.green_weight_g, units) + " green"
    row = [p.name, p.facts.kind, _where(p, now_ms, zone), weight]
    if not p.weigh_ins:
        return [*row, "not weighed yet"]
    last = p.weigh_ins[-1]
    loss = f"{p.loss_pct(last.whole_g):.1f} % of {p.facts.target_loss_pct:g} % lost"
    return [*row, f"{show_mass(last.net_g, units)}, {loss}"]


def _where(p: Piece, now_ms: int, zone: tzinfo) -> str:
    """Return where a piece is: `cellar, day 12`, `salting in fridge, day 3`, `dripping`, `discarded`."""
    stay, entered = p.stay_at(now_ms), p.stage_at(now_ms)
    if entered is not None and entered.stage in LAST:
        return str(entered.stage)
    if stay is not None and stay.hanging:
        return f"{stay.chamber}, day {p.day_at(now_ms)}"
    if entered is not None and entered.stage is not Stage.HANGING:
        where = f" in {stay.chamber}" if stay is not None else ""
        return f"{entered.stage}{where}, day {(now_ms - entered.from_ms) // MS_PER_DAY + 1}"
    ended = p.stays[-1].to_ms if p.stays else None
    return "not hanging" if ended is None else f"down since {format_local(ended, now_ms, zone)}"
