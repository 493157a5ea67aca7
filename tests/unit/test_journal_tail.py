"""Reading on from a cursor: every row comes at least once, whatever lands behind it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from journal_parts import PLAN, T0, at, event, reading, rows

from chamberwatch.journal.facts import Facts
from chamberwatch.journal.store import Batch, Journal
from chamberwatch.journal.tail import Cursor, Row, Tail
from chamberwatch.model import PieceFacts

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """An empty journal that knows the house."""
    opened = Journal.open(tmp_path / "cellar.db")
    opened.remember_plan(PLAN, "metric")
    yield opened
    opened.close()


@pytest.fixture
def tail(journal: Journal) -> Iterator[Tail]:
    """Its tail."""
    opened = Tail(journal.path)
    yield opened
    opened.close()


def seconds(found: list[Row]) -> list[float]:
    """Return the rows' times as seconds after T0."""
    return [(row.at_ms - T0) / 1000 for row in found]


def drain(tail: Tail, cursor: Cursor, limit: int) -> tuple[list[Row], Cursor]:
    """Read on until nothing more comes."""
    taken: list[Row] = []
    while True:
        found, cursor = tail.readings(cursor, limit)
        if not found:
            return taken, cursor
        assert len(found) <= limit
        taken += found


def test_rows_come_in_order_with_their_chamber(journal: Journal, tail: Tail) -> None:
    """By time, then probe, a missing half as None."""
    journal.commit(
        Batch([reading(10, None, 71.0), reading(0, 12.5, 70.0, "low"), reading(10, 12.0, 70.0, "front")])
    )
    found, _ = tail.readings(Cursor(), 10)
    assert found == [
        Row(at(0), "low", "salting", 12.5, 70.0),
        Row(at(10), "rear", "cellar", None, 71.0),
        Row(at(10), "front", "cellar", 12.0, 70.0),
    ]


@pytest.mark.parametrize("limit", [1, 2, 3, 100])
def test_pages_of_any_size_give_the_same_rows(journal: Journal, tail: Tail, limit: int) -> None:
    """A limit cuts between rows, also between two probes of one time."""
    batch = [reading(n, 12.0, 70.0, probe) for n in range(5) for probe in ("rear", "front")]
    journal.commit(Batch(batch))
    found, cursor = drain(tail, Cursor(), limit)
    assert seconds(found) == [0, 0, 1, 1, 2, 2, 3, 3, 4, 4]
    assert tail.readings(cursor, limit) == ([], cursor)


def test_what_lands_behind_the_cursor_comes_too(journal: Journal, tail: Tail) -> None:
    """A late row, a slower probe's row at the very newest time, and a row whose half was filled in."""
    journal.commit(Batch([reading(0, 12.0, None), reading(100, 12.0, 70.0)]))
    _, cursor = drain(tail, Cursor(), 10)
    journal.commit(
        Batch([reading(50, 12.0, 70.0), reading(100, 12.0, 70.0, "front"), reading(0, None, 70.0)])
    )
    found, cursor = drain(tail, cursor, 1)
    assert sorted(seconds(found)) == [0, 50, 100]
    assert next(row for row in found if row.at_ms == T0).rh_pct == 70.0
    assert drain(tail, cursor, 10)[0] == []


@pytest.mark.parametrize("order", [("rear", "front"), ("front", "rear")])
def test_two_probes_of_one_time_both_come(journal: Journal, tail: Tail, order: tuple[str, str]) -> None:
    """Whichever was committed first, and the cursor moved in between."""
    cursor, given = Cursor(), []
    for probe in order:
        journal.commit(Batch([reading(0, 12.0, 70.0, probe)]))
        found, cursor = drain(tail, cursor, 10)
        given += [row.probe for row in found]
    assert given == list(order)


def test_a_half_filled_in_where_the_cursor_stands_comes(journal: Journal, tail: Tail) -> None:
    """The very last row given, then completed, is given again."""
    journal.commit(Batch([reading(0, 12.0, None)]))
    _, cursor = drain(tail, Cursor(), 10)
    journal.commit(Batch([reading(0, None, 70.0)]))
    assert drain(tail, cursor, 10)[0] == [Row(T0, "rear", "cellar", 12.0, 70.0)]


def test_what_lands_behind_before_the_cursor_comes_once(journal: Journal, tail: Tail) -> None:
    """A row the cursor has not reached yet comes in its turn, not twice."""
    journal.commit(Batch([reading(n, 12.0, 70.0) for n in range(0, 100, 10)]))
    found, cursor = tail.readings(Cursor(), 3)
    journal.commit(Batch([reading(55, 12.0, 70.0)]))
    more, _ = drain(tail, cursor, 100)
    assert seconds(found + more) == [0, 10, 20, 30, 40, 50, 55, 60, 70, 80, 90]


def test_a_repetition_is_not_given_again(journal: Journal, tail: Tail) -> None:
    """A redelivered reading changed nothing."""
    journal.commit(Batch([reading(0, 12.0, 70.0), reading(10, 12.0, 70.0)]))
    _, cursor = drain(tail, Cursor(), 10)
    journal.commit(Batch([reading(0, 12.0, 70.0)]))
    assert tail.readings(cursor, 10)[0] == []


