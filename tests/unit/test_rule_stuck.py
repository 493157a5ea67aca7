"""The same value for hours."""

from rule_parts import at, same_after_restarts

from chamberwatch.model import MS_PER_MIN
from chamberwatch.rules import stuck

HOURS = stuck.STUCK_MS // MS_PER_MIN


def step(state, item):
    """One (minute, value)."""
    return stuck.step(state, at(item[0]), item[1])


def follow(items, state=None):
    """Return the last state, and when it was first due [min]."""
    state, due = stuck.State() if state is None else state, None
    for item in items:
        state, _ = step(state, item)
        if due is None and stuck.due(state):
            due = item[0]
    return state, due


def test_due_when_it_has_stood_long_enough():
    """From the first equal value on, exactly `STUCK_MS`."""
    assert follow((m, 12.34) for m in range(10, 600))[1] == 10 + HOURS


def test_any_change_begins_anew():
    """One hundredth is a change."""
    assert follow((m, 12.34 + (0.01 if m % 170 == 0 else 0)) for m in range(600))[1] is None


def test_pinned_at_a_hundred_percent_is_not_changing():
    """A soaked element says 100 %RH for ever."""
    assert follow((m, 100.0) for m in range(600))[1] == HOURS


def test_silence_is_not_sameness():
    """A gap begins anew; a probe that speaks each quarter of an hour is still followed."""
    gap = stuck.GAP_MS // MS_PER_MIN
    assert follow([(0, 12.0), (1, 12.0), (170, 12.0), (180, 12.0), (185, 12.0)])[1] is None
    assert follow((m, 12.0) for m in range(0, 600, gap))[1] == HOURS


def test_returned_at_the_first_other_value():
    """And said only if the alarm stood."""
    state, _ = follow((m, 12.0) for m in range(400))

    assert step(state, (400, 12.01))[1] is False
    called = state._replace(active=True)
    assert not stuck.due(called)
    assert step(called, (400, 12.0))[1] is False
    after, ended = step(called, (401, 12.01))
    assert (ended, after.active) == (True, False)


def test_nothing_seen_is_never_due():
    """A half that is not measured is not stuck."""
    assert not stuck.due(stuck.State())


def test_restart_in_the_middle_changes_nothing():
    """Through JSON and back, the same state and end."""
    called = stuck.State(12.0, at(0), at(1), active=True)
    same_after_restarts(step, called, [(m, 12.0 if m < 200 else 12.1) for m in range(2, 420)])
