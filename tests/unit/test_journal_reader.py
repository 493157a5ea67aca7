"""What the commands are told: the air now, what was refused, events with their pieces."""

from __future__ import annotations

import json
import threading
from typing import TYPE_CHECKING

import pytest
from journal_parts import PLAN, T0, alarm, at, event, reading

from chamberwatch.errors import JournalError
from chamberwatch.journal.connection import transaction
from chamberwatch.journal.facts import Facts
from chamberwatch.journal.pieces import Remark
from chamberwatch.journal.reader import Reader
from chamberwatch.journal.store import Batch, Journal
from chamberwatch.journal.views import ChamberAir, RefusedRow
from chamberwatch.model import EventState, Hanging, Kind, PieceFacts, Plan, Priority, Reading, Reason, Refusal

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

DAY_S = 86_400


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """An empty journal that knows the house."""
    opened = Journal.open(tmp_path / "cellar.db")
    opened.remember_plan(PLAN, "us")
    yield opened
    opened.close()


@pytest.fixture
def reader(journal: Journal) -> Iterator[Reader]:
    """Its reader."""
    with Reader(journal.path) as opened:
        yield opened


def hang(journal: Journal, name: str, chamber: str, from_s: float, until_s: float | None = None) -> None:
    """Record a piece of that name and its stay."""
    with Facts(journal.path, now_ms=at(400 * DAY_S)) as facts:
        until_ms = None if until_s is None else at(until_s)
        facts.hang(PieceFacts(name, "loin", 2000), chamber, at(from_s), until_ms=until_ms)


# -- the house and the air


def test_a_new_journal_answers_everything_with_nothing(tmp_path: Path) -> None:
    """No plan, no air, no events: empty answers, no faults."""
    Journal.open(tmp_path / "new.db").close()
    with Reader(tmp_path / "new.db") as reader:
        assert (reader.plan(), reader.units(), reader.alive_ms()) == (None, "metric", None)
        assert (reader.air(), reader.probes(), reader.alarms(), reader.refusals()) == ([], [], [], [])
        assert (list(reader.events()), reader.pieces(), reader.piece("Loin 1")) == ([], [], None)


def test_the_house_is_known_from_the_journal_alone(journal: Journal, reader: Reader) -> None:
    """Plan, units and the watch's sign of life."""
    journal.commit(Batch(alive_ms=at(7)))
    assert (reader.plan(), reader.units(), reader.alive_ms()) == (PLAN, "us", at(7))


def test_a_probe_shows_its_newest_air_and_its_counters(journal: Journal, reader: Reader) -> None:
    """`readings` is the number of its rows; a late row is counted but is not the newest air."""
    journal.commit(
        Batch(
            [
                reading(10, 12.5, 74.0),
                reading(0, 19.0, 50.0),
                reading(10, 12.5, 74.0),
                reading(5, 12.0, None),
            ],
            [Refusal("rear", Reason.NOT_JSON, "{", at(3))],
        )
    )
    journal.commit(Batch([reading(5, None, 70.0)]))
    rear = reader.probes()[0]
    assert (rear.probe, rear.chamber, rear.planned, rear.every_s) == ("rear", "cellar", True, 10.0)
    assert (rear.at_ms, rear.temp_c, rear.rh_pct) == (at(10), 12.5, 74.0)
    assert (rear.readings, rear.refused, rear.repeated, rear.merged, rear.late) == (3, 1, 1, 1, 2)


def test_a_probe_that_sends_halves_shows_both(journal: Journal, reader: Reader) -> None:
    """Its last temperature and its last humidity, unless that is over five minutes older."""
    journal.commit(Batch([reading(0, 12.5, None), reading(4, None, 74.0), reading(9, 12.6, None)]))
    assert reader.probes()[0][5:7] == (12.6, 74.0)
    journal.commit(Batch([reading(400, 12.7, None)]))
    assert reader.probes()[0][5:7] == (12.7, None)


def test_probes_without_a_plan_come_last(journal: Journal, reader: Reader) -> None:
    """Planned ones in the plan's order, also when they never spoke; then those that are not planned any more."""
    journal.remember_plan(Plan(PLAN.chambers, PLAN.probes[1:]), "metric")
    journal.commit(Batch([reading(0, 12.0, 70.0, "guest")]))
    assert [(p.probe, p.planned, p.at_ms) for p in reader.probes()] == [
        ("front", True, None),
        ("low", True, None),
        ("rear", False, None),
        ("guest", False, T0),
    ]


