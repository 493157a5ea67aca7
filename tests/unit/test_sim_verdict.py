"""The verdict: what was told, held against what had to be."""

from __future__ import annotations

import io
import json

import pytest

from simulator.errands import Errand
from simulator.report import report
from simulator.table import moment_ms
from simulator.verdict import events_of, judge
from simulator.weekend import read

FILE = """
title = "t"
chamber = "larder"
seed = 1
start = 2026-11-06T16:00:00Z
end = 2026-11-07T16:00:00Z
[[probe]]
name = "rear"
[[piece]]
name = "Loin 1"
hung = "Fri 17:00"
weighs_kg = 1.5
sheds_g_a_day = 6
[[fault]]
what = "door ajar"
why = "left open"
from = "Fri 18:00"
to = "Fri 19:00"
[[fault.must]]
kind = "humidity-low"
before = "Fri 19:00"
over_by = "Fri 21:00"
[[fault.may]]
kind = "temperature-high"
before = "Fri 19:00"
[[never]]
kind = "monitor-gap"
"""


@pytest.fixture
def weekend(tmp_path):
    """Return the weekend of `FILE`."""
    path = tmp_path / "mine.toml"
    path.write_text(FILE, encoding="utf-8")
    return read(path)


def _line(when, kind, state="active", **more):
    day = "2026-11-06" if when.startswith("Fri") else "2026-11-07"
    at = f"{day}T{when[4:]}:00Z"
    row = {
        "id": f"{kind}-{state}-{when}",
        "at": at,
        "since": at,
        "kind": kind,
        "state": state,
        "priority": "medium",
        "chamber": "larder",
        "probes": ["rear"],
        "pieces": ["Loin 1"],
        "value": 60.0,
        "limit": 70.0,
        "because": None,
        "text": f"{kind} {state}\nmore",
    }
    return json.dumps(row | more)


GOOD = (_line("Fri 18:10", "humidity-low"), _line("Fri 20:00", "humidity-low", "returned"))


def _verdict(weekend, *lines):
    return judge(weekend, events_of("\n".join(lines) + "\n"))


def test_told_in_time_and_over_in_time_is_good(weekend):
    """A fault told within its window and over by its time is told; nothing is wrong."""
    verdict = _verdict(weekend, *GOOD)
    assert verdict.good
    assert verdict.closing_line() == "told: 1 of 1 faults, wrong alarms: 0"


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ((), "humidity-low active was not told within Fri 18:00 to Fri 19:00"),
        ((_line("Fri 19:01", "humidity-low"),), "was not told within"),
        ((_line("Fri 17:59", "humidity-low"),), "was not told within"),
        ((_line("Fri 18:10", "humidity-high"),), "was not told within"),
        (GOOD[:1], "was not over by Fri 21:00"),
        ((GOOD[0], _line("Fri 21:01", "humidity-low", "returned")), "was not over by Fri 21:00"),
    ],
)
def test_what_is_missing_is_named(weekend, lines, says):
    """Too late, too early, another kind, or not over in time: told what is missing and when it was due."""
    verdict = _verdict(weekend, *lines)
    ((_, missed),) = verdict.told
    assert len(missed) == 1
    assert says in missed[0]
    assert not verdict.good
    assert verdict.closing_line().startswith("told: 0 of 1 faults")


@pytest.mark.parametrize(
    ("line", "says"),
    [
        (_line("Fri 22:00", "humidity-high"), "nothing of the kind"),
        (_line("Fri 18:30", "humidity-low"), "nothing of the kind"),  # the same fault told twice
        (_line("Fri 20:30", "temperature-high"), "nothing of the kind"),  # allowed, but not so late
        (_line("Fri 17:30", "probe-silent", "noted"), "nothing of the kind"),
        (_line("Fri 18:30", "monitor-gap", "noted"), "must never be told"),
        (_line("Fri 18:30", "temperature-high", pieces=[]), "told against nothing; hanging were Loin 1"),
        (_line("Fri 18:30", "temperature-high", because="elsewhere"), "an event that is not there"),
    ],
)
def test_what_nobody_should_be_told_is_wrong(weekend, line, says):
    """An alarm out of place, told twice, forbidden or against the wrong pieces counts as one wrong alarm."""
    verdict = _verdict(weekend, *GOOD, line)
    assert len(verdict.wrong) == 1
    assert says in verdict.wrong[0]
    assert verdict.closing_line() == "told: 1 of 1 faults, wrong alarms: 1"


