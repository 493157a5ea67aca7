"""An hour of the whole thing with a fault in it, on real parts: `python tests/bench/hour.py [--minutes 60]`.

The monitor runs with config/over-mqtt.toml as it stands (only ports and addresses are put in, and what it offers
behind # signs for a mailbox and a series server is switched on), a real broker with config/mosquitto-chamberwatch.conf,
a mail server and a real time-series server. The simulator speaks two probes over the broker at the wall clock's
pace. Three pieces hang, one of them entered late. Then everything told and kept is held against what was published
(see hour_checks.py). Exit code 1 if anything is off. A run short of an hour speaks six_minutes.toml.
"""

from __future__ import annotations

import argparse
import math
import subprocess
import sys
import tempfile
import time
import tomllib
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import Self

from bench_parts import ROOT, Mosquitto, Watch, clean_environment, free_port, now_ms, pack
from hour_checks import Account, check, report
from notify_parts import MailServer
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from series_parts import SeriesServer

from simulator.weekend import find, read

CHAMBER = "cellar"
ALARMS = "chamberwatch/alarm"
SHELF_EVERY_S = 60.0
SETTLE_S = 5.0
AT_ONCE = {
    "Bresaola 2": "--kind round --green-weight 2050g --diameter 96mm --salt 2.75% --fat lean --target-loss 38%",
    "Loin 1": "--kind loin --green-weight 1740g --thickness 62mm --salt 2.6% --fat lean --target-loss 40%",
}
LATE = {"Neck 4": "--kind neck --green-weight 2210g --diameter 108mm --salt 2.75% --casing beef-bung"}
LATE_SHARE = 0.45
"""After so much of the time the late piece is entered."""


