"""The benches run at all; what they measure is not judged here."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

RUN = Path(__file__).with_name("run.py")
ROWS = [
    "pipeline in replay, by the clock", "pipeline in replay, by processor time",
    "memory, two serial ports, no more", "memory, broker and MQTT channel", "memory, and web channel and series",
    "kill -9: readings lost", "kill -9: readings doubled", "kill -9: events missed",
    "kill -9: events doubled or made up", "kill -9: notices never sent",
    "reading to message, half of them", "reading to message, p99",
    "4 probes at 10 s: written a day", "4 probes at 10 s: written a day, daemon", "4 probes at 10 s: of a core",
]  # fmt: skip
WITH_FLOOR = {name for name in ROWS if not name.startswith("kill") and not name.endswith(("daemon", "core"))}


@pytest.mark.external
def test_every_bench_gives_its_rows(tmp_path):
    """`run.py --short` gives each row once, a floor where the same work can be done without us, and one table."""
    out = tmp_path / "figures.json"
    done = subprocess.run(
        [sys.executable, str(RUN), "--short", "--kills", "1", "--json", str(out)],
        capture_output=True, text=True, timeout=300, check=False,
    )
    assert done.returncode == 0, done.stderr
    figures = json.loads(out.read_text(encoding="utf-8"))
    assert [f["name"] for f in figures] == ROWS
    assert {f["name"] for f in figures if f["floor"]} == WITH_FLOOR
    head, rule, *lines = done.stdout.splitlines()
    assert head.split() == ["what", "value", "floor", "ratio", "goal", "met?"]
    assert set(rule) == {"-"}
    assert [line.startswith(name) for line, name in zip(lines, ROWS, strict=True)] == [True] * len(ROWS)


def test_a_name_that_is_no_bench_is_refused():
    """A misspelt name ends with the list of those there are."""
    done = subprocess.run([sys.executable, str(RUN), "pipelin"], capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 2
    assert "there is no bench pipelin; there are pipeline, memory, kill, latency, disk" in done.stderr


def test_forecasts_of_a_few_simulated_pieces_hold(tmp_path):
    """Six pieces through the forecast's benchmark: every row is there, and no date is far out."""
    out = tmp_path / "rows.json"
    argv = [sys.executable, str(RUN.with_name("forecast_cover.py")), "--pieces", "6", "--first-seed", "500", "--json", str(out)]
    done = subprocess.run(argv, capture_output=True, text=True, timeout=300, check=False)
    found = json.loads(out.read_text(encoding="utf-8"))

    assert done.returncode in {0, 1}, done.stderr
    assert {row["when"] for row in found} == {"no weigh-in", "half hang"}
    assert len(found) >= 10
    assert all(abs(r["middle"] - r["ready"]) < 0.4 * r["ready"] for r in found if r["when"] == "half hang"), done.stdout
