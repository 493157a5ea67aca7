"""One piece from salt to table with the real command line, each command a process of its own."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path

from chamberwatch.wire.timestamp import format_rfc3339

ROOT = Path(__file__).parents[2]
HOUSE = """
timezone = "UTC"
[journal]
path = "house.db"
[[chamber]]
name = "cellar"
[[chamber]]
name = "fridge"
kind = "cold"
temperature = { low = 1.0, high = 4.0 }
humidity = { low = 20.0, high = 99.0 }
urgent = { low = -1.0, high = 8.0 }
[[probe]]
name = "rear"
chamber = "cellar"
serial = { port = "/dev/ttyS9" }
"""
DAY_MS = 86_400_000


class Terminal:
    """Somebody at the board's terminal."""

    def __init__(self, folder):
        self.config = folder / "house.toml"
        self.config.write_text(HOUSE)
        self.now_ms = time.time_ns() // 1_000_000

    def ago(self, days):
        """Return a moment so many days ago."""
        return format_rfc3339((self.now_ms - round(days * DAY_MS)) // 1000 * 1000)

    def run(self, command, *argv, code=0):
        """Run a command; return what it wrote."""
        line = [sys.executable, "-m", "chamberwatch", command, "--config", str(self.config), *argv]
        done = subprocess.run(line, capture_output=True, text=True, check=False, cwd=ROOT, timeout=60)
        assert done.returncode == code, done.stdout + done.stderr
        assert "Traceback" not in done.stderr
        return done.stdout + done.stderr


def test_one_piece_from_salt_to_table(tmp_path):
    """Started, cased, dripped, hung, weighed, forecast, evened out, cut; and then it is over."""
    at = Terminal(tmp_path)
    neck = ("--kind", "neck", "--green-weight", "2150g", "--diameter", "108mm", "--salt", "2.75%")
    at.run("start", "Neck 4", "--chamber", "fridge", *neck, "--nitrite", "6.25%", "--cure", "5.2g", "--at", at.ago(80))
    at.run("stage", "Neck 4", "equalising-salt", "--at", at.ago(62))
    at.run("stage", "Neck 4", "casing", "--at", at.ago(61))
    at.run("stage", "Neck 4", "dripping", "--at", at.ago(60.9))
    hung = at.run("hang", "Neck 4", "--chamber", "cellar", "--casing", "beef-bung", "--tare", "80g", "--at", at.ago(60.6))
    assert "TOO EARLY" not in hung
    for days, mass in ((60.5, "2130g"), (53, "1905g"), (30, "1660g"), (8, "1470g")):
        at.run("weigh", "Neck 4", mass, "--at", at.ago(days))
    found = json.loads(at.run("forecast", "Neck 4", "--as-of", at.ago(30), "--json"))
    assert found["ready_low"] < found["ready"] < found["ready_high"]
    at.run("stage", "Neck 4", "equalising-moisture", "--chamber", "fridge", "--at", at.ago(7))
    cut = at.run("cut", "Neck 4", "--crust", "1mm", "--centre", "evenly red", "--salt", "right", "--verdict", "good")
    assert cut.startswith("Neck 4 is done: 60 days from the hang, 35 % lost (target 35 %).")
    (piece,) = json.loads(at.run("pieces", "--json"))
    assert (piece["stage"], piece["verdict"], piece["next"], piece["chamber"]) == ("done", "good", None, None)
    assert [stay["chamber"] for stay in piece["stays"]] == ["fridge", "cellar", "fridge"]
    assert "what was cut is not hung again" in " ".join(at.run("hang", "Neck 4", "--chamber", "cellar", code=65).split())
