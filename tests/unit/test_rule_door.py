"""Room air that comes in and stays."""

import pytest
from rule_parts import NORM, at, edges, minutes, minutes_after, same_after_restarts, saw

from chamberwatch.model import MS_PER_MIN
from chamberwatch.rules import door
from chamberwatch.rules.cycle import Learnt

NEVER = (0, 0)
WAIT = door.WAIT_MS / MS_PER_MIN
BUSY = Learnt(6 * MS_PER_MIN, 4 * MS_PER_MIN, 13.0, 12.0, 1.0, 4.0, 15.0)
"""A plant that warms 1 °C in 4 min by itself."""
SLOW = NORM._replace(period_ms=80 * MS_PER_MIN)
"""Its saw-tooth does not show in ten minutes."""


def judge(norm=NORM, tended=NEVER):
    """Return the rule's step."""
    return lambda state, minute: door.step(state, minute, norm, tended)


def opened(opened_at=60, shut_at=None, until=240, rise_c=6.0, dry_pct=15.0):
    """Return minutes: at `opened_at` room air comes in within minutes; shut, it goes back as fast."""
    temps, rhs, part = [], [], 0.0
    for m in range(1, until + 1):
        inside = opened_at < m and (shut_at is None or m <= shut_at)
        part += (1.0 - part) * 0.25 if inside else -part * 0.25
        temps.append(round(saw(m) + rise_c * part, 3))
        rhs.append(round(75 - dry_pct * part, 3))
    return minutes(temps, rhs)


def test_an_open_door_is_told_once_within_half_an_hour():
    """Raised when the wait after the jump is over."""
    found = edges(judge(), door.State(), opened())

    assert [edge for _, edge in found] == [True]
    assert WAIT <= minutes_after(found[0][0].at_ms) - 60 <= 30


def test_since_is_the_foot_of_the_jump():
    """The onset is the last minute before the room's air came in."""
    state = door.State()
    for minute in opened():
        state, rises = door.step(state, minute, NORM, NEVER)
        if rises:
            break

    assert minutes_after(state.since_ms) == pytest.approx(60, abs=2)


@pytest.mark.parametrize("shut_after", [1, 3, 8])
def test_a_visit_says_nothing(shut_after):
    """The air comes back by itself."""
    assert edges(judge(), door.State(), opened(shut_at=60 + shut_after)) == []


@pytest.mark.parametrize(("back_part", "told"), [(0.0, [True]), (0.2, [True]), (0.35, []), (0.45, [])])
def test_air_on_its_way_back_is_no_open_door(back_part, told):
    """By the wait's end it fell by a quarter of its rise and more: the door is shut, a warm load cools slowly."""
    temps = [12.0] * 60 + [12.0 + m for m in range(1, 6)]
    temps += [17.0 - 5.0 * back_part * min(1, m / 12) - 0.03 * m * (back_part > 0.2) for m in range(60)]
    rhs = [75.0] * 60 + [60.0] * 65

    assert [edge for _, edge in edges(judge(), door.State(), minutes(temps, rhs))][:1] == told


@pytest.mark.parametrize(("rh_pct", "norm", "told"), [(60.0, SLOW, [True]), (74.0, SLOW, []), (74.0, NORM, [True])])
def test_air_that_came_back_a_little_and_stays_is_told(rh_pct, norm, told):
    """The compressor nearly keeps up: past the usual top it settles, dry as the room, or without its saw-tooth."""
    temps = [12.0] * 60 + [12.0 + m for m in range(1, 6)] + [17.0 - min(m, 12) / 6 for m in range(60)]

    rhs = [75.0] * 60 + [60.0] * 5 + [rh_pct] * 60
    assert [edge for _, edge in edges(judge(norm), door.State(), minutes(temps, rhs))] == told


def test_air_that_stands_still_long_after_a_jump_has_another_reason():
    """It climbed for an hour, as where nobody cools, and then is as warm as it can get: no door."""
    temps = [12.0] * 60 + [12.0 + m for m in range(1, 4)] + [15.0 + m / 30 for m in range(70)] + [17.3] * 60

    assert edges(judge(), door.State(), minutes(temps, [75.0] * 193)) == []


