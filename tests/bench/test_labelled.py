"""Two seeds of the labelled weekends, fixed: what a change makes worse shows here; the twenty that judge are run by hand."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from labelled_cast import CASES

LABELLED = Path(__file__).with_name("labelled.py")
LEAST = {"faults told in their window": 97.0, "told as one first cause": 97.0, "slow faults: drift before the band": 80.0}
"""Percent; the goals themselves are 100, 100 and 80, and what is reached with all seeds stands in DEVELOPERS.md."""
FAULTS, PLANTS, SEEDS, QUIET = len(CASES), 2, 2, 6


@pytest.mark.external
def test_faults_are_told_and_quiet_weeks_are_quiet(tmp_path):
    """Every fault on both plants, and a quiet week of each: nearly all told, one cause each, in quiet weeks nothing."""
    out = tmp_path / "runs.json"
    done = subprocess.run(
        [sys.executable, str(LABELLED), "--seeds", "2", "--first-seed", "500", "--quiet", "1", "--json", str(out)],
        capture_output=True, text=True, timeout=900, check=False,
    )
    assert done.returncode in {0, 1}, done.stderr
    assert len(json.loads(out.read_text(encoding="utf-8"))) == FAULTS * PLANTS * SEEDS + QUIET
    assert "quiet: 6 runs, 6.0 chamber-weeks, 0 alarms" in done.stdout, done.stdout
    for what, least in LEAST.items():
        line = next(line for line in done.stdout.splitlines() if line.startswith(what))
        assert float(line.split("=")[1].split("%")[0]) >= least, done.stdout


def test_what_it_is_asked_for_is_checked():
    """A fault that is not in the cast ends with a message and code 2."""
    done = subprocess.run(
        [sys.executable, str(LABELLED), "--faults", "cooling-ded"], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 2
    assert "invalid choice: 'cooling-ded'" in done.stderr
