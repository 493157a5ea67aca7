"""One event in plain words: the table of who words what, and what every message shares."""

from __future__ import annotations

from typing import TYPE_CHECKING

from chamberwatch.model import Event, EventState, Kind, Note
from chamberwatch.words import air, board, chamber, notes, probes, trends, watching
from chamberwatch.words.kinds import AIR_KINDS, DRIFT_KINDS
from chamberwatch.words.scene import Message, Scene
from chamberwatch.words.view import View, Wording

if TYPE_CHECKING:
    from collections.abc import Callable

REHEARSAL_MARK = "REHEARSAL: "
UPDATE_MARK = "Update: "
"""Before what belongs to a cause that was told already."""

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
    **{(kind, EventState.ACTIVE): trends.drifts for kind in DRIFT_KINDS},
    **{(kind, EventState.RETURNED): trends.drift_ends for kind in DRIFT_KINDS},
    (Kind.HUMIDITY_SWING, EventState.ACTIVE): trends.swings,
    (Kind.HUMIDITY_SWING, EventState.RETURNED): trends.swing_ends,
    (Kind.CONDENSATION_RISK, EventState.ACTIVE): chamber.wets,
    (Kind.CONDENSATION_RISK, EventState.RETURNED): chamber.dries,
    (Kind.COOLING_LOST, EventState.ACTIVE): chamber.not_cooling,
    (Kind.COOLING_LOST, EventState.RETURNED): chamber.cools_again,
    (Kind.DOOR_OPEN, EventState.ACTIVE): chamber.door_stands,
    (Kind.DOOR_OPEN, EventState.RETURNED): chamber.door_shut,
    (Kind.PROBE_STUCK, EventState.ACTIVE): probes.sticks,
    (Kind.PROBE_STUCK, EventState.RETURNED): probes.moves_again,
    (Kind.PROBES_DISAGREE, EventState.ACTIVE): probes.apart,
    (Kind.PROBES_DISAGREE, EventState.RETURNED): probes.together,
    (Kind.CLOCK_STEP, Note.FACT): board.clock_set,
    (Kind.DISK_LOW, EventState.ACTIVE): board.disk_fills,
    (Kind.DISK_LOW, EventState.RETURNED): board.disk_has_room,
    (Kind.CHANNEL_FAILING, EventState.ACTIVE): board.channel_fails,
    (Kind.CHANNEL_FAILING, EventState.RETURNED): board.channel_works,
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
    Note.SHELVED: notes.shelved,
    Note.UNSHELVED: notes.unshelved,
    Note.RESTS: notes.rests,
    Note.WORKS: notes.works,
}
"""What all kinds say alike."""


def say(event: Event, scene: Scene) -> Message:
    """Return the message of one event: a lock-screen line and what to know, check and do.

    Never raises for an event of the model, whichever of its values is missing.
    """
    view = View(event, scene)
    between = event.state is EventState.NOTED or event.note is Note.RESTS
    key = event.note if between else event.state
    wording = WORDINGS.get((event.kind, key)) or NOTES[event.note]
    headline, lines = wording(view)
    mark, update = _update(event)
    headline, lines = mark + headline, [view.told_late, update, *lines]
    if scene.rehearsal:
        headline = REHEARSAL_MARK + headline
        lines.append("This is practice: the readings are made up, no meat is at risk.")
    return Message(headline, "\n".join(filter(None, lines)))


def _update(event: Event) -> tuple[str, str]:
    """Return the mark and the line of what belongs to a cause told before; its first message leads."""
    if not event.because:
        return "", ""
    if event.state is EventState.RETURNED:
        return UPDATE_MARK, "It belonged to what I told you before."
    mark = UPDATE_MARK if event.state is EventState.ACTIVE or event.note is Note.RAISED else ""
    return mark, "It belongs to what I told you before: one cause, one thing to mend."