def test_a_second_visit_at_the_end_of_the_wait_is_no_open_door():
    """The air of the first hangs on, since a pause warms it; the second's is there for two minutes."""
    temps = [12.0] * 60 + [12.0 + m for m in range(3)] + [13.2] * 16 + [14.0, 13.8, 13.4] + [13.2] * 40
    rhs = [75.0] * 60 + [62.0] * 3 + [74.0] * 16 + [62.0, 64.0, 68.0] + [74.0] * 40

    assert edges(lambda s, m: door.step(s, m, NORM, NEVER, 75.0), door.State(), minutes(temps, rhs)) == []


@pytest.mark.parametrize(("mean_pct", "dry_pct", "told"), [(75, 12, [True]), (75, 5, []), (90, 12, []), (None, 12, [])])
def test_where_the_compressor_keeps_up_the_humidity_tells(mean_pct, dry_pct, told):
    """The air settles below its usual top, but as dry as the room; not when it was strange before the jump."""
    temps = [12.0] * 60 + [12.0 + m / 2 for m in range(1, 5)] + [13.05] * 60
    rhs = [75.0] * 60 + [75.0 - dry_pct] * 64

    def step(state, minute):
        return door.step(state, minute, NORM, NEVER, mean_pct)

    assert [edge for _, edge in edges(step, door.State(), minutes(temps, rhs))] == told


def test_returned_when_the_air_is_back_by_half():
    """The door was shut after an hour."""
    found = edges(judge(), door.State(), opened(shut_at=130))

    assert [edge for _, edge in found] == [True, False]
    assert 130 < minutes_after(found[1][0].at_ms) <= 135


def test_a_failing_compressor_is_no_door():
    """The air warms, and dries as it warms, but no faster than it always does."""
    temps = [saw(m) for m in range(121)] + [12 + m * NORM.rise_c_per_h / 60 for m in range(1, 120)]
    rhs = [75 - 5 * (t - 12) for t in temps]

    assert edges(judge(), door.State(), minutes(temps, rhs)) == []


def test_warming_without_a_change_of_humidity_is_no_room_air():
    """A hand around the probe, a lamp: the humidity stays."""
    assert edges(judge(), door.State(), opened(dry_pct=0.0)) == []


def test_a_plant_that_warms_fast_by_itself_is_not_accused():
    """The jump must be three times what its own pauses make."""
    steps = [12.0] * 60 + [12.0 + 0.25 * m for m in range(1, 60)]
    rhs = [75.0] * 60 + [75.0 - m for m in range(1, 60)]

    assert edges(judge(BUSY), door.State(), minutes(steps, rhs)) == []
    assert edges(judge(NORM), door.State(), minutes(steps, rhs)) != []


def test_before_a_norm_is_learnt_a_common_one_is_taken():
    """A door left open in the first hour is told all the same."""
    assert [edge for _, edge in edges(judge(None), door.State(), opened())] == [True]


def test_a_door_session_holds_it():
    """Ten minutes at the open door, then shut: nothing."""
    tended = (at(58), at(88))

    assert edges(judge(tended=tended), door.State(), opened(shut_at=85)) == []


def test_after_the_session_the_door_is_checked():
    """Left open: told when the wait after the session's end is over, dated from the jump."""
    tended = (at(58), at(88))
    found = edges(judge(tended=tended), door.State(), opened())

    assert [edge for _, edge in found] == [True]
    assert minutes_after(found[0][0].at_ms) == 88 + WAIT


def test_a_gap_forgets_the_past():
    """Two values hours apart are no jump."""
    before = opened(until=60)
    after = minutes([20.0] * 100, 60.0, first=61 + door.GAP_MS / MS_PER_MIN)

    assert edges(judge(), door.State(), before + after) == []


def test_a_missing_half_is_no_step():
    """Temperature and humidity are needed together."""
    state = edges(judge(), door.State(), opened()[:70])
    assert state == []
    for temps, rhs in (([None], [75.0]), ([12.0], [None])):
        state = door.State(((at(1), 12.0, 75.0),))
        assert door.step(state, minutes(temps, rhs, 2)[0], NORM, NEVER) == (state, None)


def test_restart_in_the_middle_changes_nothing():
    """Through JSON and back, the same edges, in a session and out of it."""
    assert same_after_restarts(judge(), door.State(), opened(shut_at=130)) == 1
    assert same_after_restarts(judge(tended=(at(58), at(88))), door.State(), opened(shut_at=150)) == 1


def test_what_is_kept_is_bounded():
    """Ten minutes, whatever happens."""
    state = door.State()
    for minute in opened():
        state, _ = door.step(state, minute, NORM, NEVER)
        assert len(state.recent) <= door.LOOK_BACK
