"""A probe that speaks and yet can't be believed: probe-stuck, probes-disagree.

That saturated table salt holds 75.3 to 75.7 %RH between 0 and 25 °C is Greenspan 1977 (J. Res. NBS 81A,
89-96; coefficients read in secondary sources).
"""

from __future__ import annotations

from chamberwatch.words.view import View, Wording, cut
from chamberwatch.words.watching import CAN_WAIT, wait_unseen

FULL_PCT = 99.5
"""From here on an element is full of water."""
SALT_JAR = (
    "For humidity a salt jar: table salt just damp in a closed jar, the probe above it, a day at one "
    "temperature; it should read 75 to 76 %."
)


def _is_temperature(view: View) -> bool:
    return view.event.detail == "temperature"


def _half(view: View) -> str:
    """Return which half it is about; what the event doesn't tell is told of both."""
    return view.event.detail if view.event.detail in {"temperature", "humidity"} else "air"


# -- probe-stuck ------------------------------------------------------------------------------------------


def sticks(view: View) -> Wording:
    """Word `probe-stuck` as it begins."""
    value = "" if view.event.value is None else f" at {view.value}"
    return f"{cut(view.probes)} in {view.chamber} stuck: {_half(view)}{value} since {view.since}.", [
        _why_stuck(view),
        _believe(view),
        view.hanging,
        *stuck_reminder(view),
    ]


def _why_stuck(view: View) -> str:
    value = view.event.value
    if value is not None and not view.in_degrees and value >= FULL_PCT:
        return "It reads full: most likely water or salt in the element. Air that damp would wet everything."
    return "Something else there moved and this did not, not by its last digit: it is the probe, not the air."


def _believe(view: View) -> str:
    if view.other:
        return f"Believe {view.scene.other_probe} for now: it reads {view.other}."
    return f"No other probe works there, so I don't know the {_half(view)}. The meat may be fine."


def stuck_reminder(view: View) -> list[str]:
    """Return what to check, and whether it can wait."""
    check = "its supply off and on again, damp in it (dry it in moving air), contacts; then another probe"
    if view.other:
        wait = CAN_WAIT
    elif _is_temperature(view):
        wait = wait_unseen(view)
    else:
        wait = "Wait till morning: yes. Then read a plain hygrometer there."
    return [f"Check first: {check}.", wait]


def moves_again(view: View) -> Wording:
    """Word the end of `probe-stuck`."""
    now = f" It reads {view.last}." if view.last else ""
    return f"{cut(view.probes)} in {view.chamber} moves again, after {view.lasted}.{now}", [
        f"Its {_half(view)} stood still since {view.since}; that stretch tells nothing of the meat's air.",
        view.hanging,
        f"Before believing it, hold a plain instrument beside {view.probes} once.",
    ]


# -- probes-disagree --------------------------------------------------------------------------------------


def apart(view: View) -> Wording:
    """Word `probes-disagree` as it begins: who left its own past, which way, by how much."""
    others = cut(view.scene.other_probe) if view.scene.other_probe else "the others"
    name = f"{cut(view.probes)} in {view.chamber}"
    now = f"Now {view.probes} reads {view.last}, {others} {view.other}." if view.other and view.last else ""
    return f"{name} left its own past: {_half(view)} off{_by_how_much(view)} since {view.since}.", [
        f"That is by whole hours' means, beside {others}; it is {view.probes} that moved from its past.",
        now,
        view.hanging,
        "This is about the probe; the meat may be fine.",
        "Too warm I still tell at once; what it alone calls too cold, dry or damp waits for a second voice.",
        *apart_reminder(view),
    ]


def _by_how_much(view: View) -> str:
    value = view.event.value
    if value is None:
        return ""
    return f" by {'+' if value > 0 else '-'}{view.gap(value)}"


def apart_reminder(view: View) -> list[str]:
    """Return how to find out who is right, and that it can wait."""
    where = "whether it was moved, hangs at the coil, a wall or a wet piece, drips or is crusted with salt"
    plain = "Then hold a plain instrument beside each for half an hour: that one decides."
    return [
        f"Check first: {where}. {plain}",
        *(() if _is_temperature(view) else (SALT_JAR,)),
        CAN_WAIT,
    ]


def together(view: View) -> Wording:
    """Word the end of `probes-disagree`."""
    return f"{cut(view.probes)} in {view.chamber} agrees with its past again, after {view.lasted}.", [
        f"Its {_half(view)} was off since {view.since}.",
        view.hanging,
        f"If nobody did anything to it, hold a plain instrument beside {view.probes} once all the same.",
    ]
