"""`replay`: recorded lines through the command line, their own time as the clock."""

from __future__ import annotations

import json

import pytest
from daemon_parts import T0, line

from chamberwatch.cli import main
from chamberwatch.journal.lock import hold
from chamberwatch.model import MS_PER_MIN
from chamberwatch.wire.timestamp import format_rfc3339, parse_rfc3339

CONFIG = """
timezone = "UTC"
[journal]
path = "house.db"
[[chamber]]
name = "cellar"
[[probe]]
name = "rear"
chamber = "cellar"
serial = { port = "/dev/ttyS9" }
[[probe]]
name = "front"
chamber = "cellar"
mqtt = { topic = "cellar/front" }
"""


class Replays:
    """A settings file in a folder, and the command."""

    def __init__(self, folder, capsys):
        self.folder, self.capsys = folder, capsys
        self.config = folder / "house.toml"
        self.config.write_text(CONFIG)
        self.out = folder / "events.jsonl"

    def file(self, lines, name="air.jsonl", end=b"\n"):
        """Write lines; `end`: what follows the last one."""
        path = self.folder / name
        path.write_bytes(b"\n".join(lines) + end)
        return path

    def run(self, *files, journal=None, code=0):
        """Replay the files; return the summary, and the events it wrote."""
        extra = [] if journal is None else ["--journal", str(self.folder / journal)]
        argv = ["replay", *map(str, files), "--config", str(self.config), "--json", "--events", str(self.out), *extra]
        assert main(argv) == code
        said = self.capsys.readouterr()
        if code:
            return said.err
        return json.loads(said.out), [json.loads(text) for text in self.out.read_text().splitlines()]

    def ask(self, *argv, journal="house.db"):
        """Run another command on the journal; return what it printed."""
        assert main([*argv, "--journal", str(self.folder / journal)]) == 0
        return self.capsys.readouterr().out


@pytest.fixture
def replays(tmp_path, capsys):
    """Return the command in a fresh folder."""
    return Replays(tmp_path, capsys)


def story():
    """Return six hours of two probes: an hour too warm, half an hour of silence, a spell of noise."""
    lines = []
    for i in range(6 * 60 * 6):
        minute = i / 6
        temp_c = 19.0 if 60 <= minute < 120 else 12.5
        at_ms = T0 + 10_000 * i
        if not 200 <= minute < 230:
            lines.append(line(temp_c, 75 + i % 3 / 10, at_ms=at_ms, name="rear"))
        lines.append(line(temp_c - 0.3, 74 + i % 3 / 10, at_ms=at_ms, name="front"))
        if 300 <= minute < 302:
            lines += [b'[{"bn":"front/","n":"temperature","u":"Cel","v":999}]'] * 3
    return lines


def told(events):
    """Return what of events a reader compares."""
    return [(e["kind"], e["state"], round((parse_rfc3339(e["at"]) - T0) / MS_PER_MIN, 1)) for e in events]


def test_the_summary_counts_what_went_in_and_what_was_told(replays):
    """Readings, what was refused and why, events by kind and state."""
    summary, events = replays.run(replays.file(story()))
    assert summary["readings"] == 6 * 60 * 6 + 6 * 330
    assert (summary["repeated"], summary["late"], summary["merged"]) == (0, 0, 0)
    assert summary["refused"] == {"outside what a probe can measure": 36}
    assert sum(e["count"] for e in summary["events"]) == len(events)
    assert {(e["kind"], e["state"]) for e in summary["events"] if e["state"] != "noted"} == {
        (kind, state)
        for kind in ("temperature-high", "probe-silent", "probe-implausible")
        for state in ("active", "returned")
    }


def test_the_events_are_those_of_their_own_time(replays):
    """Too warm by 4 °C is told 15 min on; silence 90 s after the last reading; none at the time of replaying."""
    _, events = replays.run(replays.file(story()))
    begins = [e for e in told(events) if e[1] == "active"]
    assert begins == [
        ("temperature-high", "active", pytest.approx(75, abs=0.4)),
        ("probe-silent", "active", pytest.approx(201.3, abs=0.1)),
        ("probe-implausible", "active", pytest.approx(300.4, abs=0.2)),
    ]