@dataclass
class Recorder:
    """Reads along at the broker: what the probes published and what the monitor told."""

    port: int
    readings: list[bytes] = field(default_factory=list)
    alarms: list[tuple[int, bytes]] = field(default_factory=list)

    def __enter__(self) -> Self:
        self._client = Client(CallbackAPIVersion.VERSION2, client_id="recorder", protocol=MQTTProtocolVersion.MQTTv5)
        self._client.on_message = self._take
        self._client.connect("127.0.0.1", self.port)
        self._client.subscribe([("cellar/+", 1), ("salting-fridge/+", 1), (ALARMS, 1)])
        self._client.loop_start()
        return self

    def __exit__(self, *exc: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def _take(self, _client: Client, _data: object, message: MQTTMessage) -> None:
        if message.topic == ALARMS:
            self.alarms.append((now_ms(), bytes(message.payload)))
        else:
            self.readings.append(bytes(message.payload))

    def shelf(self) -> None:
        """Let the salting fridge's probe speak: steady air, far from every limit."""
        at_ms = now_ms()
        temp_c = round(2.5 + 0.4 * math.sin(at_ms / 600_000), 2)
        self._client.publish("salting-fridge/shelf", pack("shelf", at_ms, temp_c, 85.5), qos=1)


def replaced(text: str, **changes: str) -> str:
    """Return a text with each piece put in place of another; AssertionError if a piece is not there once."""
    for old, new in changes.items():
        assert text.count(old) == 1, f"{old!r} is there {text.count(old)} times"
        text = text.replace(old, new)
    return text


def uncommented(text: str, first: str, lines: int) -> str:
    """Return a text whose `lines` lines from `first` on have lost their # sign."""
    rows = text.splitlines()
    at = rows.index(first)
    rows[at : at + lines] = [row.removeprefix("# ") for row in rows[at : at + lines]]
    return "\n".join(rows) + "\n"


def settings(folder: Path, broker_port: int, series_port: int) -> Path:
    """Write the example settings with our ports, the mailbox and the series server switched on."""
    text = (ROOT / "config" / "over-mqtt.toml").read_text(encoding="utf-8")
    mail = text[: text.index('# name = "mail"')].count("\n") - 1
    text = uncommented(text, text.splitlines()[mail], 3)
    text = uncommented(text, "# [series]", 5)
    text = replaced(text, **{"port = 1883": f"port = {broker_port}", "127.0.0.1:8086": f"127.0.0.1:{series_port}"})
    path = folder / "over-mqtt.toml"
    path.write_text(text, encoding="utf-8")
    return path


def credentials(config: Path, mail_url: str) -> dict[str, str]:
    """Return the settings' secrets as a person would export them."""
    file = tomllib.loads(config.read_text(encoding="utf-8"))
    (mail,) = (c["credential"] for c in file["notify"]["channel"] if c["name"] == "mail")
    secrets = {mail: mail_url, file["series"]["credential"]: "no-secret"}
    return {f"CHAMBERWATCH_{name.upper().replace('-', '_')}": secret for name, secret in secrets.items()}


def broker(folder: Path) -> Mosquitto:
    """Start a broker on the sample settings, with our port and folder."""
    port = free_port()
    text = (ROOT / "config" / "mosquitto-chamberwatch.conf").read_text(encoding="utf-8")
    text = replaced(text, **{"listener 1883 127.0.0.1": f"listener {port} 127.0.0.1"})
    kept = folder / "broker"
    kept.mkdir()
    config = kept / "mosquitto.conf"
    # Started by root it would become another user, who may not write here.
    config.write_text(f"{text}\npersistence_location {kept}/\nlog_dest stderr\nuser root\n", encoding="utf-8")
    started: Mosquitto = Mosquitto(kept, config=config, port=port).start()
    return started


def hang(watch: Watch, pieces: dict[str, str], days: int) -> None:
    """Record that pieces hang since `days` ago."""
    for name, facts in pieces.items():
        print(" ", watch.command("hang", name, "--chamber", CHAMBER, *facts.split(), "--at", f"{days}d ago").strip())


def speak(story: str, port: int, log: Path) -> subprocess.Popen[bytes]:
    """Let the simulator speak its two probes."""
    argv = [
        sys.executable, "-m", "simulator", "speak", story, "--broker", f"127.0.0.1:{port}",
        "--topic-prefix", CHAMBER, "--pace", "1",
    ]  # fmt: skip
    with log.open("wb") as out:
        return subprocess.Popen(argv, cwd=ROOT, stdout=out, stderr=out, env=clean_environment())


def run(story: str, minutes: float, folder: Path) -> Account:
    """Run it all for so long, until everything that was raised has returned; return what there is to check."""
    told = read(find(story))
    with ExitStack() as parts:
        server = broker(folder)
        parts.callback(server.kill)
        mail = MailServer()
        parts.callback(mail.close)
        series = SeriesServer(folder)
        parts.callback(series.kill)
        config = settings(folder, server.port, series.port)
        watch = Watch(config, "--verbose", **credentials(config, mail.url))
        print(watch.command("check"), end="")
        watch.start().online(server)
        parts.callback(watch.kill)
        recorder = parts.enter_context(Recorder(server.port))
        hang(watch, AT_ONCE, 9)
        speaker = speak(story, server.port, folder / "simulator.log")
        parts.callback(speaker.kill)
        entered_ms = _live(watch, recorder, speaker, minutes)
        account = Account(
            folder, told, recorder.readings, recorder.alarms, list(mail.got), entered_ms,
            tuple(AT_ONCE), tuple(LATE),
        )  # fmt: skip
        check(account, watch, series)
        return account


def _live(watch: Watch, recorder: Recorder, speaker: subprocess.Popen[bytes], minutes: float) -> int:
    """Let time pass; return when the late piece was entered."""
    began_s = time.monotonic()
    shelf_s, said_s, entered_ms = 0.0, 0.0, 0
    while True:
        passed_s = time.monotonic() - began_s
        assert watch.alive(), watch.log.read_text(encoding="utf-8")
        if passed_s - shelf_s >= SHELF_EVERY_S or not shelf_s:
            shelf_s = passed_s or 1e-9
            recorder.shelf()
        if not entered_ms and passed_s >= LATE_SHARE * minutes * 60:
            hang(watch, LATE, 16)
            entered_ms = now_ms()
        if passed_s - said_s >= 300:
            said_s = passed_s
            print(f"  {passed_s / 60:.0f} min: {len(recorder.readings)} readings, {len(recorder.alarms)} told", flush=True)
        if speaker.poll() is not None or (passed_s >= minutes * 60 and _quiet(recorder)):
            break
        time.sleep(0.5)
    speaker.terminate()
    speaker.wait(30)
    time.sleep(SETTLE_S)
    return entered_ms


def _quiet(recorder: Recorder) -> bool:
    """Whether as many alarms have returned as were raised."""
    told = [payload for _, payload in recorder.alarms]
    return sum(b'"state": "active"' in p for p in told) == sum(b'"state": "returned"' in p for p in told)


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--story", help="a weekend of the simulator (default: hour, or six_minutes for less)")
    parser.add_argument("--keep", type=Path, help="where to keep journal, settings and logs")
    args = parser.parse_args()
    story = args.story or ("hour" if args.minutes >= 60 else str(Path(__file__).with_name("six_minutes.toml")))
    folder = args.keep or Path(tempfile.mkdtemp(prefix="chamberwatch-hour-"))
    folder.mkdir(parents=True, exist_ok=True)
    account = run(story, args.minutes, folder.resolve())
    print(report(account))
    return 1 if account.faults else 0


if __name__ == "__main__":
    raise SystemExit(main())
