"""What is said between the two ends of an alarm: another probe, worse, still so, somebody is on it."""

from __future__ import annotations

from chamberwatch.model import Kind
from chamberwatch.words import air, cautions, watching
from chamberwatch.words.view import AIR_KINDS, View, Wording, cut


def _figure(view: View) -> str:
    return f": {view.value}" if view.event.kind in AIR_KINDS and view.event.value is not None else ""


def _since(view: View) -> str:
    return f"It began {view.since}, {view.lasted} before."


def joined(view: View) -> Wording:
    """Word that another probe is in it too."""
    lines = [_since(view), view.hanging]
    if view.event.kind in AIR_KINDS:
        return f"{view.matter()}, now by {cut(view.probes)}{_figure(view)}.", lines
    return f"{view.matter('now')}.", lines


def left(view: View) -> Wording:
    """Word that a probe is out of it while others are still in."""
    if view.event.kind in AIR_KINDS:
        # The event's figure is of the probe that left; of the others it says nothing.
        headline = f"{view.matter()}: one probe is back as planned, {cut(view.probes)} not yet."
    else:
        headline = f"{view.matter('still')}; another one isn't any more."
    return headline, [_since(view), view.hanging]


def still(view: View) -> Wording:
    """Word the reminder that nothing has changed."""
    lines = [_since(view), view.hanging]
    if view.event.kind in AIR_KINDS:
        lines += [air.witnesses(view), air.wait(view)]
    if view.event.kind is Kind.TEMPERATURE_HIGH:
        lines += [cautions.WARM, cautions.DISCARD]
    return f"{view.matter('still')} after {view.lasted}{_figure(view)}.", lines


def acknowledged(view: View) -> Wording:
    """Word that somebody is on it."""
    who = f" ({view.scene.detail})" if view.scene.detail else ""
    return f"Somebody is on it{who}: {view.matter()}, since {view.since}.", [
        "I stop repeating it. While it stands I remind you once a day; I tell you when it is over.",
        view.hanging,
    ]


def fact(view: View) -> Wording:
    """Word a plain fact about a kind that has no wording of its own for it."""
    return f"{view.matter()}{_figure(view)}, noted at {view.at}.", [view.scene.detail, view.hanging]


def raised(view: View) -> Wording:
    """Word that it became urgent: past the urgent limit, or an hour without eyes."""
    match view.event.kind:
        case Kind.TEMPERATURE_HIGH | Kind.TEMPERATURE_LOW:
            return air.begins(view)
        case Kind.PROBE_SILENT | Kind.PROBE_IMPLAUSIBLE | Kind.BROKER_LOST:
            return watching.blind(view)
    return f"{view.matter()}, and it matters more now{_figure(view)}.", [_since(view), view.hanging]