def test_an_event_line_has_the_shape_others_read(replays):
    """Names and order of the contract; times in RFC 3339 UTC; what was told, as text."""
    _, events = replays.run(replays.file(story()))
    for event in events:
        assert list(event) == [
            "id", "at", "since", "kind", "state", "priority", "chamber", "probes", "pieces", "value", "limit",
            "because", "text",
        ]  # fmt: skip
        assert event["at"].endswith("Z")
        assert parse_rfc3339(event["since"]) <= parse_rfc3339(event["at"])
        assert event["state"] in {"active", "returned", "noted"}
        assert event["priority"] in {"high", "medium", "low"}
        assert event["because"] is None or event["because"] in {e["id"] for e in events}
        assert event["chamber"] == "cellar"
        assert event["text"].strip()
    warm = events[0]
    assert (warm["value"], warm["limit"], warm["since"]) == (19.0, 15.0, format_rfc3339(T0 + 60 * MS_PER_MIN))
    assert len({e["id"] for e in events}) == len(events)


def test_the_events_written_are_those_of_the_journal(replays):
    """`events --json` afterwards gives the same lines, oldest first."""
    _, events = replays.run(replays.file(story()))
    again = [json.loads(text) for text in replays.ask("events", "--json").splitlines()]
    assert again == events
    assert [e["at"] for e in again] == sorted(e["at"] for e in again)


def test_a_second_replay_of_the_same_file_changes_nothing(replays):
    """All repeated, no event again, the counters of rows as they were."""
    path = replays.file(story())
    first, _ = replays.run(path)
    events = replays.ask("events", "--json")
    second, fresh = replays.run(path)
    assert second["readings"] == 0
    assert second["repeated"] == first["readings"]
    assert (second["events"], fresh) == ([], [])
    assert replays.ask("events", "--json") == events
    now = json.loads(replays.ask("now", "--json"))
    assert sum(p["readings"] for p in now["probes"]) == first["readings"]


@pytest.mark.parametrize("cut", [1, 700, 2222, 4100])
def test_a_file_cut_in_two_tells_the_same(replays, cut):
    """Two files in one replay, or in two, one after the other: same events, same words."""
    lines = story()
    _, whole = replays.run(replays.file(lines), journal="whole.db")
    one, two = replays.file(lines[:cut], "one.jsonl"), replays.file(lines[cut:], "two.jsonl")
    _, together = replays.run(one, two, journal="together.db")
    _, first = replays.run(one, journal="apart.db")
    _, second = replays.run(two, journal="apart.db")
    assert together == whole
    assert first + second == whole


def test_what_cannot_be_read_is_refused_and_the_rest_goes_on(replays):
    """Noise, a line without end, one that needs a time, a stranger's; the exit code stays 0."""
    lines = [
        b"\xff\xfe noise",
        b"[" + b"x" * 70_000,
        line(name="rear"),
        line(name="attic", at_ms=T0),
        line(at_ms=T0),
        b"",
        line(12.5, at_ms=T0, name="rear"),
    ]
    summary, events = replays.run(replays.file(lines))
    assert summary["readings"] == 1
    assert summary["refused"] == {
        "no probe named": 2, "not UTF-8 text": 1, "too long": 1, "bad time": 1, "unknown probe": 1,
    }  # fmt: skip
    assert events == []


@pytest.mark.parametrize("end", [b"", b"\n", b"\r\n", b"\n\n"])
def test_the_last_line_counts_with_or_without_its_end(replays, end):
    """A recording that was broken off between two lines is whole."""
    summary, _ = replays.run(replays.file([line(at_ms=T0, name="rear"), line(at_ms=T0 + 1, name="rear")], end=end))
    assert (summary["readings"], summary["refused"]) == (2, {})


def test_an_empty_file_is_no_fault(replays):
    """Nothing in, nothing told."""
    summary, events = replays.run(replays.file([], end=b""))
    assert (summary["readings"], summary["refused"], events) == (0, {}, [])


def test_a_missing_file_is_66_before_anything_is_read(replays):
    """Also when it is the second one."""
    err = replays.run(replays.file(story()), replays.folder / "nowhere.jsonl", code=66)
    assert "nowhere.jsonl: there is no such file of readings" in err
    assert not (replays.folder / "house.db").exists()


