"""The rehearsal itself: the real monitor, a folder of its own, a weekend spoken to it, and the verdict."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from simulator.chamber import tell
from simulator.errands import Errand, Errands
from simulator.monitor import Monitor
from simulator.probes import Line
from simulator.progress import progress
from simulator.report import report
from simulator.speak import Ports, speak
from simulator.table import day_and_time
from simulator.verdict import Told, events_of, judge

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from simulator.chamber import Word
    from simulator.pace import Pace
    from simulator.weekend import Weekend

JOURNAL = "chamberwatch.db"
SETTINGS = "rehearsal.toml"


def rehearse(
    weekend: Weekend, folder: Path, pace: Pace, *, seed: int, bar: bool = True, whole: bool = False
) -> int:
    """Live through a weekend with the real monitor; return 0 when it told what it should and nothing else.

    Everything is left in `folder`, which must hold no rehearsal yet. `bar`: draw one, on a terminal; `whole`:
    print each message entire. Raises MonitorFailed or NobodyListens when the monitor does not do its part,
    FileExistsError when the folder is taken.
    """
    config = _settle(weekend, folder)
    span = f"{day_and_time(weekend.start_ms)} to {day_and_time(weekend.end_ms)}"
    print(f"{weekend.title}: {span}, seed {seed}")
    print(f"All of it is kept in {folder}", flush=True)
    events, errands = _live(weekend, config, pace, seed, bar=bar)
    verdict = judge(weekend, events)
    report(events, errands, verdict, sys.stdout, whole=whole)
    print(f"The journal is {folder / JOURNAL}")
    return 0 if verdict.good else 1


def _settle(weekend: Weekend, folder: Path) -> Path:
    config = folder / SETTINGS
    try:
        with config.open("x", encoding="utf-8") as out:
            out.write(settings(weekend, folder))
    except FileExistsError:
        raise FileExistsError(f"{folder} already holds a rehearsal: give another folder") from None
    return config


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


def _live(
    weekend: Weekend, config: Path, pace: Pace, seed: int, *, bar: bool
) -> tuple[list[Told], list[Errand]]:
    errands, done = Errands(weekend), []
    spoken = dict.fromkeys((p.name for p in weekend.probes), 0)
    with Monitor(config) as monitor:
        with Ports(links(weekend, config.parent), alive=monitor.alive) as ports:
            ports.wait_for_reader()
            with progress(weekend, bar=bar) as show:

                def before(at_ms: int) -> None:
                    show(at_ms)
                    for errand in errands.due(at_ms):
                        monitor.command(*errand.command)
                        done.append(errand)

                speak(_counted(weekend, seed, spoken), ports, pace, before)
                before(weekend.end_ms)
            monitor.stop()
        monitor.check_taken(spoken)
        return events_of(monitor.command("events", "--json")), done


def _counted(weekend: Weekend, seed: int, spoken: dict[str, int]) -> Iterator[Word]:
    for word in tell(weekend, seed):
        if isinstance(word, Line) and word.good:
            spoken[word.probe] += 1
        yield word
