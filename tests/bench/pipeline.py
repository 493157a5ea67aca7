"""Replay's speed, against decoding the same lines with `json` and inserting the same rows with plain SQLite.

One reading is one probe's temperature and humidity, one SenML line. Both sides read the same file, commit as many
rows at a time and use equal tables with equal pragmas. Rounds alternate; the best of each side counts, because
whatever else runs on the machine only ever slows them. On a busy machine the processor time says more than the clock.
"""

from __future__ import annotations

import json
import math
import random
import sqlite3
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from functools import partial
from pathlib import Path
from typing import NamedTuple

from bench_parts import Figure, pack

from chamberwatch.daemon.replay import COMMIT_INPUTS, replay
from chamberwatch.journal.connection import PAGE_BYTES
from chamberwatch.settings import Settings, load

PROBES = ("rear", "front", "upper", "lower")
START_MS = 1_793_404_800_000
EVERY_MS = 10_000
ROUNDS, ROUNDS_SHORT = 5, 1
READINGS, READINGS_SHORT = 100_000, 3_000
LEAST_PER_S, RATIO, TARGET = 30_000, 12, 6
TABLE = (
    "CREATE TABLE reading(at_ms INTEGER NOT NULL, probe_id INTEGER NOT NULL, temp_centi INTEGER, rh_centi INTEGER, "
    "PRIMARY KEY(at_ms, probe_id)) STRICT, WITHOUT ROWID"
)


def write_lines(path: Path, count: int) -> None:
    """Write so many readings: a chamber's saw-tooth about the middle of its band, with the probes' noise."""
    chance = random.Random(7)
    with path.open("wb") as out:
        for n in range(count):
            tick, probe = divmod(n, len(PROBES))
            swing = math.sin(tick * EVERY_MS / 1_800_000 * 2 * math.pi)
            temp_c = round(12.5 + 0.8 * swing + chance.gauss(0, 0.05), 2)
            rh_pct = round(75 - 4 * swing + chance.gauss(0, 0.3), 2)
            out.write(pack(PROBES[probe], START_MS + tick * EVERY_MS, temp_c, rh_pct) + b"\n")


def settings(folder: Path) -> Settings:
    """Return the settings of a chamber with these probes."""
    probes = "".join(
        f'[[probe]]\nname = "{name}"\nchamber = "cellar"\nmqtt = {{ topic = "cellar/{name}" }}\n' for name in PROBES
    )
    path = folder / "bench.toml"
    path.write_text(f'[journal]\npath = "ours.db"\n[[chamber]]\nname = "cellar"\n{probes}', encoding="utf-8")
    return load(path)


def floor(lines: Path, path: Path, commit: int = COMMIT_INPUTS, before: Callable[[], None] = lambda: None) -> int:
    """Decode and insert, and nothing else; return the rows. `before` is called before each commit."""
    ids = {name: n for n, name in enumerate(PROBES, 1)}
    batch: list[tuple[int, int, int, int]] = []
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        for pragma in (f"page_size={PAGE_BYTES}", "journal_mode=WAL", "synchronous=FULL"):
            db.execute(f"PRAGMA {pragma}")
        db.execute(TABLE)
        with lines.open("rb") as source:
            for line in source:
                temp, rh = json.loads(line)
                probe = ids[temp["bn"].rstrip("/")]
                batch.append((int(temp["bt"] * 1000), probe, round(temp["v"] * 100), round(rh["v"] * 100)))
                if len(batch) >= commit:
                    before()
                    _insert(db, batch)
        _insert(db, batch)
        (count,) = db.execute("SELECT count(*) FROM reading").fetchone()
    return int(count)


def _insert(db: sqlite3.Connection, batch: list[tuple[int, int, int, int]]) -> None:
    db.execute("BEGIN IMMEDIATE")
    db.executemany("INSERT INTO reading VALUES (?, ?, ?, ?)", batch)
    db.execute("COMMIT")
    batch.clear()


def ours(house: Settings, lines: Path, path: Path) -> int:
    """Replay; return the readings stored."""
    summary = replay(house, [lines], path)
    assert not summary.events, "the bench's air must be quiet"
    return summary.stored


class Best(NamedTuple):
    """The least time a piece of work took [s]: by the clock and of the processor."""

    clock_s: float = math.inf
    processor_s: float = math.inf

    def with_one_more(self, work: Callable[[], int], count: int) -> Best:
        """Do the work once more."""
        clock_s, processor_s = time.perf_counter(), time.process_time()
        done = work()
        took = time.perf_counter() - clock_s, time.process_time() - processor_s
        assert done == count, f"{done} of {count} readings are there"
        return Best(*map(min, self, took))


def run(*, short: bool = False) -> list[Figure]:
    """Measure."""
    count, rounds = (READINGS_SHORT, ROUNDS_SHORT) if short else (READINGS, ROUNDS)
    least, best = Best(), Best()
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        house, lines = settings(folder), folder / "lines.senml"
        write_lines(lines, count)
        for n in range(rounds):
            least = least.with_one_more(partial(floor, lines, folder / f"floor{n}.db"), count)
            best = best.with_one_more(partial(ours, house, lines, folder / f"ours{n}.db"), count)
    remark = f"{count:,} readings, best of {rounds}; target {TARGET} ×"
    return [
        Figure(
            f"pipeline in replay, by {what}", count / took_s, "/s", LEAST_PER_S, at_least=True,
            floor=count / floor_s, ratio_goal=RATIO, remark=remark,
        )
        for what, took_s, floor_s in zip(("the clock", "processor time"), best, least, strict=True)
    ]  # fmt: skip
