"""The real monitor, driven from outside: its own process, its own commands, nothing of its insides."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from typing import IO, TYPE_CHECKING, Self

if TYPE_CHECKING:
    from pathlib import Path

READY_S = 30.0
COMMAND_S = 60.0
STOP_S = 20.0
SETTLE_S = 1.0
SHOWN_LINES = 12


class MonitorFailed(Exception):  # noqa: N818  it says what is the matter
    """The monitor did not start, stopped, refused a command or took too long; the text says which."""


class Monitor:
    """A `watch` over one settings file. Use it as a context: it is stopped however the rehearsal ends."""

    def __init__(self, config: Path) -> None:
        self._config = config
        self._log = config.with_name("watch.log")
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        out = self._log.with_name("watch.out")
        with out.open("wb") as stdout, self._log.open("wb") as stderr:
            self._process = self._start(stdout, stderr)
        end_s = time.monotonic() + READY_S
        while not any(line.startswith(b"ready") for line in out.read_bytes().splitlines()):
            if not self.alive() or time.monotonic() > end_s:
                self._end()
                raise MonitorFailed(f"the monitor did not get ready\n{self._last_words()}")
            time.sleep(0.02)
        return self

    def __exit__(self, *exc: object) -> None:
        self._end()

    def alive(self) -> bool:
        """Return whether the process is still there."""
        return self._process is not None and self._process.poll() is None

    def stop(self) -> None:
        """Stop it as a service manager would; MonitorFailed when it does not end cleanly.

        What it has read from its ports but not yet put into its inbox would be dropped: it gets a moment.
        """
        time.sleep(SETTLE_S)
        code = self._end()
        if code != 0:
            raise MonitorFailed(f"the monitor ended with {code}\n{self._last_words()}")

    def command(self, name: str, *args: str) -> str:
        """Run one command and return what it printed; MonitorFailed, in its words, if it refuses."""
        argv = [sys.executable, "-m", "chamberwatch", name, "--config", str(self._config), *args]
        done = subprocess.run(  # noqa: S603  our own interpreter, no shell
            argv, capture_output=True, text=True, timeout=COMMAND_S, check=False, env=_environment()
        )
        if done.returncode != 0:
            said = done.stderr.strip() or done.stdout.strip()
            raise MonitorFailed(f"{name} ended with {done.returncode}: {said}")
        return done.stdout

    def check_taken(self, spoken: dict[str, int]) -> None:
        """MonitorFailed unless the journal counts as many readings of each probe as were spoken."""
        now = json.loads(self.command("now", "--json"))
        taken = {row["probe"]: row["readings"] for row in now["probes"]}
        if taken != spoken:
            short = ", ".join(f"{probe}: {taken.get(probe, 0)} of {n}" for probe, n in spoken.items())
            raise MonitorFailed(f"the monitor did not keep all readings ({short})\n{self._last_words()}")

    def _end(self) -> int:
        process = self._process
        if process is None:
            return 0
        if process.poll() is None:
            process.send_signal(signal.SIGTERM)
        try:
            return process.wait(STOP_S)
        except subprocess.TimeoutExpired:
            process.kill()
            return process.wait()

    def _last_words(self) -> str:
        lines = self._log.read_text(encoding="utf-8", errors="replace").splitlines()
        return "\n".join(f"  {line}" for line in lines[-SHOWN_LINES:])

    def _start(self, out: IO[bytes], err: IO[bytes]) -> subprocess.Popen[bytes]:
        argv = [sys.executable, "-m", "chamberwatch", "watch", "--config", str(self._config), "--rehearsal"]
        return subprocess.Popen(  # noqa: S603  our own interpreter, no shell
            argv, stdin=subprocess.DEVNULL, stdout=out, stderr=err, env=_environment(), start_new_session=True
        )


def _environment() -> dict[str, str]:
    """Return ours without the monitor's own variables: a real installation must not leak into a rehearsal."""
    return {k: v for k, v in os.environ.items() if not k.startswith("CHAMBERWATCH_") and k != "NOTIFY_SOCKET"}
