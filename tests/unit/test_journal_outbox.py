"""What is owed to a channel: until it is marked sent or dropped, across restarts and beside the watch."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from journal_parts import T0, alarm, at, event, rows

from chamberwatch.errors import JournalError
from chamberwatch.journal.outbox import Outbox, OwedNotice
from chamberwatch.journal.store import Batch, Journal, Notice
from chamberwatch.model import EventState, Kind, Note, Priority

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """An open journal in which event `a` is owed to mail and push, mail first."""
    opened = Journal.open(tmp_path / "cellar.db")
    opened.commit(
        Batch(
            events=[(event("a"), "16.2 °C\nCheck the plug.")],
            alarms=[alarm("a")],
            notices=[
                Notice("mail", "a", T0, "16.2 °C", "Check the plug.", "high"),
                Notice("push", "a", at(5), "16.2 °C", "Check the plug.", "high"),
            ],
        )
    )
    yield opened
    opened.close()


@pytest.fixture
def outbox(journal: Journal) -> Iterator[Outbox]:
    """The outbox beside it."""
    opened = Outbox(journal.path)
    yield opened
    opened.close()


def owe(journal: Journal, *names: str, channel: str = "mail") -> None:
    """Owe the channel one more event of each name."""
    for name in names:
        notice = Notice(channel, name, T0, name, "body", "medium")
        journal.commit(
            Batch(events=[(event(name, note=Note.STILL, state=EventState.NOTED), "t")], notices=[notice])
        )


def test_a_notice_carries_its_message_and_its_event(outbox: Outbox) -> None:
    """All a channel needs to send it, nothing left to look up."""
    assert outbox.due("mail", T0, 10) == [
        OwedNotice(
            id=1,
            channel="mail",
            event_id="a",
            repeat=0,
            due_ms=T0,
            headline="16.2 °C",
            body="Check the plug.",
            priority="high",
            attempt=0,
            kind="temperature-high",
            state="active",
            note="",
            chamber="cellar",
            at_ms=T0,
        )
    ]


def test_a_notice_is_due_from_its_time_on(outbox: Outbox) -> None:
    """Each channel sees its own, not before they are due, and can ask when to look again."""
    assert outbox.due("push", at(4), 10) == []
    assert outbox.next_due_ms("push") == at(5)
    assert [n.channel for n in outbox.due("push", at(5), 10)] == ["push"]
    assert (outbox.due("page", at(5), 10), outbox.next_due_ms("page")) == ([], None)


def test_the_oldest_come_first_and_no_more_than_asked_for(journal: Journal, outbox: Outbox) -> None:
    """After hours without a network the order of the messages is that of the events."""
    owe(journal, "b", "c", "d")
    assert [n.event_id for n in outbox.due("mail", T0, 3)] == ["a", "b", "c"]


def test_sent_and_dropped_are_owed_no_more(journal: Journal, outbox: Outbox) -> None:
    """What was told, and why something was not, stays on record."""
    owe(journal, "b")
    outbox.sent(1, at(3))
    outbox.dropped(3, "returned meanwhile")
    assert outbox.due("mail", at(9), 10) == []
    assert outbox.next_due_ms("mail") is None
    kept = "SELECT id, state, sent_ms, why FROM notice WHERE channel = 'mail'"
    assert rows(journal.path, kept) == [(1, "sent", at(3), ""), (3, "dropped", None, "returned meanwhile")]


def test_a_failed_notice_comes_back_later(outbox: Outbox) -> None:
    """It counts its tries, keeps the reason, and is due again at the time given."""
    outbox.failed(1, at(30), "the server said 500")
    assert outbox.due("mail", at(29), 10) == []
    (again,) = outbox.due("mail", at(30), 10)
    assert (again.attempt, again.due_ms) == (1, at(30))


def test_a_notice_survives_a_restart(journal: Journal, outbox: Outbox) -> None:
    """A channel that died between sending and marking finds the notice again: at least once."""
    before = outbox.due("mail", T0, 10)
    again = Outbox(journal.path)
    assert again.due("mail", T0, 10) == before
    again.close()


def test_a_repeat_is_owed_once(outbox: Outbox) -> None:
    """The same message as the next repeat; scheduling it twice leaves the first time standing."""
    (first,) = outbox.due("mail", T0, 10)
    outbox.schedule_repeat(first, at(300))
    outbox.schedule_repeat(first, at(999))
    outbox.sent(first.id, at(1))
    (again,) = outbox.due("mail", at(300), 10)
    assert (again.repeat, again.due_ms, again.headline) == (1, at(300), first.headline)
    outbox.schedule_repeat(again, at(900))
    assert [n.repeat for n in outbox.due("mail", at(900), 10)] == [1, 2]


@pytest.mark.parametrize(
    ("alarms", "stands"),
    [
        ([alarm("a")], True),
        ([alarm("a", acknowledged=True)], False),
        ([alarm("a", returned_ms=at(60))], False),
        ([], False),
        ([alarm("a", kind=Kind.HUMIDITY_LOW)], False),
        ([alarm("a", chamber="salting")], False),
    ],
    ids=["stands", "acknowledged", "returned", "closed", "another kind", "another chamber"],
)
def test_repeats_end_when_the_alarm_does(
    journal: Journal, outbox: Outbox, alarms: list, *, stands: bool
) -> None:
    """Only an alarm of that chamber and kind that still stands, with nobody on it, is told again."""
    journal.commit(Batch(alarms=alarms))
    assert outbox.alarm_open_unacknowledged("a") is stands


def test_a_raised_alarm_is_followed_by_its_raising(journal: Journal, outbox: Outbox) -> None:
    """The event that made it urgent is not the one that opened it; both stand while the alarm does."""
    raised = event("raised", 60, state=EventState.NOTED, note=Note.RAISED, priority=Priority.HIGH)
    journal.commit(Batch(events=[(raised, "t")]))
    assert outbox.alarm_open_unacknowledged("raised")
    journal.commit(Batch(alarms=[]))
    assert not outbox.alarm_open_unacknowledged("raised")


def test_an_earlier_occurrence_is_not_taken_for_this_one(journal: Journal, outbox: Outbox) -> None:
    """The alarm came back: repeats of last time's message end, those of the new one go on."""
    journal.commit(Batch(events=[(event("b", 3600), "t")], alarms=[alarm("b")]))
    assert not outbox.alarm_open_unacknowledged("a")
    assert outbox.alarm_open_unacknowledged("b")


def test_an_unknown_event_never_stands(outbox: Outbox) -> None:
    """Nothing is repeated for an event the journal does not know."""
    assert not outbox.alarm_open_unacknowledged("nobody")


def test_the_outbox_works_beside_the_watch(journal: Journal, outbox: Outbox) -> None:
    """Marks are seen by the watch as someone else's writing, and new notices by the outbox at once."""
    version = journal.data_version()
    outbox.sent(1, at(1))
    assert journal.data_version() != version
    owe(journal, "b")
    assert [n.event_id for n in outbox.due("mail", T0, 10)] == ["b"]


def test_a_locked_journal_is_a_journal_error(journal: Journal, outbox: Outbox) -> None:
    """The channel's thread meets one kind of exception, and the notice is still owed."""
    outbox._db.execute("PRAGMA busy_timeout=20")
    journal._db.execute("BEGIN IMMEDIATE")
    with pytest.raises(JournalError, match="another program has kept the journal"):
        outbox.sent(1, at(1))
    journal._db.execute("ROLLBACK")
    assert [n.id for n in outbox.due("mail", T0, 10)] == [1]
