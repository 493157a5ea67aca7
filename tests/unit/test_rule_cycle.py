"""What a chamber does when all is well, learnt and bounded."""

import random

import pytest
from rule_parts import HOUR, at, minutes, saw, thawed

from chamberwatch.model import MS_PER_H, MS_PER_MIN
from chamberwatch.rules import cycle


def follow(items, state=None, frozen=lambda _minute: False):
    """Follow minutes; return the state."""
    state = cycle.State() if state is None else state
    for item in items:
        state = cycle.step(state, item, frozen=frozen(item))
    return state


def teeth(until, first=1, rh=lambda m: 75.0, **shape):
    """Return the minutes [first, until] of a saw-tooth."""
    span = range(first, until + 1)
    return minutes([round(saw(m, **shape), 3) for m in span], [rh(m) for m in span], first)


def test_usable_after_six_whole_cycles():
    """A first top opens the first whole cycle; the sixth one makes the norm."""
    shown = next(m for m in range(400) if cycle.learnt(follow(teeth(m))) is not None)

    # Tops at 14, 34 ... 134 min; the last one is known once the air has come back by BACK_C.
    assert 134 < shown <= 134 + 3


def test_or_after_six_hours_with_three():
    """A slow cabinet is not waited for longer than that."""
    slow = {"period": 100}
    assert cycle.learnt(follow(teeth(5 * 60, **slow))) is None
    assert cycle.learnt(follow(teeth(6 * 60 + 30, **slow))).period_ms == 100 * MS_PER_MIN


def test_learns_period_pause_and_saw_teeth():
    """The norm is what the air did."""
    got = cycle.learnt(follow(teeth(300, rh=lambda m: 73 + 4 * saw(m, low=0, high=1))))

    assert (got.period_ms, got.warming_ms) == (20 * MS_PER_MIN, 14 * MS_PER_MIN)
    assert (got.top_c, got.bottom_c, got.saw_c) == pytest.approx((12.8, 12.0, 0.8))
    assert got.saw_pct == pytest.approx(4.0)
    assert got.rise_c_per_h == pytest.approx(0.8 / (14 / 60))


def test_the_usual_pause_is_a_long_one():
    """Pauses differ with the room: nine of ten are shorter than the one taken as usual."""
    temps = []
    for pause in [20, 21, 22, 23, 24, 25, 26, 27, 28, 40, 41, 22]:
        temps += [12 + 0.8 * i / pause for i in range(pause)] + [12.8 - 0.1 * i for i in range(8)]
    warming_min = cycle.learnt(follow(minutes(temps))).warming_ms / MS_PER_MIN

    assert 28 <= warming_min <= 41


def test_a_fault_is_never_learnt():
    """While frozen nothing changes, and the cycle that was under way does not count either."""
    good = follow(teeth(200))
    spoilt = follow(teeth(500, first=201, period=40, high=16.0), good, frozen=lambda _: True)

    assert spoilt.loops == good.loops
    assert cycle.learnt(follow(teeth(400), frozen=lambda _: True)) is None


def test_a_cycle_that_a_gap_interrupts_is_not_learnt():
    """What a probe did not see is no part of the norm."""
    whole = follow(teeth(200))
    holed = follow([m for m in teeth(200) if not at(60) <= m.at_ms < at(60) + cycle.GAP_MS + 2 * MS_PER_MIN])

    assert len(holed.loops) == len(whole.loops) - 1
    assert {loop.period_ms for loop in holed.loops} == {20 * MS_PER_MIN}


@pytest.mark.parametrize(
    "temps",
    [[12.5] * 1500, [10 + m / 300 for m in range(1500)], [12.5 + 0.09 * (m % 2) for m in range(1500)]],
    ids=["still", "ramp", "noise"],
)
def test_a_chamber_that_never_pauses_has_no_cycle(temps):
    """No turning points, no norm: the rules that need one stand aside."""
    assert cycle.learnt(follow(minutes(temps))) is None


@pytest.mark.parametrize("period", [cycle.MIN_PERIOD_MS / MS_PER_MIN - 2, cycle.MAX_PERIOD_MS / MS_PER_MIN + 30])
def test_what_no_compressor_does_is_not_a_cycle(period):
    """Too quick or too slow a swing is something else."""
    assert cycle.learnt(follow(teeth(40 * 60, period=period))) is None


def test_a_noisy_probe_s_noise_is_no_cycle():
    """0.25 °C of noise in each minute turns every few minutes; what is learnt is the saw-tooth beneath, or nothing."""
    rng = random.Random(8)
    noisy = minutes(saw(m, 80, 11.0, 13.0) + rng.gauss(0, 0.25) for m in range(1440))
    norm = cycle.learnt(follow(noisy))

    assert norm is None or norm.period_ms == pytest.approx(80 * MS_PER_MIN, rel=0.15)


def test_final_after_a_day():
    """What comes later does not change the norm: a slow decay must not become usual."""
    day = follow(teeth(int(24 * HOUR)))
    later = follow(teeth(int(60 * HOUR), first=int(24 * HOUR) + 1, period=35, high=13.6), day)

    assert cycle.learnt(later) == cycle.learnt(day)
    assert len(later.loops) <= cycle.KEPT


def test_a_minute_without_a_temperature_changes_nothing():
    """Missing input is no step; a missing humidity leaves the temperature's cycle as it is."""
    state = follow(teeth(150))
    assert cycle.step(state, minutes([None], 75.0, 151)[0], frozen=False) == state

    dry = follow([m._replace(rh_pct=None) for m in teeth(300)])
    assert cycle.learnt(dry).period_ms == 20 * MS_PER_MIN
    assert cycle.learnt(dry).saw_pct == 0.0


def test_restart_in_the_middle_changes_nothing():
    """Through JSON and back at any minute, the same norm."""
    straight = broken = cycle.State()
    for minute in teeth(500, rh=lambda m: 73 + saw(m)):
        straight = cycle.step(straight, minute, frozen=False)
        broken = cycle.step(thawed(cycle.State, broken), minute, frozen=False)
        assert broken == straight
    assert cycle.learnt(broken) is not None


def test_percentile_is_the_nearest_rank():
    """Of ten values nine lie at or below the 90th percentile's lower neighbour; of one, it is that one."""
    assert cycle.percentile([float(n) for n in range(10)], 0.9) == 9.0
    assert cycle.percentile([float(n) for n in range(100)], 0.9) == 90.0
    assert cycle.percentile([7.0], 0.9) == 7.0
    assert cycle.percentile([3.0, 1.0, 2.0], 1.0) == 3.0


def test_the_day_is_counted_from_the_first_minute():
    """`FINAL_MS` is a day and the few cycles' wait a quarter of it, as promised."""
    assert (cycle.FINAL_MS, cycle.FEW_AFTER_MS) == (24 * MS_PER_H, 6 * MS_PER_H)
