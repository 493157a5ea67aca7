"""Parts for the tests of the pipeline, the loop and replay: a small house with a real journal, a hand-set clock."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC
from pathlib import Path

from chamberwatch.daemon.pipeline import Pipeline
from chamberwatch.daemon.teller import Teller
from chamberwatch.errors import JournalError
from chamberwatch.ingest.packet import Packet
from chamberwatch.journal.facts import Facts
from chamberwatch.journal.reader import Reader
from chamberwatch.journal.store import Journal
from chamberwatch.model import MS_PER_MIN, Band, ChamberKind, ChamberPlan, PieceFacts, Plan, ProbePlan
from chamberwatch.wire.timestamp import format_rfc3339

T0 = 1_793_404_800_000  # 2026-10-31T00:00:00Z, a Saturday
CELLAR = ChamberPlan("cellar", ChamberKind.CURE_CHAMBER, Band(10, 15, 60), Band(70, 80, 100))
PLAN = Plan((CELLAR,), (ProbePlan("rear", "cellar"),))
TWO = Plan((CELLAR,), (ProbePlan("rear", "cellar"), ProbePlan("front", "cellar")))
QUICK_DISK = "/dev/shm" if Path("/dev/shm").is_dir() else None
"""Where a property's many journals lie: fsync costs nothing there."""


class HandClock:
    """The daemon's clock, set by hand."""

    def __init__(self, at_ms=T0):
        self.ms = at_ms
        self.stepped_ms = 0

    def now_ms(self):
        """Return the time it was set to."""
        return self.ms

    def see(self, at_ms):
        """Return the arrival: now."""
        return self.ms

    def check(self):
        """Return the step that was made, once."""
        stepped_ms, self.stepped_ms = self.stepped_ms, 0
        return stepped_ms


class Frail:
    """A journal that cannot be written for a while. `fails`: how many commits are still refused."""

    def __init__(self, journal):
        self.journal = journal
        self.fails = 0
        self.tries = 0

    def commit(self, batch):
        """Commit, or raise as a full disk does."""
        self.tries += 1
        if self.fails:
            self.fails -= 1
            raise JournalError("no room left on the disk")
        return self.journal.commit(batch)

    def __getattr__(self, name):
        return getattr(self.journal, name)


class House:
    """A journal in a folder and a pipeline over it, as `watch` puts them together."""

    def __init__(self, folder, *, plan=PLAN, channels=("mail",), alive=True, speeches=None):
        self.path = folder / "house.db"
        self.speeches = speeches or {}
        self.plan, self.channels, self.alive = plan, channels, alive
        self.clock = HandClock()
        self.told = []
        self.acked = []
        self.begin()

    def begin(self):
        """Open the journal and take up where it ends."""
        self.journal = Frail(Journal.open(self.path))
        self.journal.remember_plan(self.plan, "metric")
        self.teller = Teller(self.plan, self.journal.hanging, self.channels, UTC, "metric")
        self.pipeline = Pipeline(
            self.journal, self.plan, self.teller, self.clock, alive=self.alive, speeches=self.speeches
        )
        self.pipeline.told = self.told.extend
        self.pipeline.restore()

    def crash(self):
        """End as a kill does: what was not committed is gone, the journal is opened anew."""
        self.journal.journal._db.close()
        self.begin()

    def close(self):
        """Let go of the journal."""
        self.journal.journal._db.close()

    def send(self, payload, probe="rear", ack=None, **kwargs):
        """Hand one payload to the pipeline, arriving now; `ack`: a name noted once it is acknowledged."""
        done = None if ack is None else lambda: self.acked.append(ack)
        self.pipeline.packet(Packet("test", probe, payload, self.clock.ms, done, **kwargs))

    def read(self, temp_c=12.5, rh_pct=75.0, *, probe="rear", at_ms=None, ack=None):
        """Send one reading."""
        self.send(line(temp_c, rh_pct, at_ms=at_ms), probe, ack)

    def minutes(self, n, temp_c=12.5, rh_pct=75.0, *, probe="rear", every_s=10):
        """Send timed readings for `n` minutes, the clock going with them; commit at each minute's end."""
        for i in range(int(n * 60 / every_s)):
            self.clock.ms += every_s * 1000
            self.read(temp_c, rh_pct, probe=probe, at_ms=self.clock.ms)
            if (i + 1) * every_s % 60 == 0:
                assert self.pipeline.commit()

    def rows(self, query):
        """Return what the journal's file holds."""
        with closing(sqlite3.connect(self.path)) as db:
            return db.execute(query).fetchall()

    def air(self):
        """Return the stored readings as (probe, minutes after T0, temperature, humidity)."""
        with Reader(self.path) as reader:
            rows = reader.readings(0, 1 << 60)
        return [(r.probe, (r.at_ms - T0) / MS_PER_MIN, r.temp_c, r.rh_pct) for r in rows]

    def events(self):
        """Return the stored events, oldest first."""
        with Reader(self.path) as reader:
            return list(reader.events())

    def probe(self, name="rear"):
        """Return a probe's counters."""
        with Reader(self.path) as reader:
            return next(p for p in reader.probes() if p.probe == name)

    def refusals(self):
        """Return (probe, reason, how often)."""
        with Reader(self.path) as reader:
            return [(r.probe, r.reason, r.n) for r in reader.refusals()]

    def hang(self, name, at_ms):
        """Hang a piece."""
        with Facts(self.path, now_ms=self.clock.ms, chambers=["cellar"]) as facts:
            facts.hang(PieceFacts(name, "neck", 2150.0, diameter_mm=108.0), "cellar", at_ms)


def line(temp_c=12.5, rh_pct=75.0, *, at_ms=None, name=None):
    """Return one SenML line, with a time if given, with a probe's name if given."""
    base = f'"bn":"{name}/",' if name else ""
    when = f'"bt":{at_ms / 1000:.3f},' if at_ms is not None else ""
    temp = f'{{{base}{when}"n":"temperature","u":"Cel","v":{temp_c}}}'
    return f'[{temp},{{"n":"humidity","u":"%RH","v":{rh_pct}}}]'.encode()


def stamp(minute):
    """Return a minute after T0 as RFC 3339."""
    return format_rfc3339(T0 + round(minute * MS_PER_MIN))
