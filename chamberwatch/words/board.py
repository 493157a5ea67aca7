"""The monitor watching itself: clock-step, disk-low, channel-failing. They concern no chamber."""

from __future__ import annotations

from chamberwatch.model import MS_PER_S
from chamberwatch.words.units import show_span
from chamberwatch.words.view import View, Wording, cut
from chamberwatch.words.watching import CAN_WAIT, WHY_SHOWN

FULL_PCT = 3.0
"""Below this much free the night may not be long enough."""


# -- clock-step -------------------------------------------------------------------------------------------


def clock_set(view: View) -> Wording:
    """Word `clock-step`: which way, how far, and what that does to the record."""
    step_s = view.event.value
    if not step_s:
        headline = f"The board's clock was set anew; it shows {view.at} now."
    else:
        way, far = "forward" if step_s > 0 else "back", show_span(abs(step_s) * MS_PER_S)
        headline = f"The board's clock was set {way} by {far}; it shows {view.at} now."
    return headline, [
        "Hours told and recorded shortly before may be off by that much.",
        "Once after a start that is usual: the board has found the right time. If it comes again, look.",
        "Check first: the board's network and time service, the battery of its clock.",
        CAN_WAIT,
    ]


# -- disk-low ---------------------------------------------------------------------------------------------


def disk_fills(view: View) -> Wording:
    """Word `disk-low` as it begins."""
    return f"The board's disk is nearly full{_free(view)}, since {view.since}.", [
        "Nothing is lost yet. Once it is full I can record nothing more, and nobody knows then what was.",
        *disk_reminder(view),
    ]


def _free(view: View) -> str:
    value, limit = view.event.value, view.event.limit
    if value is None:
        return ""
    wanted = "" if limit is None else f" (I want {limit:.4g} %)"
    return f": {view.figure(value, beside=limit)} free{wanted}"


def disk_reminder(view: View) -> list[str]:
    """Return what to check, and whether it can wait."""
    value = view.event.value
    wait = CAN_WAIT
    if value is not None and value < FULL_PCT:
        wait = "Wait till morning: better not, a night of readings may not fit any more."
    return [
        "Check first: old backups kept on the same disk, other programs' logs and downloads.",
        "Leave the journal and the files beside it alone: they are the record.",
        wait,
    ]


def disk_has_room(view: View) -> Wording:
    """Word the end of `disk-low`."""
    return f"The board's disk has room again{_free(view)}, after {view.lasted}.", [
        f"It had been short since {view.since}.",
        "Keep backups on another disk than the journal's: then one fault doesn't take both.",
    ]


# -- channel-failing --------------------------------------------------------------------------------------


def _why(view: View) -> str:
    """Return the reason, on one line; '' if the event doesn't tell."""
    return " ".join(view.event.detail.split())


def channel_fails(view: View) -> Wording:
    """Word `channel-failing` as it begins: which, since when, why."""
    why = _why(view)
    short = f": {why}." if len(why) <= WHY_SHOWN else f": {why[: WHY_SHOWN - 1].rstrip()}…"
    return f"Messages {_by(view)}don't get through since {view.since}{short if why else '.'}", [
        f"It says: {why}." if len(why) > WHY_SHOWN else "",
        "What I owe you there waits and goes out as soon as it works; other channels go on.",
        "If this is the only one, look at `chamberwatch now` from time to time.",
        *channel_reminder(view),
    ]


def _by(view: View) -> str:
    return f"by {cut(view.probes)} " if view.event.probes else ""


def channel_reminder(view: View) -> list[str]:
    """Return what to check, and whether it can wait."""
    address = f"address and password of {view.probes}" if view.event.probes else "its address and password"
    return [
        f"Check first: the board's network, {address}; then `chamberwatch check --send-test`.",
        "Wait till morning: yes, if I can reach you another way; else nothing wakes you for a warm chamber.",
    ]


def channel_works(view: View) -> Wording:
    """Word the end of `channel-failing`."""
    return f"Messages {_by(view)}get through again, after {view.lasted}.", [
        f"They had not since {view.since}. What waited comes now, oldest first; mind its hours.",
    ]
