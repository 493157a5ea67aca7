"""A writer killed at any moment: what it said was committed is there, whole, and nothing is there twice."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from typing import TYPE_CHECKING

from chamberwatch.journal.integrity import quick_check, unclean
from chamberwatch.journal.outbox import Outbox
from chamberwatch.journal.reader import Reader
from chamberwatch.journal.store import Journal

if TYPE_CHECKING:
    from pathlib import Path

KILLS = 10
T0 = 1_793_404_800_000

# Each batch holds one reading, its event and its notice, all of one number, and repeats the reading before it
# as a broker does that was not answered; the number is printed only after the commit.
WRITER = f"""
import itertools, pathlib, sys
from chamberwatch.journal.store import Batch, Journal, Notice
from chamberwatch.model import Event, EventState, Kind, Priority, Reading
journal = Journal.open(pathlib.Path(sys.argv[1]))
journal.begin_watch()
newest = journal.newest_ms().get("rear")
for n in itertools.count(0 if newest is None else (newest - {T0}) // 10_000 + 1):
    at = {T0} + n * 10_000
    readings = [Reading("rear", at - 10_000, 12.0, 70.0, at), Reading("rear", at, 12.0, 70.0, at)]
    event = Event(str(n), at, at, Kind.TEMPERATURE_HIGH, EventState.NOTED, Priority.LOW, "cellar", ("rear",))
    notice = Notice("mail", str(n), at, "headline", "body", "low")
    journal.commit(Batch(readings[n == 0:], events=[(event, "text")], notices=[notice], alive_ms=at))
    print(n, flush=True)
"""


def write_until_killed(path: Path, chance: random.Random) -> int:
    """Run a writer, kill it at some moment after its first commit; return the last number it printed."""
    command = [sys.executable, "-c", WRITER, str(path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        first = writer.stdout.readline()
        time.sleep(chance.uniform(0.0, 0.15))
        writer.send_signal(signal.SIGKILL)
        # The last line may be cut short by the kill; it then proves nothing.
        lines = [first, *writer.stdout.readlines()]
    return int([line for line in lines if line.endswith("\n")][-1])


def test_nothing_that_was_committed_is_lost_to_a_kill(tmp_path: Path) -> None:
    """Ten kills: every printed number is stored once, with its event and its notice, and the file is whole."""
    path = tmp_path / "cellar.db"
    chance = random.Random(20261031)
    for _ in range(KILLS):
        printed = write_until_killed(path, chance)
        assert unclean(path) is True
        assert quick_check(path) == []
        with Reader(path) as reader:
            numbers = [(r.at_ms - T0) // 10_000 for r in reader.readings(0, T0 * 2)]
            events = [int(line["id"]) for line in reader.events()]
            (rear,) = reader.probes()
        assert numbers == list(range(len(numbers)))
        assert numbers[-1] >= printed
        assert events == numbers
        assert (rear.readings, rear.repeated) == (len(numbers), len(numbers) - 1)
        outbox = Outbox(path)
        assert [int(n.event_id) for n in outbox.due("mail", T0 * 2, len(numbers) + 1)] == numbers
        outbox.close()


def test_a_killed_journal_goes_on(tmp_path: Path) -> None:
    """After kills the next watch opens it, is told of the unclean end, and a clean close clears that."""
    path = tmp_path / "cellar.db"
    chance = random.Random(7)
    for _ in range(3):
        write_until_killed(path, chance)
    journal = Journal.open(path)
    assert journal.begin_watch() is True
    journal.close()
    assert unclean(path) is False
