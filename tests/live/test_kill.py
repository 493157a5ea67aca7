"""Killed in mid-work, the daemon loses nothing and tells everything: tests/bench/kill.py with five kills."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

RUN = Path(__file__).parents[1] / "bench" / "run.py"


@pytest.mark.external
def test_five_kills_under_a_brokers_load_lose_double_and_miss_nothing(tmp_path):
    """Every reading published is kept once, every event of a straight replay is there once, every notice was sent."""
    out = tmp_path / "figures.json"
    done = subprocess.run(
        [sys.executable, str(RUN), "kill", "--kills", "5", "--json", str(out)],
        capture_output=True, text=True, timeout=500, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    found = {f["name"].removeprefix("kill -9: "): f["value"] for f in json.loads(out.read_text(encoding="utf-8"))}
    assert found == {
        "readings lost": 0, "readings doubled": 0, "events missed": 0, "events doubled or made up": 0,
        "notices never sent": 0,
    }  # fmt: skip
