"""Parts for the tests of the command line: a house in a folder, and the commands on it, in this process."""

from __future__ import annotations

import json
import time

from chamberwatch.cli import main
from chamberwatch.cli.layout import WIDTH
from chamberwatch.model import MS_PER_H, MS_PER_MIN
from chamberwatch.wire.timestamp import format_rfc3339

HOUSE = """
timezone = "UTC"
[journal]
path = "house.db"
[[chamber]]
name = "cellar"
[[chamber]]
name = "salting-fridge"
kind = "cold"
temperature = { low = 1.0, high = 4.0 }
humidity = { low = 20.0, high = 99.0 }
urgent = { low = -1.0, high = 8.0 }
[[probe]]
name = "rear"
chamber = "cellar"
serial = { port = "/dev/ttyS9" }
[[probe]]
name = "shelf"
chamber = "salting-fridge"
every = 60
mqtt = { topic = "fridge/shelf" }
"""
NECK = (
    "--kind", "neck", "--green-weight", "2150g", "--diameter", "108mm", "--length", "280mm", "--casing", "beef-bung",
    "--salt", "2.75%", "--fat", "medium", "--target-loss", "35%",
)  # fmt: skip


class Said:
    """What a command answered."""

    def __init__(self, code, out, err):
        self.code, self.out, self.err = code, out, err

    @property
    def json(self):
        """The one document."""
        return json.loads(self.out)

    @property
    def lines(self):
        """A JSON object a line."""
        return [json.loads(text) for text in self.out.splitlines()]

    @property
    def words(self):
        """The text without its line breaks."""
        return " ".join(self.out.split())


class House:
    """A settings file, its journal, and the commands."""

    def __init__(self, folder, capsys, config=HOUSE):
        self.folder, self.capsys = folder, capsys
        self.config = folder / "house.toml"
        self.config.write_text(config)
        self.journal = folder / "house.db"
        self.now_ms = time.time_ns() // 1_000_000

    def ago(self, hours):
        """Return a moment so many hours before this test began, as RFC 3339 to the second."""
        return format_rfc3339((self.now_ms - round(hours * MS_PER_H)) // 1000 * 1000)

    def run(self, *argv, code=0, by="config"):
        """Run a command with --config (or --journal); its exit code is checked, its lines are not too wide."""
        place = ["--config", str(self.config)] if by == "config" else ["--journal", str(self.journal)]
        got = main([argv[0], *place, *map(str, argv[1:])])
        said = Said(got, *self.capsys.readouterr())
        assert got == code, said.out + said.err
        if "--json" not in argv:
            # A path is one word and may be as long as it is: the folder of a test's files often is.
            assert [t for t in said.out.splitlines() if len(t) > WIDTH and str(self.journal.parent) not in t] == []
        return said

    def refused(self, *argv, code=65, by="config"):
        """Run a command that must be refused; return what it says, one line without a traceback."""
        said = self.run(*argv, code=code, by=by)
        assert said.out == ""
        assert said.err.startswith("chamberwatch: ")
        assert "Traceback" not in said.err
        return said.err.removeprefix("chamberwatch: ").strip()

    def hang(self, name="Neck 4", *extra, chamber="cellar", hours_ago=24):
        """Hang a neck."""
        return self.run("hang", name, "--chamber", chamber, *NECK, "--at", self.ago(hours_ago), *extra)

    def replay(self, minutes):
        """Replay readings of both probes: `minutes` maps minutes before now to (probe, °C, %RH)."""
        lines = []
        for before, probe, temp_c, rh_pct in minutes:
            at_s = (self.now_ms - round(before * MS_PER_MIN)) // 1000
            lines.append(
                f'[{{"bn":"{probe}/","bt":{at_s},"n":"temperature","u":"Cel","v":{temp_c}}},'
                f'{{"n":"humidity","u":"%RH","v":{rh_pct}}}]'
            )
        path = self.folder / "air.jsonl"
        path.write_text("\n".join(lines) + "\n")
        return self.run("replay", path)

    def warm_day(self):
        """Replay three hours: the second and third too warm in the cellar, the fridge as planned."""
        cellar = [(180 - i / 6, "rear", 12.5 if i < 360 else 17.0, 75.0) for i in range(6 * 180)]
        fridge = [(180 - i, "shelf", 3.0, 85.0) for i in range(180)]
        self.replay(sorted(cellar + fridge, reverse=True))


