"""What the monitor cannot see: a silent or nonsensical probe, its own absence, a lost broker."""

from __future__ import annotations

from chamberwatch.model import MS_PER_H
from chamberwatch.words import cautions
from chamberwatch.words.view import View, Wording, cut

LONG_GAP_MS = 1 * MS_PER_H
"""From here on a power cut may have warmed the chamber noticeably (common practice, no source)."""
WHY_SHOWN = 44
"""Characters of a reason on the lock screen."""
CAN_WAIT = "Wait till morning: yes."


def _last_seen(view: View) -> str:
    """Return "last reading 13.1 °C, 76 % at 02:12", as far as known."""
    if not view.last or view.scene.last_at_ms is None:
        return f"nothing since {view.since}"
    return f"last reading {view.last} at {view.moment(view.scene.last_at_ms)}"


def unknown_hours(view: View) -> str:
    """Return what the record will say of this time."""
    names = ", ".join(piece.name for piece in view.scene.pieces)
    return f"These hours stand as unknown in the record of {names or 'this chamber'}."


def wait_unseen(view: View) -> str:
    """Return whether a chamber nobody sees can wait."""
    if view.has_young:
        return "Wait till morning: better not, a young piece hangs there. Read a plain thermometer."
    return "Wait till morning: yes, if the power is on. Then read a plain thermometer."


# -- probe-silent -----------------------------------------------------------------------------------------


def silent(view: View) -> Wording:
    """Word `probe-silent` as it begins: blind, or seeing with the other eye."""
    check = f"Check first: plug and cable of {view.probes}, its supply or battery, its radio."
    if not view.other:
        return f"I can't see {view.chamber}: {_last_seen(view)}.", [
            f"{view.probes} has gone silent and no other probe works there.",
            "The meat may be fine, I don't know.",
            view.hanging,
            check,
            wait_unseen(view),
            unknown_hours(view),
        ]
    other = cut(view.scene.other_probe or "")
    return f"{cut(view.probes)} has gone silent; {other} still sees {view.chamber}: {view.other}.", [
        f"From {view.probes}: {_last_seen(view)}.",
        view.hanging,
        f"Until it speaks again I judge the air by {other}.",
        check,
        CAN_WAIT,
    ]


def heard_again(view: View) -> Wording:
    """Word the end of `probe-silent`."""
    now = f": {view.last}" if view.last else ""
    headline = f"I hear {cut(view.probes)} in {view.chamber} again{now}, after {view.lasted} of silence."
    lines = [f"Silent since {view.since}.", view.hanging]
    if view.other:
        return headline, [*lines, f"{view.scene.other_probe} kept watch meanwhile."]
    return headline, [*lines, unknown_hours(view), "If the power was off too, look the pieces over."]


# -- probe-implausible ------------------------------------------------------------------------------------


def nonsense(view: View) -> Wording:
    """Word `probe-implausible` as it begins."""
    reasons = _reasons(view.scene.refusals)
    why = next(iter(reasons), "jumps no air can make")[:WHY_SHOWN]
    listed = "; ".join(" ".join(filter(None, reason)) for reason in reasons.items())
    refused = f"Refused most: {listed}." if reasons else ""
    other = f"{view.scene.other_probe} reads {view.other}." if view.other else "No other probe works there."
    return f"{cut(view.probes)} in {view.chamber} sends nonsense since {view.since}: {why}.", [
        refused,
        f"I refuse what can't be true. {other} This is about the probe; the meat may be fine.",
        view.hanging,
        f"Check first: connector and cable of {view.probes}, damp in it, its supply, its unit and format.",
        CAN_WAIT if view.other else wait_unseen(view),
    ]


def _reasons(refusals: tuple[str, ...]) -> dict[str, str]:
    """Return each reason once, with the detail of its commonest case in brackets."""
    found: dict[str, str] = {}
    for refusal in refusals:
        reason, _, detail = refusal.partition(": ")
        found.setdefault(reason, f"({detail})" if detail else "")
    return found


def sense_again(view: View) -> Wording:
    """Word the end of `probe-implausible`."""
    now = f" It reads {view.last}." if view.last else ""
    return f"{cut(view.probes)} in {view.chamber} makes sense again, after {view.lasted}.{now}", [
        f"Before believing it, hold a plain thermometer beside {view.probes} once.",
        view.hanging,
    ]


# -- monitor-gap ------------------------------------------------------------------------------------------


def was_away(view: View) -> Wording:
    """Word `monitor-gap`: what is unknown, and for which pieces."""
    headline = f"I was off from {view.since} to {view.at} ({view.lasted}): {view.chamber} unknown meanwhile."
    before = f"Before it: {view.last}." if view.last else ""
    lines = [before, view.hanging, unknown_hours(view)]
    if view.event.at_ms - view.event.since_ms < LONG_GAP_MS:
        return headline, [*lines, "So short a gap matters little. Check first: the board's plug and supply."]
    return headline, [
        *lines,
        "Check first: was the power off in the house? Then the cooling was too: look the pieces over today.",
        cautions.WARM,
        cautions.DISCARD,
    ]


# -- broker-lost ------------------------------------------------------------------------------------------


def broker_gone(view: View) -> Wording:
    """Word `broker-lost` as it begins."""
    other = f"{view.scene.other_probe} reads {view.other}." if view.other else "No other probe works there."
    return f"No broker since {view.since}: I don't hear {cut(view.probes)} in {view.chamber}.", [
        f"{view.probes} may be measuring all the same, and a broker that still runs keeps it for me. {other}",
        view.hanging,
        "Check first: the broker's machine, the network, the password.",
        CAN_WAIT if view.other else wait_unseen(view),
    ]


def broker_back(view: View) -> Wording:
    """Word the end of `broker-lost`."""
    return f"The broker answers again after {view.lasted}; what it kept of {view.chamber} comes in now.", [
        "I judge it in the order it was measured, and tell late what I learn late.",
        view.hanging,
    ]


def broker_forgot(view: View) -> Wording:
    """Word the fact that the broker kept nothing for us."""
    return f"The broker forgot what it held for me: {view.chamber} may have a hole since {view.since}.", [
        f"What {view.probes} sent in those {view.lasted} may be lost.",
        view.hanging,
        "Check first: that the broker keeps its queues on disk; the sample in config/ shows how.",
        CAN_WAIT,
    ]


# -- an hour without eyes ---------------------------------------------------------------------------------


def blind(view: View) -> Wording:
    """Word that no probe of the chamber has given a good reading for long."""
    return f"NOBODY SEES {view.chamber.upper()}: no good reading for {view.lasted}, {_last_seen(view)}.", [
        "The meat may be fine, I don't know. Look at a plain thermometer there.",
        view.hanging,
        wait_unseen(view),
        unknown_hours(view),
    ]
