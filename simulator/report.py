"""The end of a rehearsal in plain words: what was told, in order, and whether it was right."""

from __future__ import annotations

from typing import TYPE_CHECKING, TextIO

from chamberwatch.model import EventState
from simulator.table import day_and_time

if TYPE_CHECKING:
    from collections.abc import Sequence

    from simulator.errands import Errand
    from simulator.verdict import Told, Verdict

STATE_WORDS = {EventState.ACTIVE: "alarm", EventState.RETURNED: "over", EventState.NOTED: "note"}
REHEARSAL_MARK = "REHEARSAL: "
"""What the monitor puts before each message of a rehearsal; here the heading says it once."""


def report(
    events: Sequence[Told], errands: Sequence[Errand], verdict: Verdict, out: TextIO, *, whole: bool = False
) -> None:
    """Write what was told and entered, in order, and the verdict; `whole`: each message entire."""
    print("\nREHEARSAL: what you would have been told, in order", file=out)
    print("(in brackets: the pieces that were hanging then, also those entered later)\n", file=out)
    rows = [(e.told_ms, _entered(e)) for e in errands] + [(e.at_ms, _told(e, whole=whole)) for e in events]
    for _, text in sorted(rows, key=lambda row: row[0]):
        print(text, file=out)
    if not events:
        print("Nothing: all the time the air was as planned, and every probe was heard.", file=out)
    if verdict.told:
        print("\nWhat went wrong, and whether it was told\n", file=out)
    for act, missed in verdict.told:
        span = f"{day_and_time(act.fault.from_ms)} to {day_and_time(act.fault.to_ms)}"
        print(f"  {'MISSED' if missed else 'told  '}  {span}  {act.why}", file=out)
        for text in missed:
            print(f"          {text}", file=out)
    for text in verdict.wrong:
        print(f"  WRONG   {text}", file=out)
    print(f"\n{verdict.closing_line()}", file=out)


def _entered(errand: Errand) -> str:
    return f"{day_and_time(errand.told_ms)}  you    {errand.words}"


def _told(event: Told, *, whole: bool) -> str:
    first, *more = event.text.removeprefix(REHEARSAL_MARK).splitlines() or [f"{event.kind} {event.state}"]
    indent = "    " if event.because else ""
    pieces = ""
    if event.state is EventState.ACTIVE and event.pieces:
        pieces = f"  [{', '.join(sorted(event.pieces))}]"
    head = f"{day_and_time(event.at_ms)}  {STATE_WORDS[event.state]:5}  {indent}{first}{pieces}"
    return "\n".join([head, *(f"{'':18}{indent}{line}" for line in more)]) if whole else head
