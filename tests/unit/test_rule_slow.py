"""One probe's slow rules together: what an edge carries, what is learnt, what is kept."""

import json
from dataclasses import replace

import pytest
from rule_parts import HOUR, HUMIDITY, TEMPERATURE, at, minutes, minutes_after, saw, wave

from chamberwatch.model import MS_PER_H, MS_PER_MIN, Kind
from chamberwatch.rules import cooling, slow, swing
from chamberwatch.rules.slow import Slow
from chamberwatch.rules.track import NO_WINDOW

BANDS = (TEMPERATURE, HUMIDITY)
DAY = int(24 * HOUR)


def run(items, rules=None, *, frozen=False, tended=NO_WINDOW, restart_every=None, bands=BANDS):
    """Feed minutes; return the rules and every edge."""
    rules = Slow("rear") if rules is None else rules
    edges = []
    for i, minute in enumerate(items, 1):
        edges += rules.take(minute, bands, tended, frozen=frozen)
        if restart_every and i % restart_every == 0:
            rules = thawed(rules)
    return rules, edges


def thawed(rules):
    """Return the rules as a restart finds them."""
    again = Slow(rules.probe)
    again.from_json(json.loads(json.dumps(rules.to_json())))
    return again


def rh_of(temp_c):
    """A fridge's humidity moves against its temperature by about 5 %RH a degree."""
    return round(75 - 5 * (temp_c - 12.4), 2)


def fridge(until, first=1):
    """Return minutes of a healthy small fridge."""
    temps = [round(saw(m), 2) for m in range(first, until + 1)]
    return minutes(temps, [rh_of(t) for t in temps], first)


def dead(first, last):
    """Return minutes after the compressor stopped: 3 °C an hour up."""
    temps = [round(saw(first - 1) + 3 * (m - first + 1) / HOUR, 2) for m in range(first, last + 1)]
    return minutes(temps, [rh_of(t) for t in temps], first)


@pytest.mark.parametrize(("period", "hours"), [(20, 3.0), (50, 3.5), (90, 4.5)])
def test_a_saw_tooth_drifts_by_its_mean(period, hours):
    """Teeth that reach the limit each time are quiet; when their mean falls by 1 %RH an hour it is told in time."""
    teeth = [saw(m, period, 71.0, 79.0) for m in range(2 * DAY)]
    temps = [saw(m, period) for m in range(2 * DAY)]
    calm, found = run(minutes(temps, teeth))
    falls = minutes(temps[:300], [h - m / HOUR for m, h in enumerate(teeth[:300])], 2 * DAY + 1)
    _, told = run(falls, calm)

    assert found == []
    (edge,) = [e for e in told if e.kind is Kind.HUMIDITY_DRIFT]
    assert minutes_after(edge.at_ms) - 2 * DAY <= hours * HOUR


@pytest.mark.parametrize(("high_pct", "told"), [(80.0, True), (92.0, False)])
def test_a_new_piece_may_make_the_air_as_damp_as_it_likes(high_pct, told):
    """While its window is open (`planned`) damper air is foretold by nobody."""
    bands = (TEMPERATURE, replace(HUMIDITY, high=high_pct))
    rise = [75.0] * DAY + [75.0 + m / HOUR for m in range(240)]
    _, found = run(minutes([12.5] * len(rise), rise), bands=bands)

    assert bool([e for e in found if e.kind is Kind.HUMIDITY_DRIFT]) is told


def test_a_door_session_is_no_part_of_the_means():
    """Half an hour of room air at the open door: the means over a cycle stay what they were, and go on afterwards."""
    tended = (at(DAY + 1), at(DAY + 31))
    rules, _ = run(fridge(DAY))
    rules, _ = run(minutes([18.0] * 30, [50.0] * 30, DAY + 1), rules, tended=tended)
    rules, _ = run(fridge(DAY + 50, DAY + 31), rules, tended=tended)
    assert rules.means == (pytest.approx(12.4, abs=0.05), pytest.approx(75.0, abs=0.3))

    rules, _ = run(fridge(DAY + 120, DAY + 51), rules, tended=tended)
    assert rules.means == (pytest.approx(12.4, abs=0.05), pytest.approx(75.0, abs=0.3))


