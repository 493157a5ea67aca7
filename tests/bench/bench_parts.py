"""What benches are built from: the real daemon as its own process, figures with their floors, one table.

A bench measures from outside: it starts `chamberwatch` as a person would and speaks to it over pseudo-terminals
or a broker. What the live tests use for that is used here too.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "live")]

from ingest_parts import Mosquitto, free_port, until  # noqa: E402  found by the line above

__all__ = ["ROOT", "Figure", "Mosquitto", "Watch", "clean_environment", "free_port", "table", "until"]

READY_S = 30.0
STOP_S = 30.0
MIB = 1024 * 1024
TICKS_PER_S = os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True)
class Figure:
    """One line of the table. `floor`: the same work without us, in the same run, where there is such a thing."""

    name: str
    value: float
    unit: str
    goal: float
    at_least: bool = False
    """True: `goal` is the least the value may be; else the most."""
    floor: float | None = None
    ratio_goal: float | None = None
    """The most times worse than the floor it may be."""
    remark: str = ""

    @property
    def ratio(self) -> float | None:
        """How many times worse than the floor."""
        if not self.floor or not self.value:
            return None
        return self.floor / self.value if self.at_least else self.value / self.floor

    @property
    def met(self) -> bool:
        """Whether every goal is met."""
        near = self.ratio_goal is None or (self.ratio is not None and self.ratio <= self.ratio_goal)
        return near and (self.value >= self.goal if self.at_least else self.value <= self.goal)

    def row(self) -> list[str]:
        """Return it as the table's cells."""
        goal = f"{'≥' if self.at_least else '≤'} {self.goal:,g}"
        if self.ratio_goal is not None:
            goal += f", ≤ {self.ratio_goal:g} ×"
        return [
            self.name,
            f"{_short(self.value)} {self.unit}".strip(),
            "" if self.floor is None else _short(self.floor),
            "" if self.ratio is None else f"{self.ratio:.1f} ×",
            goal,
            "yes" if self.met else "NO",
            self.remark,
        ]

    def to_json(self) -> dict[str, object]:
        """Return it for a program."""
        return {
            "name": self.name, "value": self.value, "unit": self.unit, "floor": self.floor, "ratio": self.ratio,
            "goal": self.goal, "at_least": self.at_least, "ratio_goal": self.ratio_goal, "met": self.met,
            "remark": self.remark,
        }  # fmt: skip


