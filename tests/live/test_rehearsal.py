"""The rehearsal, whole: `python -m simulator weekend` with the real monitor, its own process, real terminals."""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
AT_MOST_S = 150  # for a machine far slower than two slow cores; a rehearsal that hangs must still end


def _simulator(*args):
    return subprocess.run(
        [sys.executable, "-m", "simulator", *args],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=AT_MOST_S,
        check=False,
        env=os.environ | {"TZ": "Pacific/Auckland"},  # the story's times must not depend on the machine's zone
    )


def _monitor(*args):
    done = subprocess.run(
        [sys.executable, "-m", "chamberwatch", *args], cwd=ROOT, capture_output=True, text=True, timeout=60, check=True
    )
    return done.stdout


def _events(folder):
    lines = _monitor("events", "--json", "--config", str(folder / "rehearsal.toml"))
    return [json.loads(line) for line in lines.splitlines()]


def test_the_weekend_tells_every_fault_in_its_time_and_nothing_else(tmp_path):
    """Friday to Monday: each fault told within its window and over in time, no wrong alarm, against the right pieces."""
    done = _simulator("weekend", "--keep", str(tmp_path), "--no-bar")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "told: 5 of 5 faults, wrong alarms: 0" in done.stdout
    assert done.stdout.rstrip().endswith(f"The journal is {tmp_path}/chamberwatch.db")
    times = re.findall(r"^(Fri|Sat|Sun|Mon) (\d\d:\d\d)  (?:alarm|over |note |you  )", done.stdout, re.MULTILINE)
    order = [(["Fri", "Sat", "Sun", "Mon"].index(day), time) for day, time in times]
    assert len(order) >= 12
    assert order == sorted(order)
    events = _events(tmp_path)
    assert [e["state"] for e in events].count("active") == [e["state"] for e in events].count("returned")
    # The piece entered on Sunday was hanging since Friday evening: Saturday's alarms are recorded against it.
    (night,) = (e for e in events if e["kind"] == "temperature-high" and e["at"].startswith("2024-11-10T0") and e["state"] == "active")
    assert set(night["pieces"]) == {"Bresaola 2", "Loin 1", "Neck 4"}


def test_the_quiet_weekend_tells_nothing_at_all(tmp_path):
    """Sixty-four hours without a fault: not one event, and every reading kept."""
    done = _simulator("weekend", "quiet", "--keep", str(tmp_path), "--no-bar", "--seed", "3")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "told: 0 of 0 faults, wrong alarms: 0" in done.stdout
    assert _events(tmp_path) == []
    now = json.loads(_monitor("now", "--json", "--config", str(tmp_path / "rehearsal.toml")))
    assert [p["readings"] for p in now["probes"]] == [23_040, 23_040]


def test_noise_is_refused_and_counted_not_judged(tmp_path):
    """Half lines and glitches on one probe: what survives is kept, the rest is counted, the chamber stays quiet."""
    story = (ROOT / "simulator" / "weekends" / "hour.toml").read_text(encoding="utf-8")
    head = story[: story.index("[[fault]]")]
    noise = (
        '[[fault]]\nwhat = "half lines"\nprobe = "front"\nfrom = "Sat 10:10"\nto = "Sat 11:00"\nhow_far = 0.1\n'
        '[[fault]]\nwhat = "glitches"\nprobe = "rear"\nfrom = "Sat 10:10"\nto = "Sat 11:00"\nhow_far = 0.05\n'
    )
    mine = tmp_path / "noisy.toml"
    mine.write_text(head + noise, encoding="utf-8")
    done = _simulator("weekend", str(mine), "--keep", str(tmp_path / "kept"), "--no-bar")
    assert done.returncode == 0, done.stdout + done.stderr
    assert _events(tmp_path / "kept") == []
    now = json.loads(_monitor("now", "--json", "--config", str(tmp_path / "kept" / "rehearsal.toml")))
    front = next(p for p in now["probes"] if p["probe"] == "front")
    assert 300 < front["readings"] < 450
    assert front["refused"] > 10


def test_a_fault_that_is_not_told_fails_the_rehearsal(tmp_path):
    """A weekend that asks for what cannot come ends with exit code 1 and says what was missed."""
    story = (ROOT / "simulator" / "weekends" / "hour.toml").read_text(encoding="utf-8")
    mine = tmp_path / "mine.toml"
    mine.write_text(story.replace('kind    = "humidity-low"', 'kind    = "humidity-high"'), encoding="utf-8")
    done = _simulator("weekend", str(mine), "--keep", str(tmp_path / "kept"), "--no-bar")
    assert done.returncode == 1
    assert "MISSED" in done.stdout
    assert "humidity-high active was not told within Sat 10:10 to Sat 10:30" in done.stdout
    assert "told: 0 of 1 faults, wrong alarms: 1" in done.stdout


def test_a_folder_that_holds_a_rehearsal_is_left_alone(tmp_path):
    """A second rehearsal into the same folder is refused with exit code 64; the first one's settings stay."""
    (tmp_path / "rehearsal.toml").write_text("# mine\n", encoding="utf-8")
    done = _simulator("weekend", "hour", "--keep", str(tmp_path), "--no-bar")
    assert done.returncode == 64
    assert "already holds a rehearsal" in done.stderr
    assert (tmp_path / "rehearsal.toml").read_text(encoding="utf-8") == "# mine\n"


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("weekend", "moon"), "there is no weekend 'moon'; known: hour, quiet, weekend"),
        (("weekend", "hour", "--pace", "fast"), 'a pace is "max" or a number such as 1 or 600'),
        (("replay-file", "hour", "--out", "/nowhere/at/all"), "/nowhere/at/all"),
        (("speak", "hour", "--broker", "127.0.0.1:1", "--pace", "max"), "no broker answers at 127.0.0.1:1"),
    ],
)
def test_what_cannot_be_done_is_said(args, says):
    """A wrong name, pace, file or broker ends with a message that names it, and no traceback."""
    done = _simulator(*args)
    assert done.returncode in (1, 64)
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_a_replay_file_is_written(tmp_path):
    """`replay-file` writes one SenML line a reading and says how many."""
    out = tmp_path / "hour.senml"
    done = _simulator("replay-file", "hour", "--out", str(out))
    assert done.returncode == 0
    lines = out.read_text(encoding="utf-8").splitlines()
    assert done.stdout == f"900 lines in {out}\n"
    assert len(lines) == 900
    assert json.loads(lines[0])[0]["bn"] == "rear/"


def _running(config):
    """Return the processes whose command line names that settings file."""
    found = []
    for entry in Path("/proc").glob("[0-9]*/cmdline"):
        with contextlib.suppress(OSError):  # a process may end while we look
            if str(config).encode() in entry.read_bytes().split(b"\0"):
                found.append(entry.parent.name)
    return found


def test_ended_early_it_stops_its_monitor_and_takes_its_ports_away(tmp_path):
    """A rehearsal ended by SIGTERM in mid-story leaves no monitor running and no port behind."""
    config = tmp_path / "rehearsal.toml"
    argv = [sys.executable, "-m", "simulator", "weekend", "hour", "--pace", "10", "--keep", str(tmp_path), "--no-bar"]
    with subprocess.Popen(argv, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True) as process:
        assert "0 %" in process.stderr.readline()
        assert (tmp_path / "port-rear").is_symlink()
        assert _running(config)
        process.send_signal(signal.SIGTERM)
        _, said = process.communicate(timeout=60)
    assert process.returncode == 1
    assert said.endswith("simulator: stopped\n")
    assert not list(tmp_path.glob("port-*"))
    assert not _running(config)
