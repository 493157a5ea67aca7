"""What is said between the two ends of an alarm: another probe, worse, still so, somebody is on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from chamberwatch.model import EventState, Kind
from chamberwatch.words import air, board, chamber, probes, trends, watching
from chamberwatch.words.kinds import AIR_KINDS, CLIMATE_KINDS, DRIFT_KINDS, FIGURE_KINDS
from chamberwatch.words.view import View, Wording, cut

if TYPE_CHECKING:
    from collections.abc import Callable

REMINDERS: dict[Kind, Callable[[View], list[str]]] = {
    **dict.fromkeys(AIR_KINDS, air.reminder),
    **dict.fromkeys(DRIFT_KINDS, trends.drift_reminder),
    Kind.HUMIDITY_SWING: trends.swing_reminder,
    Kind.CONDENSATION_RISK: chamber.wet_reminder,
    Kind.COOLING_LOST: chamber.cooling_reminder,
    Kind.DOOR_OPEN: chamber.door_reminder,
    Kind.PROBE_STUCK: probes.stuck_reminder,
    Kind.PROBES_DISAGREE: probes.apart_reminder,
    Kind.DISK_LOW: board.disk_reminder,
    Kind.CHANNEL_FAILING: board.channel_reminder,
}
"""What is said again with whatever still stands after a day."""


def _figure(view: View) -> str:
    return f": {view.value}" if view.event.kind in FIGURE_KINDS and view.event.value is not None else ""


def _since(view: View) -> str:
    return f"It began {view.since}, {view.lasted} before."


def _newest(view: View) -> str:
    """Return what is measured by now: the figure of a standing alarm is that of its beginning."""
    at_ms = view.scene.last_at_ms
    if view.event.kind not in CLIMATE_KINDS or not view.last or at_ms is None or not view.event.probes:
        return ""
    return f"Newest reading: {view.last}, by {view.event.probes[0]} at {view.moment(at_ms)}."


def _reminder(view: View) -> list[str]:
    remind = REMINDERS.get(view.event.kind)
    return [] if remind is None else remind(view)


def joined(view: View) -> Wording:
    """Word that another probe is in it too."""
    lines = [_since(view), view.hanging]
    if view.event.kind in CLIMATE_KINDS:
        return f"{view.matter()}, now by {cut(view.probes)}{_figure(view)}.", lines
    return f"{view.matter('now', opens=True)}.", lines


def left(view: View) -> Wording:
    """Word that a probe is out of it while others are still in."""
    if view.event.kind in AIR_KINDS:
        # The event's figure is of the probe that left; of the others it says nothing.
        headline = f"{view.matter()}: one probe is back as planned, {cut(view.probes)} not yet."
    elif view.event.kind in CLIMATE_KINDS:
        headline = f"{view.matter()}: one probe says it is over, {cut(view.probes)} not yet."
    elif view.of_the_house:
        headline = f"{view.matter('still', opens=True)}; another way works again."
    else:
        headline = f"{view.matter('still', opens=True)}; another one isn't any more."
    return headline, [_since(view), view.hanging]


def still(view: View) -> Wording:
    """Word the reminder that nothing has changed."""
    lines = [_since(view), _newest(view), view.hanging]
    if view.event.kind in AIR_KINDS:
        lines.append(air.witnesses(view))
    lines += _reminder(view)
    return f"{view.matter('still', opens=True)} after {view.lasted}{_furthest(view)}.", lines


def _furthest(view: View) -> str:
    worst = view.event.worst if view.event.kind in AIR_KINDS else None
    return "" if worst is None else f"; the furthest was {view.figure(worst, beside=view.event.limit)}"


def acknowledged(view: View) -> Wording:
    """Word that somebody is on it."""
    who = f" ({view.scene.detail})" if view.scene.detail else ""
    return f"Somebody is on it{who}: {view.matter()}, since {view.since}.", [
        "I stop repeating it. While it stands I remind you once a day; I tell you when it is over.",
        view.hanging,
    ]


def _asked(view: View) -> str:
    return f" ({view.event.detail})" if view.event.detail else ""


def _until(view: View) -> str:
    return "" if view.event.meets_ms is None else f" until {view.ahead(view.event.meets_ms)}"


def shelved(view: View) -> Wording:
    """Word that somebody wants quiet about it for a time."""
    what = "this" if view.of_the_house else f"{view.chamber} {view.too}"
    return f"Quiet{_until(view)} about {what}{_asked(view)}.", [
        "It is watched and recorded all the same.",
        "If it becomes urgent I tell you at once; if it still stands after the quiet, I tell you then.",
        view.hanging,
    ]


def unshelved(view: View) -> Wording:
    """Word that the quiet is over, and whether it still stands."""
    if view.event.quiet:
        return f"The quiet about {view.chamber} {view.too} is over; it does not stand now.", [view.hanging]
    return f"{view.matter('still', opens=True)}; the quiet is over.", [
        _since(view),
        _newest(view),
        view.hanging,
        *_reminder(view),
    ]


def rests(view: View) -> Wording:
    """Word that a probe is out of service, and what that does to whatever stood by it."""
    if view.event.state is EventState.RETURNED:
        return f"{view.matter(opens=True)}: left open, as the probe now rests.", [
            _since(view),
            "Whether it is over I can't say: no other probe there told of it.",
            view.hanging,
        ]
    return f"{_which(view)} rests{_until(view)}{_asked(view)}.", [
        "What it says is kept and judged by nothing, and I don't tell you if it falls silent.",
        "When that is over it counts again by itself.",
        view.hanging,
    ]


def works(view: View) -> Wording:
    """Word that a probe counts again."""
    return f"{_which(view)} counts again since {view.at}.", [view.hanging]


def _which(view: View) -> str:
    return cut(view.probes) if view.of_the_house else f"{cut(view.probes)} in {view.chamber}"


def fact(view: View) -> Wording:
    """Word a plain fact about a kind that has no wording of its own for it."""
    return f"{view.matter(opens=True)}{_figure(view)}, noted at {view.at}.", [_since(view), view.hanging]


def raised(view: View) -> Wording:
    """Word that it matters more: past the urgent limit, beyond a probe's accuracy, an hour without eyes."""
    match view.event.kind:
        case Kind.TEMPERATURE_HIGH | Kind.TEMPERATURE_LOW | Kind.HUMIDITY_HIGH | Kind.HUMIDITY_LOW:
            return air.begins(view)
        case Kind.COOLING_LOST:
            return chamber.not_cooling(view)
        case Kind.DOOR_OPEN:
            return chamber.door_stands(view)
        case Kind.PROBE_SILENT | Kind.PROBE_IMPLAUSIBLE | Kind.BROKER_LOST:
            return watching.blind(view)
    return f"{view.matter(opens=True)}, and it matters more now{_figure(view)}.", [
        _since(view),
        view.hanging,
        *_reminder(view),
    ]
