"""Every event that can occur has words of its own, and every message has what the owner needs."""

from __future__ import annotations

import itertools
import re

import pytest

from chamberwatch.model import (
    Band,
    ChamberKind,
    ChamberPlan,
    Event,
    EventState,
    Hanging,
    Kind,
    Note,
    Priority,
)
from chamberwatch.rules.catalogue import CATALOGUE
from chamberwatch.words import Scene, say
from chamberwatch.words.air import CHECK
from chamberwatch.words.chamber import COOLING_CHECK, DOOR_CHECK, WET_CHECK
from chamberwatch.words.kinds import AIR_KINDS, HOUSE_KINDS, OF_THE_HOUSE, TOO
from chamberwatch.words.notes import REMINDERS
from chamberwatch.words.say import NOTES, UPDATE_MARK, WORDINGS
from chamberwatch.words.trends import FAST_CHECK, FELT_CHECK

FACTS_ONLY = frozenset({Kind.MONITOR_GAP, Kind.CLOCK_STEP})
"""Kinds that are told once and never stand."""
WITH_FACT = FACTS_ONLY | {Kind.BROKER_LOST}
ABSENCE = frozenset({Kind.PROBE_SILENT, Kind.PROBE_IMPLAUSIBLE, Kind.BROKER_LOST})
"""Kinds that are raised to a message of their own after an hour, so their reminder repeats nothing."""
HEADLINE_MAX = 110
JARGON = re.compile(
    r"\b(alert|alarm|trigger\w*|threshold|sensor|anomal\w*|critical|warning|error|invalid|event|status|payload|"
    r"exception|timeout|offline|online|rest(?:ing|s)? period|resolved|incident)\b",
    re.IGNORECASE,
)
AT_MS = 1_795_305_600_000


FIGURES = {
    Kind.TEMPERATURE_HIGH: (16.44, 15.0),
    Kind.TEMPERATURE_LOW: (8.04, 10.0),
    Kind.TEMPERATURE_DRIFT: (13.94, 15.0),
    Kind.HUMIDITY_DRIFT: (73.14, 70.0),
    Kind.HUMIDITY_SWING: (18.34, 12.0),
    Kind.CONDENSATION_RISK: (13.44, 12.14),
    Kind.COOLING_LOST: (14.14, 13.04),
    Kind.DOOR_OPEN: (15.84, 12.14),
    Kind.PROBE_STUCK: (78.14, 3.0),
    Kind.PROBES_DISAGREE: (3.14, 2.0),
    Kind.CLOCK_STEP: (3900.0, 5.0),
    Kind.DISK_LOW: (8.24, 10.0),
}
DETAILS = {
    Kind.HUMIDITY_SWING: ("fast", "felt"),
    Kind.PROBE_STUCK: ("temperature", "humidity"),
    Kind.PROBES_DISAGREE: ("temperature", "humidity"),
    Kind.CHANNEL_FAILING: ("", "the server hung up before it had taken the message"),
}
"""What an event of that kind ordinarily carries."""


def message(
    kind: Kind,
    state: EventState,
    note: Note = Note.EDGE,
    chamber: ChamberKind = ChamberKind.CURE_CHAMBER,
    *,
    detail: str = "",
    name: str = "cellar",
    because: str | None = None,
    **scene,
):
    """Word one event in an ordinary scene."""
    value, limit = FIGURES.get(kind, (50.0, 40.0))
    event = Event(
        "e", AT_MS, AT_MS - 5_000_000, kind, state, Priority.MEDIUM, "" if kind in HOUSE_KINDS else name,
        ("mail",) if kind in HOUSE_KINDS else ("front", "rear"), value, limit, because, note, value, detail=detail,
        meets_ms=AT_MS + 9_000_000,
    )  # fmt: skip
    plan = ChamberPlan(name, chamber, Band(10, 15, 60), Band(70, 80, 100))
    return say(event, Scene(plan, (Hanging("Loin 1", 50), Hanging("Neck 4", 2)), **scene))


@pytest.mark.parametrize("kind", Kind)
def test_every_kind_has_words_for_each_of_its_edges(kind):
    """Nothing that begins or ends is worded by a fallback, and nothing is worded that cannot occur."""
    edges = set() if kind in FACTS_ONLY else {EventState.ACTIVE, EventState.RETURNED}
    facts = {Note.FACT} if kind in WITH_FACT else set()
    assert {key for k, key in WORDINGS if k is kind} == edges | facts
    assert kind in TOO
    assert kind in CATALOGUE


def test_every_note_has_words():
    """No note of the model is left without a wording."""
    assert set(NOTES) == set(Note)


def test_every_kind_of_chamber_has_its_own_first_things_to_check():
    """Each of the four air kinds knows what to look at in a fridge, a salting fridge and a room; so do others."""
    assert set(CHECK) == set(itertools.product(AIR_KINDS, ChamberKind))
    for check in (COOLING_CHECK, DOOR_CHECK, WET_CHECK, FAST_CHECK, FELT_CHECK):
        assert set(check) == set(ChamberKind)


def test_whatever_can_stand_for_a_day_is_reminded_of_with_what_to_do():
    """A reminder without it would send people back to yesterday's message."""
    assert set(REMINDERS) == set(Kind) - FACTS_ONLY - ABSENCE


def test_what_concerns_no_chamber_has_a_subject_of_its_own():
    """Its sentences would have none otherwise."""
    assert set(OF_THE_HOUSE) == HOUSE_KINDS


@pytest.mark.parametrize("chamber", ChamberKind)
@pytest.mark.parametrize("kind", sorted(set(Kind) - FACTS_ONLY))
def test_whatever_begins_says_what_to_check_and_whether_it_can_wait(kind, chamber):
    """A person woken or not finds both answers in every first message."""
    for detail in DETAILS.get(kind, ("",)):
        lines = message(kind, EventState.ACTIVE, chamber=chamber, detail=detail).body.splitlines()
        assert sum(line.startswith("Check first: ") for line in lines) == 1
        assert sum(line.startswith("Wait till morning: ") for line in lines) == 1


@pytest.mark.parametrize(
    ("kind", "state", "note"),
    [(k, s, Note.EDGE) for k in Kind for s in (EventState.ACTIVE, EventState.RETURNED)]
    + [(k, EventState.NOTED, n) for k in Kind for n in Note],
)
def test_every_message_is_plain_and_fits_a_lock_screen(kind, state, note):
    """One line of at most 110 characters; no word of the machine room anywhere; one thought a line below."""
    for detail in DETAILS.get(kind, ("",)):
        told = message(kind, state, note, detail=detail, because="first")
        assert 10 < len(told.headline) <= HEADLINE_MAX
        assert "\n" not in told.headline
        assert not JARGON.search(told.text), JARGON.search(told.text)
        assert all(told.body.splitlines())
        assert "resting" not in told.text


@pytest.mark.parametrize("kind", Kind)
def test_a_first_line_fits_with_a_long_name_and_degrees_fahrenheit(kind):
    """A name of any length gives way to the figures; of an update the mark alone may stand over."""
    for state, detail in itertools.product((EventState.ACTIVE, EventState.RETURNED), DETAILS.get(kind, ("",))):
        told = message(kind, state, detail=detail, name="x" * 64, because="first", units="us")
        assert len(told.headline) <= HEADLINE_MAX + len(UPDATE_MARK), told.headline