def test_the_air_of_a_chamber_is_the_median_of_its_probes(journal: Journal, reader: Reader) -> None:
    """Of two the middle; a chamber whose probes never spoke has none."""
    journal.commit(Batch([reading(0, 12.0, 70.0), reading(8, 13.0, None, "front")]))
    assert reader.air() == [
        ChamberAir("cellar", at(8), 12.5, 70.0, ("rear", "front")),
        ChamberAir("salting", None, None, None, ()),
    ]


def test_a_silent_probe_does_not_count_for_the_air(journal: Journal, reader: Reader) -> None:
    """One that said nothing for 90 s (or three of its intervals) before the newest is left out."""
    journal.commit(Batch([reading(0, 30.0, 20.0), reading(91, 12.0, 70.0, "front")]))
    assert reader.air()[0] == ChamberAir("cellar", at(91), 12.0, 70.0, ("front",))


def test_refusals_are_told_by_probe_and_reason(journal: Journal, reader: Reader) -> None:
    """The most frequent first, input of nobody under an empty name."""
    refusals = [Refusal("rear", Reason.NOT_JSON, "{", at(1))] + [
        Refusal("rear", Reason.OUT_OF_RANGE, "999 %RH", at(n)) for n in range(2, 5)
    ]
    journal.commit(Batch(refusals=[*refusals, Refusal(None, Reason.NO_PROBE, "", at(9))]))
    assert reader.refusals() == [
        RefusedRow("", "no probe named", 1, at(9), ""),
        RefusedRow("rear", "outside what a probe can measure", 3, at(4), "999 %RH"),
        RefusedRow("rear", "not whole JSON", 1, at(1), "{"),
    ]


def test_readings_of_a_time_and_a_probe(journal: Journal, reader: Reader) -> None:
    """From (included) to (excluded), of all probes or one."""
    batch = [reading(n, 12.0 + n, 70.0, probe) for n in range(4) for probe in ("rear", "front")]
    journal.commit(Batch(batch))
    assert reader.readings(at(1), at(3)) == batch[2:6]
    assert reader.readings(at(1), at(3), "front") == [
        Reading("front", at(n), 12.0 + n, 70.0, at(n)) for n in (1, 2)
    ]


def test_rollups_are_means_and_extremes(journal: Journal, reader: Reader) -> None:
    """Closed bins only, None where a quantity was never measured."""
    journal.commit(Batch([reading(0, 10.0, None), reading(60, 13.0, None), reading(300, 11.0, 70.0)]))
    (only,) = reader.rollups(T0, at(900))
    assert only[:6] == (T0, "rear", 2, 11.5, 10.0, 13.0)
    assert only[6:] == (0, None, None, None)
    assert reader.rollups(at(300), at(900)) == []


# -- events


def test_an_event_has_the_shape_of_its_contract(journal: Journal, reader: Reader) -> None:
    """Names, order and types of the line, RFC 3339 in UTC, and it is JSON."""
    hang(journal, "Loin 1", "cellar", -100)
    told = event("a", 1.5, probes=("rear", "front"), state=EventState.NOTED, because="b", limit=None)
    journal.commit(Batch(events=[(told, "Too warm\nCheck the plug.")]))
    (line,) = reader.events()
    assert list(json.loads(json.dumps(line)).items()) == [
        ("id", "a"),
        ("at", "2026-10-31T00:00:01.500Z"),
        ("since", "2026-10-30T23:59:01.500Z"),
        ("kind", "temperature-high"),
        ("state", "noted"),
        ("priority", "high"),
        ("chamber", "cellar"),
        ("probes", ["rear", "front"]),
        ("pieces", ["Loin 1"]),
        ("value", 16.2),
        ("limit", None),
        ("because", "b"),
        ("text", "Too warm\nCheck the plug."),
    ]


def ids(reader: Reader, **filters: object) -> list[str]:
    """Return the ids of the events that pass the filters."""
    return [line["id"] for line in reader.events(**filters)]


def test_events_come_oldest_first_and_can_be_filtered(journal: Journal, reader: Reader) -> None:
    """By time (from included, to excluded), kind, chamber, piece; two of one time as they were recorded."""
    hang(journal, "Loin 1", "cellar", 150)
    told = [
        event("late", 300, kind=Kind.HUMIDITY_LOW),
        event("z", 100),
        event("a", 100),
        event("cold", 200, chamber="salting"),
    ]
    journal.commit(Batch(events=[(e, "t") for e in told]))
    assert ids(reader) == ["z", "a", "cold", "late"]
    assert ids(reader, since_ms=at(200), until_ms=at(300)) == ["cold"]
    assert ids(reader, kind="humidity-low") == ["late"]
    assert ids(reader, chamber="cellar") == ["z", "a", "late"]
    assert ids(reader, piece="Loin 1") == ["late"]