def _short(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 100 or value == int(value) else f"{value:.3g}"


def table(figures: list[Figure]) -> str:
    """Return the figures as one table."""
    rows = [["what", "value", "floor", "ratio", "goal", "met?", ""], *(f.row() for f in figures)]
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    return "\n".join([lines[0], "-" * len(lines[0]), *lines[1:]])


def clean_environment(**more: str) -> dict[str, str]:
    """Return ours without the variables of a real installation, with `more`."""
    ours = {k: v for k, v in os.environ.items() if not k.startswith("CHAMBERWATCH_") and k != "NOTIFY_SOCKET"}
    return ours | more


class Watch:
    """The real daemon over one settings file, its own process."""

    def __init__(self, config: Path, *options: str, **environment: str) -> None:
        self.config = config
        self.log = config.with_name("watch.log")
        self._options = options
        self._environment = clean_environment(**environment)
        self._process: subprocess.Popen[bytes] | None = None

    def start(self, *, wait: bool = True) -> Watch:
        """Start it; with `wait`, return when it is ready."""
        out = self.config.with_name("watch.out")
        argv = [sys.executable, "-m", "chamberwatch", "watch", "--config", str(self.config), *self._options]
        with out.open("wb") as stdout, self.log.open("ab") as stderr:
            self._process = subprocess.Popen(
                argv, cwd=ROOT, stdin=subprocess.DEVNULL, stdout=stdout, stderr=stderr, env=self._environment
            )
        if wait and not until(lambda: b"ready: " in out.read_bytes() or not self.alive(), READY_S):
            raise AssertionError("the daemon did not get ready")
        if wait and not self.alive():
            raise AssertionError(f"the daemon ended:\n{self.log.read_text(encoding='utf-8')}")
        return self

    def online(self, broker: Mosquitto) -> Watch:
        """Wait until it reads its topics: on its very first start the broker keeps nothing for it before that."""
        if not until(lambda: broker.retained("chamberwatch/status") == b"online", READY_S):
            raise AssertionError("the daemon did not get through to the broker")
        return self

    @property
    def pid(self) -> int:
        """The process's number."""
        assert self._process is not None
        return self._process.pid

    def alive(self) -> bool:
        """Return whether it runs."""
        return self._process is not None and self._process.poll() is None

    def kill(self) -> None:
        """End it as a power cut would."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(STOP_S)

    def stop(self) -> int:
        """End it in good order; return its exit code."""
        assert self._process is not None
        self._process.send_signal(signal.SIGTERM)
        return self._process.wait(STOP_S)

    def command(self, name: str, *args: str) -> str:
        """Run a command on the same settings and return what it printed; AssertionError with its words if it fails."""
        argv = [sys.executable, "-m", "chamberwatch", name, "--config", str(self.config), *args]
        done = subprocess.run(
            argv, cwd=ROOT, env=self._environment, capture_output=True, text=True, timeout=60, check=False
        )
        if done.returncode:
            raise AssertionError(f"{name} ended with {done.returncode}: {done.stdout}{done.stderr}")
        return done.stdout

    # -- what it costs ---------------------------------------------------------------------------------------

    def resident_mib(self) -> float:
        """Return its resident memory [MiB] (VmRSS)."""
        status = Path(f"/proc/{self.pid}/status").read_text(encoding="ascii")
        (line,) = (row for row in status.splitlines() if row.startswith("VmRSS:"))
        return int(line.split()[1]) / 1024

    def cpu_s(self) -> float:
        """Return the processor time it has used [s]."""
        stat = Path(f"/proc/{self.pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
        return (int(stat[11]) + int(stat[12])) / TICKS_PER_S

    def written_bytes(self) -> int:
        """Return the bytes it made the kernel write to disk, whole pages, as the kernel counts them."""
        text = Path(f"/proc/{self.pid}/io").read_text(encoding="ascii")
        counts = dict(line.split(": ") for line in text.splitlines())
        return int(counts["write_bytes"]) - int(counts["cancelled_write_bytes"])


def pack(probe: str, at_ms: int, temp_c: float, rh_pct: float) -> bytes:
    """Return one reading as a probe would send it: a SenML pack (RFC 8428), written without the project's encoder."""
    records = [
        {"bn": f"{probe}/", "bt": at_ms / 1000, "n": "temperature", "u": "Cel", "v": temp_c},
        {"n": "humidity", "u": "%RH", "v": rh_pct},
    ]
    return json.dumps(records, separators=(",", ":")).encode()


def now_ms() -> int:
    """Return the wall clock [ms]."""
    return time.time_ns() // 1_000_000


def write_settings(folder: Path, probes: dict[str, str], more: str = "", chambers: tuple[str, ...] = ("cellar",)) -> Path:
    """Write a settings file: each probe's line of source (serial or mqtt), the rest by default, and `more`.

    With several chambers the probes hang one in each, in order; else all in the one.
    """
    rows = ['[journal]\npath = "chamberwatch.db"', *(f'[[chamber]]\nname = "{name}"' for name in chambers)]
    homes = chambers if len(chambers) > 1 else chambers * len(probes)
    rows += [
        f'[[probe]]\nname = "{name}"\nchamber = "{home}"\n{source}'
        for (name, source), home in zip(probes.items(), homes, strict=True)
    ]
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "settings.toml"
    path.write_text("\n".join([*rows, more, ""]), encoding="utf-8")
    return path


def over_serial(ports: dict[str, Path]) -> dict[str, str]:
    """Return the source lines of probes on these ports."""
    return {name: f'serial = {{ port = "{path}" }}' for name, path in ports.items()}


def over_broker(*names: str) -> dict[str, str]:
    """Return the source lines of probes on the topics air/NAME."""
    return {name: f'mqtt = {{ topic = "air/{name}" }}' for name in names}
