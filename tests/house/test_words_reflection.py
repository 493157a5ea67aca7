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
from chamberwatch.words.say import NOTES, WORDINGS
from chamberwatch.words.view import AIR_KINDS, TOO

FACTS_ONLY = frozenset({Kind.MONITOR_GAP})
"""Kinds that are told once and never stand."""
WITH_FACT = frozenset({Kind.MONITOR_GAP, Kind.BROKER_LOST})
HEADLINE_MAX = 110
JARGON = re.compile(
    r"\b(alert|alarm|trigger\w*|threshold|sensor|anomal\w*|critical|warning|error|invalid|event|status|payload|"
    r"exception|timeout|offline|online|rest(?:ing|s)? period|resolved|incident)\b",
    re.IGNORECASE,
)
AT_MS = 1_795_305_600_000


def message(kind: Kind, state: EventState, note: Note = Note.EDGE, chamber: ChamberKind = ChamberKind.CURE_CHAMBER):
    """Word one event in an ordinary scene."""
    value, limit = {Kind.TEMPERATURE_HIGH: (16.4, 15.0), Kind.TEMPERATURE_LOW: (8.0, 10.0)}.get(kind, (50.0, 40.0))
    event = Event(
        "e", AT_MS, AT_MS - 5_000_000, kind, state, Priority.MEDIUM, "cellar", ("front", "rear"),
        value, limit, note=note, worst=value,
    )  # fmt: skip
    plan = ChamberPlan("cellar", chamber, Band(10, 15, 60), Band(70, 80, 100))
    return say(event, Scene(plan, (Hanging("Loin 1", 50), Hanging("Neck 4", 2))))


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
    """Each of the four air kinds knows what to look at in a fridge, a salting fridge and a room."""
    assert set(CHECK) == set(itertools.product(AIR_KINDS, ChamberKind))


@pytest.mark.parametrize("chamber", ChamberKind)
@pytest.mark.parametrize("kind", sorted(set(Kind) - FACTS_ONLY))
def test_whatever_begins_says_what_to_check_and_whether_it_can_wait(kind, chamber):
    """A person woken or not finds both answers in every first message."""
    body = message(kind, EventState.ACTIVE, chamber=chamber).body
    assert "Check first: " in body
    assert "Wait till morning: " in body


@pytest.mark.parametrize(
    ("kind", "state", "note"),
    [(k, s, Note.EDGE) for k in Kind for s in (EventState.ACTIVE, EventState.RETURNED)]
    + [(k, EventState.NOTED, n) for k in Kind for n in Note],
)
def test_every_message_is_plain_and_fits_a_lock_screen(kind, state, note):
    """One line of at most 110 characters; no word of the machine room anywhere; one thought a line below."""
    told = message(kind, state, note)
    assert 10 < len(told.headline) <= HEADLINE_MAX
    assert "\n" not in told.headline
    assert not JARGON.search(told.text), JARGON.search(told.text)
    assert all(told.body.splitlines())
    assert "resting" not in told.text