@pytest.mark.parametrize(
    "line",
    [
        _line("Fri 18:30", "temperature-high"),
        _line("Fri 18:20", "humidity-low", "noted"),
        _line("Fri 18:20", "temperature-high", because="humidity-low-active-Fri 18:10"),
    ],
)
def test_what_may_be_told_is_not_wrong(weekend, line):
    """An allowed kind, a note on a standing alarm and a consequence of a told cause are all fine."""
    verdict = _verdict(weekend, GOOD[0], line, GOOD[1])
    assert verdict.good


def test_a_note_after_the_alarm_is_over_is_wrong(weekend):
    """A note that belongs to no standing alarm is a wrong alarm."""
    verdict = _verdict(weekend, *GOOD, _line("Fri 20:10", "humidity-low", "noted"))
    assert len(verdict.wrong) == 1


def test_pieces_are_those_hanging_at_the_events_time(weekend):
    """Before the piece was hung an event must carry none."""
    early = _line("Fri 16:30", "temperature-high", pieces=["Loin 1"])
    assert "hanging were nothing" in _verdict(weekend, early, *GOOD).wrong[0]
    assert weekend.hanging_at(moment_ms("Fri 16:30", weekend.start_ms)) == frozenset()


def _report(weekend, events, errands=(), *, whole=False):
    out = io.StringIO()
    report(events, errands, judge(weekend, events), out, whole=whole)
    return out.getvalue()


def test_the_report_reads_in_order_with_consequences_indented(weekend):
    """Each message is one line: day, time, state, headline, pieces; a consequence stands further in."""
    follows = _line("Fri 18:20", "temperature-high", because="humidity-low-active-Fri 18:10", text="warm too")
    events = events_of("\n".join([GOOD[0], follows, GOOD[1], _line("Sat 02:00", "broker-lost", chamber="")]))
    entered = Errand(moment_ms("Fri 18:15", weekend.start_ms), ("hang",), "Loin 1 hangs")
    text = _report(weekend, events, [entered])
    assert "Fri 18:10  alarm  humidity-low active  [Loin 1]\n" in text
    assert "Fri 18:15  you    Loin 1 hangs\n" in text
    assert "Fri 18:20  alarm      warm too  [Loin 1]\n" in text
    assert "Fri 20:00  over   humidity-low returned\n" in text
    assert "  told    Fri 18:00 to Fri 19:00  left open\n" in text
    assert "  WRONG   Sat 02:00 broker-lost active: nothing of the kind" in text
    assert text.endswith("\ntold: 1 of 1 faults, wrong alarms: 1\n")
    assert text.index("18:10") < text.index("18:15") < text.index("18:20") < text.index("20:00")
    assert "more" not in text


def test_the_whole_message_is_printed_when_asked_for(weekend):
    """Asked for it, what follows the headline stands under it; the monitor's mark of a rehearsal is said once."""
    line = _line("Fri 18:10", "humidity-low", text="REHEARSAL: too dry\ncheck the tank")
    text = _report(weekend, events_of("\n".join([line, GOOD[1]])), whole=True)
    assert f"Fri 18:10  alarm  too dry  [Loin 1]\n{'':18}check the tank\n" in text
    assert text.count("REHEARSAL") == 1


def test_a_missed_fault_and_silence_are_said(weekend):
    """When nothing was told the report says so, and names what was missed."""
    text = _report(weekend, [])
    assert "Nothing: all the time" in text
    assert "  MISSED  Fri 18:00 to Fri 19:00  left open\n" in text
    assert "          humidity-low active was not told within Fri 18:00 to Fri 19:00\n" in text
