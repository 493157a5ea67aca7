"""One event in plain words: the table of who words what, and what every message shares."""

from __future__ import annotations

from typing import TYPE_CHECKING

from chamberwatch.model import Event, EventState, Kind, Note
from chamberwatch.words import air, notes, watching
from chamberwatch.words.scene import Message, Scene
from chamberwatch.words.view import AIR_KINDS, View, Wording

if TYPE_CHECKING:
    from collections.abc import Callable

REHEARSAL_MARK = "REHEARSAL: "

WORDINGS: dict[tuple[Kind, EventState | Note], Callable[[View], Wording]] = {
    **{(kind, EventState.ACTIVE): air.begins for kind in AIR_KINDS},
    **{(kind, EventState.RETURNED): air.ends for kind in AIR_KINDS},
    (Kind.PROBE_SILENT, EventState.ACTIVE): watching.silent,
    (Kind.PROBE_SILENT, EventState.RETURNED): watching.heard_again,
    (Kind.PROBE_IMPLAUSIBLE, EventState.ACTIVE): watching.nonsense,
    (Kind.PROBE_IMPLAUSIBLE, EventState.RETURNED): watching.sense_again,
    (Kind.MONITOR_GAP, Note.FACT): watching.was_away,
    (Kind.BROKER_LOST, EventState.ACTIVE): watching.broker_gone,
    (Kind.BROKER_LOST, EventState.RETURNED): watching.broker_back,
    (Kind.BROKER_LOST, Note.FACT): watching.broker_forgot,
}
"""What a kind says in its own words: by its edge or, between the edges, by its note."""

NOTES: dict[Note, Callable[[View], Wording]] = {
    Note.EDGE: notes.fact,
    Note.PROBE_JOINED: notes.joined,
    Note.PROBE_LEFT: notes.left,
    Note.RAISED: notes.raised,
    Note.STILL: notes.still,
    Note.ACKNOWLEDGED: notes.acknowledged,
    Note.FACT: notes.fact,
}
"""What all kinds say alike."""


def say(event: Event, scene: Scene) -> Message:
    """Return the message of one event: a lock-screen line and what to know, check and do.

    Never raises for an event of the model, whichever of its values is missing.
    """
    view = View(event, scene)
    key = event.note if event.state is EventState.NOTED else event.state
    wording = WORDINGS.get((event.kind, key)) or NOTES[event.note]
    headline, lines = wording(view)
    lines = [view.told_late, *lines]
    if event.because:
        lines.append("It follows from what I told you before: one cause, one thing to mend.")
    if scene.rehearsal:
        headline = REHEARSAL_MARK + headline
        lines.append("This is practice: the readings are made up, no meat is at risk.")
    return Message(headline, "\n".join(filter(None, lines)))
