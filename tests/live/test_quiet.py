"""Quiet and a probe's rest on a running watch: real process, real broker, real command line."""

from __future__ import annotations

import time

import pytest
from ingest_parts import Mosquitto, until
from watch_parts import CHAMBER, Daemon, line, mqtt_probe

pytestmark = pytest.mark.external


@pytest.fixture
def evening(tmp_path):
    """A watch on a broker, too warm by both its probes."""
    broker = Mosquitto(tmp_path / "broker").start()
    config = f'{CHAMBER}{mqtt_probe("rear")}{mqtt_probe("front")}[broker]\nport = {broker.port}\n'
    watch = Daemon(tmp_path, config + '[notify]\nacknowledge_topic = "chamberwatch/on-it"\n').start()
    for _ in range(6):
        for probe in ("rear", "front"):
            broker.publish(f"cellar/{probe}", line(17.0))
        time.sleep(0.3)  # readings without a time are stamped on arrival
    watch.await_event(kind="temperature-high", state="active")
    yield watch, broker
    watch.kill()
    broker.kill()


def test_quiet_and_rest_are_taken_from_command_line_and_topic_and_end_by_both(evening):
    """Within seconds; what is refused is refused with its exit code; a restart keeps them."""
    watch, broker = evening
    said = watch.command("shelve", "cellar", "--until", "2h", "--by", "Ines")
    assert said.startswith("quiet until ")
    assert until(lambda: watch.alarm_states() == ["shelved"], 20)
    broker.publish("chamberwatch/on-it", b"quiet cellar over")
    assert until(lambda: watch.alarm_states() == ["unacknowledged"], 20)
    broker.publish("chamberwatch/on-it", b"quiet cellar temperature-high 8h")
    assert until(lambda: watch.alarm_states() == ["shelved"], 20)
    watch.kill()
    watch.start()
    assert watch.now()["alarms"][0]["state"] == "shelved"
    assert "cellar is still watched by front" in " ".join(watch.command("rest", "rear", "--until", "3d").split())
    assert "NOBODY WATCHES cellar" in " ".join(watch.command("rest", "front", "--until", "3d").split())
    assert "rear rests until" in watch.command("now")
    assert until(lambda: len([e for e in watch.events(kind="probe-silent") if "rests" in e["text"]]) == 2, 20)
    assert until(lambda: watch.alarm_states() == [], 20)
    broker.publish("chamberwatch/on-it", b"rest rear over")
    assert until(lambda: [e for e in watch.events() if "counts again" in e["text"]], 20)
    resting = {p["probe"]: p["rests_until"] is not None for p in watch.now()["probes"]}
    assert resting == {"rear": False, "front": True}
    assert "at most 72 h" in watch.command("shelve", "cellar", "temperature-high", "--until", "4d", code=65)
    assert "write 8h or 2d" in watch.command("shelve", "cellar", "temperature-high", "--until", "soon", code=64)
    assert "the probes are: front, rear" in watch.command("rest", "side", "--over", code=65)
    broker.publish("chamberwatch/on-it", b"quiet cellar 100h")
    assert until(lambda: "100h is too long: at most 72 h" in watch.log.read_text(), 20)
    assert watch.stop()[0] == 0