def test_a_piece_entered_late_is_joined_to_past_events(journal: Journal, reader: Reader) -> None:
    """The join is on event time at read time: from included, end excluded, whoever was entered when."""
    journal.commit(Batch(events=[(event(str(n), n), "t") for n in (0, 100, 200)]))
    assert [line["pieces"] for line in reader.events()] == [[], [], []]
    hang(journal, "Neck 4", "cellar", 100, 200)
    hang(journal, "Loin 1", "cellar", 0)
    hang(journal, "Belly 3", "salting", 0)
    assert [line["pieces"] for line in reader.events()] == [["Loin 1"], ["Loin 1", "Neck 4"], ["Loin 1"]]


def test_the_open_alarms_are_told(journal: Journal, reader: Reader) -> None:
    """As the watch last wrote them."""
    journal.commit(Batch(alarms=[alarm("a", priority=Priority.LOW)]))
    assert reader.alarms() == [alarm("a", priority=Priority.LOW)]


# -- pieces


def test_the_day_of_a_hang_counts_from_the_first_hang(journal: Journal, reader: Reader) -> None:
    """Day 1 is the first 24 h; moving does not begin anew; the longest-hanging piece comes first."""
    hang(journal, "Loin 1", "cellar", 0)
    hang(journal, "Neck 4", "cellar", -9 * DAY_S)
    with Facts(journal.path, now_ms=at(400 * DAY_S)) as facts:
        facts.move("Loin 1", "salting", at(DAY_S))
    for ask in (reader.hanging, journal.hanging):
        assert ask("cellar", at(DAY_S) - 1) == (Hanging("Neck 4", 10), Hanging("Loin 1", 1))
        assert ask("salting", at(DAY_S)) == (Hanging("Loin 1", 2),)
        assert ask("", at(DAY_S)) == (Hanging("Neck 4", 11), Hanging("Loin 1", 2))
        assert ask("cellar", at(-10 * DAY_S)) == ()


def test_a_piece_has_its_whole_record(journal: Journal, reader: Reader) -> None:
    """Facts, stays, weigh-ins, remarks, found by its name in capitals or not."""
    hang(journal, "Loin 1", "cellar", 0)
    with Facts(journal.path, now_ms=at(400 * DAY_S)) as facts:
        facts.weigh("Loin 1", 1960.0, at(DAY_S), 60.0, "re-tied")
        facts.note("Loin 1", "white mold, dry", at(2 * DAY_S))
        facts.note("Loin 1", "smells good", at(DAY_S))
        facts.note("cellar", "wiped the walls", at(DAY_S))
    piece = reader.piece("LOIN 1")
    assert piece is not None
    assert [piece] == reader.pieces()
    assert (piece.name, piece.facts.green_weight_g, piece.hung_ms) == ("Loin 1", 2000.0, T0)
    assert [(w.net_g, w.remark) for w in piece.weigh_ins] == [(1900.0, "re-tied")]
    assert piece.loss_pct(piece.weigh_ins[-1].net_g) == pytest.approx(5.0)
    assert (piece.day_at(at(2 * DAY_S)), piece.stay_at(at(-1))) == (3, None)
    assert reader.remarks(piece) == [
        Remark(at(DAY_S), "smells good"),
        Remark(at(2 * DAY_S), "white mold, dry"),
    ]
    assert reader.chamber_remarks("cellar") == [Remark(at(DAY_S), "wiped the walls")]


# -- beside a writer


def test_a_reader_cannot_write(reader: Reader) -> None:
    """A command that only looks can do no harm."""
    with (
        pytest.raises(JournalError, match="attempt to write a readonly database"),
        transaction(reader._db, reader.path),
    ):
        reader._db.execute("DELETE FROM event")


def test_reading_beside_a_busy_writer(journal: Journal, reader: Reader) -> None:
    """While a watch commits, every answer is one of a whole commit: two readings each."""
    stop = threading.Event()

    def write() -> None:
        writer = Journal.open(journal.path)
        n = 0
        while not stop.is_set():
            n += 10
            writer.commit(Batch([reading(n, 12.0, 70.0), reading(n, 12.0, 70.0, "front")]))
        writer.close()

    thread = threading.Thread(target=write)
    thread.start()
    try:
        counts = []
        while len(set(counts)) < 20:
            counts.append(len(reader.readings(0, at(1e9))))
            states = {p.probe: p.readings for p in reader.probes()}
            assert states["rear"] == states["front"]
    finally:
        stop.set()
        thread.join()
    assert all(count % 2 == 0 for count in counts)
    assert counts == sorted(counts)