def test_a_journal_that_is_watched_is_75(replays):
    """It says by whom, and nothing is touched."""
    path = replays.file(story())
    with hold(replays.folder / "house.db"):
        err = replays.run(path, code=75)
    assert "is held by another watch or replay (process " in err
    assert not replays.out.exists()


def test_replay_needs_the_settings(replays, monkeypatch):
    """A journal alone does not say what is too warm."""
    monkeypatch.delenv("CHAMBERWATCH_CONFIG", raising=False)
    monkeypatch.setattr("chamberwatch.cli.home.DEFAULT_CONFIG", replays.folder / "none.toml")
    assert main(["replay", str(replays.file(story())), "--journal", str(replays.folder / "house.db")]) == 64
    assert "this needs the settings: give --config FILE" in replays.capsys.readouterr().err


@pytest.mark.parametrize(
    ("out", "code", "why"),
    [
        ("air.jsonl", 64, "would be overwritten"),
        ("house.toml", 64, "would be overwritten"),
        ("nowhere/events.jsonl", 66, "there is no such folder"),
        (".", 66, "name a file"),
    ],
)
def test_a_place_for_events_that_will_not_do_is_told_before_the_replay(replays, out, code, why):
    """Neither the recording nor the settings are overwritten, and no hour is spent for nothing."""
    path = replays.file(story())
    before = path.read_bytes()
    replays.out = replays.folder / out
    assert why in replays.run(path, code=code)
    assert path.read_bytes() == before
    assert replays.config.read_text() == CONFIG
    assert not (replays.folder / "house.db").exists()


def test_the_summary_in_words(replays):
    """Without --json a person reads it."""
    assert main(["replay", str(replays.file(story())), "--config", str(replays.config)]) == 0
    lines = replays.capsys.readouterr().out.splitlines()
    assert lines[0] == "readings 4,140 (late 0), repeated 0, refused 36"
    assert "  refused: outside what a probe can measure 36" in lines
    assert "  temperature-high active 1" in lines


def test_another_journal_leaves_the_settings_one_alone(replays):
    """--journal J is where it all goes."""
    replays.run(replays.file(story()), journal="other.db")
    assert not (replays.folder / "house.db").exists()
    assert (replays.folder / "other.db").exists()


def test_pieces_are_on_events_whenever_they_were_entered(replays):
    """One before the replay, one after it for the same time, one that was already down."""
    hang = ["hang", "--chamber", "cellar", "--kind", "neck", "--green-weight", "2150g", "--config", str(replays.config)]
    at = format_rfc3339(T0 - 24 * 60 * MS_PER_MIN)
    until = format_rfc3339(T0 + 30 * MS_PER_MIN)
    assert main([*hang, "Bresaola 2", "--at", at]) == 0
    replays.capsys.readouterr()
    _, events = replays.run(replays.file(story()))
    assert {tuple(e["pieces"]) for e in events} == {("Bresaola 2",)}
    assert "Bresaola 2 (day 2)" in events[0]["text"]
    assert main([*hang, "Neck 4", "--at", format_rfc3339(T0 - MS_PER_MIN)]) == 0
    assert main([*hang, "Loin 1", "--at", at, "--until", until]) == 0
    replays.capsys.readouterr()
    later = [json.loads(text) for text in replays.ask("events", "--json").splitlines()]
    assert {tuple(e["pieces"]) for e in later} == {("Bresaola 2", "Neck 4")}
    assert [e["text"] for e in later] == [e["text"] for e in events]
    page = " ".join(replays.ask("events").split())
    assert "Entered after this was told: Neck 4 hung there too." in page


def test_readings_out_of_order_are_kept_and_not_judged(replays):
    """A second probe's log appended late: stored, counted as late where its own probe was further."""
    lines = story()
    summary, events = replays.run(replays.file([*lines[2000:], *lines[:2000]]))
    assert summary["readings"] == 4140
    assert summary["late"] == 2000
    assert all(parse_rfc3339(e["at"]) > T0 + 120 * MS_PER_MIN for e in events)
