"""When a message comes again, what it then says, how long a failing channel is left alone."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chamberwatch.notify.repeat import (
    STILL_SO,
    Allowance,
    comes_again,
    due_after_sending_ms,
    next_repeat_due_ms,
    retry_in_s,
    wording,
)

MIN = 60_000


def test_repeats_come_after_5_15_and_30_minutes_then_hourly():
    """The owner is asked three times within half an hour, then once an hour."""
    first_ms = 1_793_404_800_000
    minutes = [(next_repeat_due_ms(first_ms, n) - first_ms) / MIN for n in range(1, 7)]
    assert minutes == [5, 15, 30, 90, 150, 210]


def test_a_chain_of_repeats_sent_on_time_keeps_that_plan():
    """Each repeat, sent when due, schedules the next at the planned minute after the first."""
    due_ms, minutes = 0, []
    for repeat in range(6):
        due_ms = due_after_sending_ms(due_ms, repeat)
        minutes.append(due_ms / MIN)
    assert minutes == [5, 15, 30, 90, 150, 210]


@given(sent_ms=st.integers(0, 4_000_000_000_000), repeat=st.integers(0, 10_000))
def test_the_next_repeat_is_always_at_least_five_minutes_away(sent_ms, repeat):
    """However late a repeat went out, the next one never follows on its heels."""
    gap_ms = due_after_sending_ms(sent_ms, repeat) - sent_ms
    assert 5 * MIN <= gap_ms <= 60 * MIN


@pytest.mark.parametrize(
    ("priority", "state", "note", "again"),
    [
        ("high", "active", "", True),
        ("high", "noted", "raised", True),
        ("high", "returned", "", False),
        ("high", "noted", "still", False),
        ("high", "noted", "probe-joined", False),
        ("medium", "active", "", False),
        ("low", "active", "", False),
    ],
)
def test_only_an_urgent_alarm_repeats(priority, state, note, again):
    """What is urgent, new or just become so, is told until someone is on it; nothing else is."""
    assert comes_again(priority, state, note) is again


def test_a_repeat_says_that_it_is_one():
    """The reader can tell a repeat from a second alarm."""
    assert wording("Check the plug.", 2, 0, 0) == f"{STILL_SO}\nCheck the plug."
    assert STILL_SO == 'Still so, nobody has said "I\'m on it":'


@pytest.mark.parametrize(
    ("failures", "minutes", "lead"),
    [
        (0, 600, None),
        (3, 10, None),
        (3, 45, "45 min"),
        (3, 190, "3 h 10 min"),
        (9, 60 * 75, "3 days"),
    ],
)
def test_a_held_up_message_says_how_late_it_is(failures, minutes, lead):
    """A message that the channel held up for long is not taken for what is so now."""
    text = wording("Too dry.", 0, failures, minutes * MIN)
    if lead is None:
        assert text == "Too dry."
    else:
        assert text == f"(Told {lead} after it happened: this channel could not be reached before.)\nToo dry."


@given(failures=st.integers(0, 10**6), chance=st.floats(0, 1))
def test_a_rest_is_between_five_seconds_and_fifteen_minutes(failures, chance):
    """No number of failures makes the wait vanish, overflow or outgrow a quarter of an hour."""
    assert 5.0 <= retry_in_s(failures, chance) <= 900.0


@given(failures=st.integers(0, 30), chance=st.floats(0, 1))
def test_a_rest_never_shrinks_with_more_failures(failures, chance):
    """The more often a channel failed, the longer it is left alone."""
    assert retry_in_s(failures + 1, chance) >= retry_in_s(failures, chance)


def test_chance_spreads_the_rests():
    """Two boards that failed together do not knock together."""
    assert retry_in_s(4, 0.0) == pytest.approx(64.0)
    assert retry_in_s(4, 1.0) == pytest.approx(96.0)


def test_an_allowance_lets_a_burst_through_then_one_at_a_time():
    """Five at once, then one every two seconds."""
    allowance = Allowance(burst=5, every_s=2.0, start_s=100.0)
    assert [allowance.take(100.0) for _ in range(5)] == [0.0] * 5
    assert allowance.take(100.0) == pytest.approx(2.0)
    assert allowance.take(101.0) == pytest.approx(1.0)
    assert allowance.take(102.0) == 0.0
    assert allowance.take(102.0) == pytest.approx(2.0)


@given(
    steps_s=st.lists(st.floats(0, 10), min_size=1, max_size=60),
    burst=st.integers(1, 8),
    every_s=st.floats(0.5, 5),
)
def test_an_allowance_is_never_exceeded(steps_s, burst, every_s):
    """In any stretch from the start, no more than the burst plus one an interval goes out."""
    allowance, now_s, given_out = Allowance(burst, every_s, 0.0), 0.0, 0
    for step_s in steps_s:
        now_s += step_s
        given_out += allowance.take(now_s) == 0.0
        assert given_out <= burst + now_s / every_s + 1e-6
