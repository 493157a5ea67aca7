"""The rehearsal itself: the real monitor, a folder of its own, a weekend spoken to it, and the verdict."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, TextIO

from chamberwatch.model import EventState
from chamberwatch.wire.timestamp import format_rfc3339
from simulator.chamber import tell
from simulator.monitor import Monitor
from simulator.probes import Line
from simulator.progress import progress
from simulator.speak import Ports, speak
from simulator.table import day_and_time
from simulator.verdict import Told, Verdict, events_of, judge

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from simulator.chamber import Word
    from simulator.pace import Pace
    from simulator.weekend import Piece, Weekend, WeighIn

JOURNAL = "chamberwatch.db"
SETTINGS = "rehearsal.toml"
STATE_WORDS = {EventState.ACTIVE: "alarm", EventState.RETURNED: "over", EventState.NOTED: "note"}


def rehearse(weekend: Weekend, folder: Path, pace: Pace, *, seed: int | None = None, bar: bool = True) -> int:
    """Live through a weekend with the real monitor; return 0 when it told what it should and nothing else.

    Everything is left in `folder`, which must hold no rehearsal yet. Raises MonitorFailed or NobodyListens
    when the monitor itself does not do its part, FileExistsError when the folder is taken.
    """
    config = folder / SETTINGS
    with config.open("x", encoding="utf-8") as out:
        out.write(settings(weekend, folder))
    print(f"{weekend.title}: {day_and_time(weekend.start_ms)} to {day_and_time(weekend.end_ms)}", flush=True)
    events = _live(weekend, config, pace, tell(weekend, seed), bar=bar)
    verdict = judge(weekend, events)
    report(events, verdict, sys.stdout)
    print(f"The journal is {folder / JOURNAL}")
    return 0 if verdict.good else 1


def settings(weekend: Weekend, folder: Path) -> str:
    """Return the monitor's settings for a weekend, its ports being the symlinks of `links`."""
    lines = [
        "# Made by the simulator for a rehearsal: time is taken from the readings.",
        'timezone = "UTC"',
        f'[journal]\npath = "{JOURNAL}"',
        '[rehearsal]\nclock = "readings"',
        f'[[chamber]]\nname = "{weekend.chamber}"\nkind = "cure-chamber"',
    ]
    for probe, link in links(weekend, folder).items():
        lines.append(f'[[probe]]\nname = "{probe}"\nchamber = "{weekend.chamber}"\nevery = {weekend.every_s}')
        lines.append(f'serial = {{ port = "{link}", baud = 115200, format = "senml" }}')
    return "\n".join(lines) + "\n"


def links(weekend: Weekend, folder: Path) -> dict[str, Path]:
    """Return where each probe's port appears."""
    return {probe.name: folder / f"port-{probe.name}" for probe in weekend.probes}


def _live(weekend: Weekend, config: Path, pace: Pace, words: Iterable[Word], *, bar: bool) -> list[Told]:
    errands = Errands(weekend)
    spoken = dict.fromkeys((p.name for p in weekend.probes), 0)
    with Monitor(config) as monitor:
        with Ports(links(weekend, config.parent), alive=monitor.alive) as ports:
            ports.wait_for_reader()
            with progress(weekend, bar=bar) as show:

                def before(at_ms: int) -> None:
                    show(at_ms)
                    for command in errands.due(at_ms):
                        monitor.command(*command)

                speak(_counted(words, spoken), ports, pace, before)
                before(weekend.end_ms)
            monitor.wait_until_taken(spoken)
        events = events_of(monitor.command("events", "--json"))
        monitor.stop()
    return events


def _counted(words: Iterable[Word], spoken: dict[str, int]) -> Iterator[Word]:
    for word in words:
        if isinstance(word, Line) and word.good:
            spoken[word.probe] += 1
        yield word


class Errands:
    """What the owner enters by hand, in the order of telling; each command is handed out once."""

    def __init__(self, weekend: Weekend) -> None:
        hangs = [(p.told_ms, _hang(p, weekend.chamber)) for p in weekend.pieces]
        weighs = [(w.told_ms, _weigh(w)) for w in weekend.weigh_ins]
        self._waiting = sorted([*hangs, *weighs], key=lambda errand: errand[0])

    def due(self, at_ms: int) -> Iterator[tuple[str, ...]]:
        """Yield the commands told at or before `at_ms`."""
        while self._waiting and self._waiting[0][0] <= at_ms:
            yield self._waiting.pop(0)[1]


def _hang(piece: Piece, chamber: str) -> tuple[str, ...]:
    facts = [word for key, value in piece.facts.items() for word in (f"--{key}", value)]
    return "hang", piece.name, "--chamber", chamber, *facts, "--at", format_rfc3339(piece.hung_ms)


def _weigh(weighed: WeighIn) -> tuple[str, ...]:
    return "weigh", weighed.piece, weighed.weight, "--at", format_rfc3339(weighed.at_ms)


def report(events: list[Told], verdict: Verdict, out: TextIO) -> None:
    """Write what was told, in order, and the verdict."""
    print(f"\nWhat you would have been told ({len(events)} messages):\n", file=out)
    for event in events:
        indent = "      " if event.because else ""
        first = event.text.splitlines()[0] if event.text else f"{event.kind} {event.state}"
        pieces = f"  [{', '.join(sorted(event.pieces))}]" if event.pieces else ""
        print(f"{day_and_time(event.at_ms)}  {STATE_WORDS[event.state]:5}  {indent}{first}{pieces}", file=out)
    print("\nWhat went wrong, and whether it was told:\n", file=out)
    for act, missed in verdict.told:
        span = f"{day_and_time(act.fault.from_ms)} to {day_and_time(act.fault.to_ms)}"
        print(f"  {'MISSED' if missed else 'told  '}  {span}  {act.why}", file=out)
        for text in missed:
            print(f"          {text}", file=out)
    for text in verdict.wrong:
        print(f"  WRONG   {text}", file=out)
    print(f"\n{verdict.closing_line()}", file=out)
