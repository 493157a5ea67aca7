"""Away on a running watch: the stand-in's topic hears what the owner's does not, and with what to do."""

from __future__ import annotations

import time

import pytest
from ingest_parts import Mosquitto, until
from watch_parts import CHAMBER, Daemon, Listener, line, mqtt_probe

pytestmark = pytest.mark.external


def test_alarms_go_to_the_stand_in_until_the_owner_is_back(tmp_path):
    """Too dry goes to the neighbour alone, too hot to both, with the page; after --back all is the owner's."""
    broker = Mosquitto(tmp_path / "broker").start()
    channels = '[[notify.channel]]\nname = "me"\ntopic = "a/me"\n[[notify.channel]]\nname = "neighbour"\ntopic = "a/neighbour"\n'
    config = f'{CHAMBER}{mqtt_probe("rear")}[broker]\nport = {broker.port}\n{channels}role = "stand-in"\n'
    watch = Daemon(tmp_path, config)
    me, neighbour = Listener(broker.port, "a/me"), Listener(broker.port, "a/neighbour")

    began_ms, said = (int(time.time()) - 900) * 1000, []

    def say(temp_c, rh_pct):
        at_ms = began_ms + 5000 * len(said)
        broker.publish_lines("cellar/rear", [line(temp_c + i / 100, rh_pct, at_ms + 5000 * i) for i in range(12)])
        said.extend(range(12))

    try:
        watch.start()
        say(12.5, 75)
        assert "told to neighbour" in " ".join(watch.command("away", "--until", "2d").split())
        say(12.5, 55)
        assert until(lambda: [m["kind"] for m in neighbour.heard] == ["humidity-low"], 20), (neighbour.heard, me.heard)
        assert me.heard == []
        say(22.0, 55)
        assert until(lambda: "temperature-high" in [m["kind"] for m in me.heard], 20)
        assert until(lambda: len(neighbour.heard) >= 2, 20)
        page = "WHAT TO DO AT cellar"
        assert page in next(m["text"] for m in neighbour.heard if m["kind"] == "temperature-high")
        assert page not in me.heard[0]["text"]
        watch.command("away", "--back")
        before = len(neighbour.heard)
        say(12.5, 75)
        assert until(lambda: [m for m in me.heard if m["state"] == "returned"], 20)
        assert len(neighbour.heard) == before
        assert watch.stop()[0] == 0
    finally:
        watch.kill()
        me.close()
        neighbour.close()
        broker.kill()
