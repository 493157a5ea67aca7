"""What four probes at 10 s cost: bytes written to disk a day, and processor time.

A whole day goes through pipeline and journal in a process of its own with a commit every BATCH_S of the day, as the
watch makes them; the kernel counts the bytes (whole pages at each sync; the file system's own journal not counted).
SQLite's index of its write-ahead log (-shm) is never synced but lies in the page cache, which Linux writes back after
30 to 35 s; in a day's rush it would not, so it is synced when it has been dirty for so long of the day's time.
Floor: the same rows into one plain table with the same commits. Beside it the real daemon on four pseudo-terminals at
the wall clock's pace for some minutes: its processor time, and its bytes as a check on the day.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path

import pipeline
from bench_parts import Figure, Watch, now_ms, over_serial, pack, write_settings
from ingest_parts import PluggedProbe

from chamberwatch.daemon.clock import ReadingsClock
from chamberwatch.daemon.loop import BATCH_S
from chamberwatch.daemon.pipeline import Pipeline
from chamberwatch.daemon.replay import packets
from chamberwatch.daemon.teller import Teller
from chamberwatch.journal.store import Journal

PROBES = pipeline.PROBES
EVERY_S = pipeline.EVERY_MS / 1000
DAY_S = 86_400
HOURS, HOURS_SHORT = 24.0, 0.1
SECONDS, SECONDS_SHORT = 300.0, 1.0
WRITE_BACK_MS = 32_000
COMMIT_MS = round(BATCH_S * 1000)
MOST_MB, MOST_CPU_PCT = 60, 1


class WriteBack:
    """Linux's write-back, on the day's time: call it before each commit."""

    def __init__(self, journal: Path, commit_ms: int) -> None:
        self._index = journal.with_name(f"{journal.name}-shm")
        self._commit_ms = commit_ms
        self._dirty_ms = 0

    def __call__(self) -> None:
        """Write the index back if it has been dirty for long enough."""
        self._dirty_ms += self._commit_ms
        if self._dirty_ms >= WRITE_BACK_MS:
            self._dirty_ms = 0
            handle = os.open(self._index, os.O_RDWR)
            os.fsync(handle)
            os.close(handle)


def day(folder: Path, lines: Path) -> None:
    """Put the lines through, with the watch's commits."""
    house = pipeline.settings(folder)
    journal = Journal.open(house.journal_path)
    journal.remember_plan(house.plan, "metric")
    clock = ReadingsClock()
    teller = Teller(house.plan, journal.hanging, (), house.zone, "metric")
    line = Pipeline(journal, house.plan, teller, clock, alive=True)
    write_back = WriteBack(house.journal_path, COMMIT_MS)
    committed_ms = 0
    for packet in packets(lines, clock):
        line.packet(packet)
        if clock.now_ms() - committed_ms >= COMMIT_MS:
            committed_ms = clock.now_ms()
            write_back()
            assert line.commit()
    line.commit(snapshot=True)
    journal.close()


def plain(folder: Path, lines: Path) -> None:
    """Insert the same rows, as many a commit, into one plain table."""
    path = folder / "plain.db"
    pipeline.floor(lines, path, COMMIT_MS // pipeline.EVERY_MS * len(PROBES), WriteBack(path, COMMIT_MS))


def _written_mb(what: str, folder: Path, lines: Path) -> float:
    """Do it in a process of its own; return what the kernel counted [MB]."""
    argv = [sys.executable, str(Path(__file__)), what, str(folder), str(lines)]
    done = subprocess.run(argv, capture_output=True, text=True, check=True)
    return int(done.stdout) / 1e6


def real(folder: Path, seconds: float) -> tuple[float, float]:
    """Run the daemon for so long at the wall clock's pace; return MB written and processor time [s] over it."""
    with ExitStack() as parts:
        probes = {name: PluggedProbe(folder / "ports", name) for name in PROBES}
        for probe in probes.values():
            parts.callback(probe.close)
        config = write_settings(folder / "real", over_serial({n: p.path for n, p in probes.items()}))
        watch = Watch(config).start()
        parts.callback(watch.kill)
        time.sleep(1.0)
        began_s, written, cpu_s = time.monotonic(), watch.written_bytes(), watch.cpu_s()
        tick = 0
        while tick * EVERY_S < seconds:
            time.sleep(max(0.0, began_s + tick * EVERY_S - time.monotonic()))
            for name, probe in probes.items():
                probe.say(pack(name, now_ms(), 12.5 + tick % 5 / 10, 75.0 - tick % 7 / 10) + b"\n")
            tick += 1
        time.sleep(max(0.0, began_s + seconds - time.monotonic()))
        return (watch.written_bytes() - written) / 1e6, watch.cpu_s() - cpu_s


def run(*, short: bool = False) -> list[Figure]:
    """Measure."""
    hours, seconds = (HOURS_SHORT, SECONDS_SHORT) if short else (HOURS, SECONDS)
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        lines = folder / "lines.senml"
        pipeline.write_lines(lines, round(hours * 3600 / EVERY_S) * len(PROBES))
        ours, floor = (_written_mb(what, folder, lines) * 24 / hours for what in ("day", "plain"))
        real_mb, cpu_s = real(folder, seconds)
    return [
        Figure("4 probes at 10 s: written a day", ours, "MB", MOST_MB, floor=floor, remark=f"{hours:g} h, quiet air"),
        Figure(
            "4 probes at 10 s: written a day, daemon", real_mb * DAY_S / seconds, "MB", MOST_MB,
            remark=f"from {seconds:g} s at the wall clock's pace",
        ),
        Figure("4 probes at 10 s: of a core", 100 * cpu_s / seconds, "%", MOST_CPU_PCT, remark=f"over {seconds:g} s"),
    ]  # fmt: skip


def main() -> None:
    """Do one day in this process and print the bytes it made the kernel write."""
    parser = argparse.ArgumentParser()
    parser.add_argument("what", choices=["day", "plain"])
    parser.add_argument("folder", type=Path)
    parser.add_argument("lines", type=Path)
    args = parser.parse_args()
    {"day": day, "plain": plain}[args.what](args.folder, args.lines)
    counts = dict(row.split(": ") for row in Path("/proc/self/io").read_text(encoding="ascii").splitlines())
    print(int(counts["write_bytes"]) - int(counts["cancelled_write_bytes"]))


if __name__ == "__main__":
    main()