def test_two_days_of_a_healthy_fridge_say_nothing():
    """And teach its cycle, and the means over it."""
    rules, edges = run(fridge(2 * DAY))

    assert edges == []
    assert rules.norm.period_ms == 20 * MS_PER_MIN
    assert rules.means == (pytest.approx(12.4, abs=0.02), pytest.approx(75.0, abs=0.1))


def test_cooling_lost_tells_value_usual_top_and_worst():
    """The edge carries the air now, where it usually turns, and the warmest."""
    rules, edges = run(fridge(300) + dead(301, 420))
    (edge,) = [e for e in edges if e.kind is Kind.COOLING_LOST]

    assert (edge.active, edge.probe) == (True, "rear")
    assert edge.limit == pytest.approx(rules.norm.top_c)
    assert edge.worst == edge.value > edge.limit + cooling.ABOVE_C
    assert minutes_after(edge.at_ms) - 300 <= 2 * 20 + 15


def test_a_fault_is_not_learnt():
    """While frozen the norm stays, however long."""
    rules, _ = run(fridge(300))
    norm = rules.norm
    again, _ = run(minutes([saw(m, 60, 12, 17) for m in range(DAY)], first=301), rules, frozen=True)

    assert again.norm == norm


def test_a_drift_tells_its_limit_and_when():
    """Towards which limit, and the meeting time; ended, it has none."""
    rhs = [75 + 0.2 * (m % 2) for m in range(DAY)] + [75 - m / HOUR + 0.2 * (m % 2) for m in range(240)]
    rhs += [75 + 0.2 * (m % 2) for m in range(240)]
    _, edges = run(minutes([12.5] * len(rhs), rhs))
    up, down = [e for e in edges if e.kind is Kind.HUMIDITY_DRIFT]

    assert (up.active, down.active) == (True, False)
    assert up.limit == HUMIDITY.low < up.value
    assert up.at_ms < up.meets_ms <= up.at_ms + 6 * MS_PER_H
    assert down.meets_ms is None


def test_a_door_session_and_its_aftermath_are_no_drift():
    """The same line is told untended, and never while tended nor in the quarter hour after."""
    temps = [12.5 + 0.02 * (m % 2) for m in range(DAY)] + [12.5 + m / 100 for m in range(200)]
    last = DAY + 200 - slow.AFTER_TEND_MS // MS_PER_MIN

    assert run(minutes(temps))[1] != []
    assert run(minutes(temps), tended=(at(DAY), at(last + 1)))[1] == []


def test_each_half_drifts_on_its_own():
    """A warming chamber with steady humidity is a temperature drift."""
    temps = [12.5 + 0.02 * (m % 2) for m in range(DAY)] + [12.5 + m / 100 for m in range(200)]
    _, edges = run(minutes(temps))

    assert [(e.kind, e.active, e.limit) for e in edges] == [(Kind.TEMPERATURE_DRIFT, True, TEMPERATURE.high)]


def test_a_swing_says_which_of_its_tests():
    """`fast`: the controls fight; `felt`: the meat feels it. Both at once are one alarm."""
    fight = [wave(m, 30, 75, 8) for m in range(400)]
    daily = [wave(m, DAY, 75, 9) for m in range(3 * DAY)]
    both = [d + wave(m, 30, 0, 8) for m, d in enumerate(daily)]
    found = []
    for rhs in (fight, daily, both):
        _, edges = run(minutes([12.5] * len(rhs), [round(h, 2) for h in rhs]))
        found.append([(e.detail, e.active, e.limit) for e in edges if e.kind is Kind.HUMIDITY_SWING])

    assert found[0] == [("fast", True, swing.FAST_RANGE_PCT)]
    assert found[1] == [("felt", True, swing.SLOW_RANGE_PCT)]
    assert found[2] == [("fast", True, swing.FAST_RANGE_PCT)]