def test_a_rewound_cursor_gives_the_last_minutes_again(journal: Journal, tail: Tail) -> None:
    """Rows of the last ten minutes, and those that landed behind during them, however old; no others."""
    journal.commit(Batch([reading(n, 12.0, 70.0) for n in range(0, 3600, 60)]))
    journal.commit(Batch([reading(7, 12.0, 70.0)]))
    journal.commit(Batch([reading(n, 12.0, 70.0) for n in range(3600, 7200, 60)]))
    journal.commit(Batch([reading(8, 12.0, 70.0)]))
    _, cursor = drain(tail, Cursor(), 1000)
    again, after = drain(tail, cursor.rewound(600_000), 5)
    assert seconds(again) == [8, *range(6540, 7200, 60)]
    assert (after.at_ms, after.behind_seq) == (cursor.at_ms, cursor.behind_seq)


def test_a_cursor_at_the_beginning_cannot_be_rewound(tail: Tail) -> None:
    """There is nothing before everything."""
    assert Cursor().rewound(600_000) == Cursor()
    assert tail.readings(Cursor().rewound(600_000), 10) == ([], Cursor())


def test_events_come_as_recorded_with_their_pieces(journal: Journal, tail: Tail) -> None:
    """Told order, not time order, with the pieces that hung in that chamber at the event's time."""
    with Facts(journal.path, now_ms=at(9000)) as facts:
        facts.hang(PieceFacts("Loin 1", "loin", 2000), "cellar", at(-100))
        facts.hang(PieceFacts("Neck 4", "neck", 2400), "cellar", at(-300), until_ms=at(50))
        facts.hang(PieceFacts("Belly 3", "belly", 3000), "salting", at(-300))
    told = [event("b", 100), event("a", 0), event("house", 20, chamber="")]
    journal.commit(Batch(events=[(e, "text") for e in told]))
    first, cursor = tail.events(Cursor(), 2)
    rest, cursor = tail.events(cursor, 2)
    assert [(e.id, e.pieces) for e in first + rest] == [
        ("b", ("Loin 1",)),
        ("a", ("Neck 4", "Loin 1")),
        ("house", ("Belly 3", "Neck 4", "Loin 1")),
    ]
    assert (first[0].kind, first[0].state, first[0].value, first[0].limit) == (
        "temperature-high",
        "active",
        16.2,
        15.0,
    )
    assert (first[0].probes, first[0].since_ms, first[0].text) == (("rear",), at(40), "text")
    assert tail.events(cursor, 2) == ([], cursor)


def test_readings_and_events_share_a_cursor(journal: Journal, tail: Tail) -> None:
    """Moving on in one leaves the place in the other."""
    journal.commit(Batch([reading(0, 12.0, 70.0)], events=[(event("a"), "text")]))
    _, cursor = tail.readings(Cursor(), 10)
    found, cursor = tail.events(cursor, 10)
    assert [e.id for e in found] == ["a"]
    assert tail.readings(cursor, 10)[0] == []


def test_a_rewound_cursor_gives_late_told_events_again(journal: Journal, tail: Tail) -> None:
    """An event counts by when it was told: one of a backlog, hours old but told just now, comes again."""
    journal.commit(
        Batch([reading(10_000, 12.0, 70.0)], events=[(event("early", 100), "t"), (event("old", 5000), "t")])
    )
    journal.commit(Batch(events=[(event("backlog", 200, late_ms=9_700_000), "t"), (event("now", 9900), "t")]))
    _, cursor = tail.readings(Cursor(), 10)
    _, cursor = tail.events(cursor, 10)
    assert [e.id for e in tail.events(cursor.rewound(600_000), 10)[0]] == ["backlog", "now"]


def saved(journal: Journal) -> list[tuple]:
    """Return what is on disk of the cursors, as another connection sees it."""
    return rows(journal.path, "SELECT name, body FROM cursor ORDER BY name")


def test_a_cursor_is_kept_by_name(journal: Journal, tail: Tail) -> None:
    """Each series has its own; an unknown name is at the beginning."""
    here = Cursor(at(5), 2, 3, 4)
    tail.save("one", here)
    tail.close()
    again = Tail(journal.path)
    assert (again.cursor("one"), again.cursor("two")) == (here, Cursor())
    again.close()


def test_saving_spares_the_disk(journal: Journal, tail: Tail) -> None:
    """Within five minutes of the last one on disk nothing is written, yet the tail answers with the newest."""
    tail.save("one", Cursor(at(0), 1))
    on_disk = saved(journal)
    for n in range(10, 300, 10):
        tail.save("one", Cursor(at(n), 1))
    assert saved(journal) == on_disk
    assert tail.cursor("one") == Cursor(at(290), 1)
    tail.save("one", Cursor(at(300), 1))
    assert saved(journal) != on_disk


def test_closing_keeps_the_newest_cursor(journal: Journal, tail: Tail) -> None:
    """A clean stop gives no row twice."""
    tail.save("one", Cursor(at(0), 1))
    tail.save("one", Cursor(at(10), 1))
    tail.close()
    again = Tail(journal.path)
    assert again.cursor("one") == Cursor(at(10), 1)
    again.close()


def test_a_cursor_set_back_is_kept_at_once(journal: Journal, tail: Tail) -> None:
    """Going back must survive a kill, or the rows would be missing."""
    tail.save("one", Cursor(at(0), 1))
    tail.save("one", Cursor(at(10), 1))
    tail.save("one", Cursor(at(-600), 1))
    assert str(at(-600)) in saved(journal)[0][1]
    assert tail.cursor("one") == Cursor(at(-600), 1)