def test_an_open_door_tells_its_foot_and_its_furthest():
    """The limit is where the air was, the worst how far it went."""
    door = minutes([13 + min(5.0, 1.0 * i) for i in range(60)], [70 - min(15, 3 * i) for i in range(60)], 301)
    _, edges = run(fridge(300) + door)
    (edge,) = [e for e in edges if e.kind is Kind.DOOR_OPEN]

    assert edge.active
    assert edge.limit <= 13 < edge.value
    assert edge.worst == 18.0


def test_a_door_session_is_handed_on():
    """In a session the same air raises no door."""
    door = minutes([13 + min(5.0, 1.0 * i) for i in range(60)], [70 - min(15, 3 * i) for i in range(60)], 301)
    rules, _ = run(fridge(300))
    _, edges = run(door, rules, tended=(at(300), at(400)))

    assert [e for e in edges if e.kind is Kind.DOOR_OPEN] == []


def test_dew_tells_dew_point_and_surface():
    """A cold start in warm, damp air."""
    _, edges = run(minutes([4.0] * 30 + [14.0] * 120, 85.0))
    (edge,) = [e for e in edges if e.kind is Kind.CONDENSATION_RISK]

    assert edge.active
    assert edge.limit < edge.value < 14


def test_the_hours_kept_are_few_and_right():
    """Sums and extremes of the last hours; older ones go."""
    rules, _ = run(fridge(600))
    hour = rules.hours[-2]

    assert len(rules.hours) <= slow.HOURS + 1
    assert (hour.temps, hour.rhs) == (60, 60)
    assert hour.temp_sum / hour.temps == pytest.approx(12.4, abs=0.01)
    assert (hour.temp_min, hour.temp_max) == (12.0, 12.8)


def test_a_missing_half_judges_the_other():
    """Without humidity the compressor is still watched; without temperature the drift of humidity is."""
    dry = [m._replace(rh_pct=None) for m in fridge(300) + dead(301, 420)]
    rhs = [75 - max(0, m - DAY) / HOUR + 0.2 * (m % 2) for m in range(DAY + 240)]

    assert {e.kind for e in run(dry)[1]} == {Kind.COOLING_LOST, Kind.TEMPERATURE_DRIFT}
    assert {e.kind for e in run(minutes([None] * len(rhs), rhs))[1]} == {Kind.HUMIDITY_DRIFT}


def test_the_day_s_mean_is_each_half_s_own():
    """What a room is judged by."""
    rules, _ = run(minutes([14.0] * DAY, 66.0))

    assert rules.day_mean(temperature=True) == pytest.approx(14.0)
    assert rules.day_mean(temperature=False) == pytest.approx(66.0)
    assert Slow("rear").day_mean(temperature=True) is None


def story():
    """Return air in which every slow rule has something to say."""
    swinging = [round(wave(m, 30, 75, 8), 2) for m in range(400)]
    return [
        *fridge(300), *dead(301, 480),
        *minutes([12.5 + 0.01 * (m % 2) for m in range(400)], swinging, 481),
        *minutes([4.0] * 120 + [14.0] * 200, 88.0, 881),
        *minutes([14.0 + min(5.0, 1.0 * i) for i in range(60)], [70 - min(15, 3 * i) for i in range(60)], 1201),
        *fridge(2000, 1261),
    ]  # fmt: skip


@pytest.mark.parametrize("every", [11, 97])
def test_restart_in_the_middle_changes_nothing(every):
    """Through JSON text and back, every rule tells the same and ends in the same state."""
    straight, edges = run(story())
    broken, again = run(story(), restart_every=every)

    assert again == edges
    assert broken.to_json() == straight.to_json()
    assert {e.kind for e in edges} >= {
        Kind.COOLING_LOST, Kind.DOOR_OPEN, Kind.CONDENSATION_RISK, Kind.HUMIDITY_SWING, Kind.TEMPERATURE_DRIFT,
    }  # fmt: skip


def test_edges_alternate():
    """Per kind: begins, ends, begins ..."""
    edges = run(story())[1]
    for kind in {e.kind for e in edges}:
        states = [e.active for e in edges if e.kind is kind]
        assert states == [i % 2 == 0 for i in range(len(states))]
