"""Probes and their faults: lag, rounding, noise, and everything a line can suffer."""

from __future__ import annotations

import math
import statistics

import pytest

from chamberwatch.model import Reading
from chamberwatch.wire.senml import decode
from simulator.air import sat_pressure_pa
from simulator.faults import Fault, Trouble, hands_at, probe_faults
from simulator.probes import GLITCH_C, GLITCH_PCT, Probe, ProbeBuild

AT_MS = 1_793_980_800_000
STILL = ProbeBuild("rear", temp_noise_c=0.0, rh_noise_pct=0.0)


def _fault(what, **more):
    return Fault(what, 0, AT_MS * 2, probe="rear", **more)


def _lines(count, faults, build=STILL):
    probe = Probe(build, 12.5, 75.0, seed=1)
    return [probe.speak(AT_MS + n * 10_000, faults) for n in range(count)]


@pytest.mark.parametrize(("lag_s", "after_s", "part"), [(60, 138.2, 0.9), (30, 138.2, 0.99), (60, 60, 1 - 1 / math.e)])
def test_a_step_is_followed_with_a_first_order_lag(lag_s, after_s, part):
    """90 % after 2.303 lags, 99 % after 4.605 (logarithms, by hand), in small steps."""
    probe = Probe(ProbeBuild("rear", temp_lag_s=lag_s), 10.0, 70.0, seed=1)
    for _ in range(round(after_s / 0.1)):
        probe.feel(0.1, 20.0, 900.0)
    assert probe.temp_c == pytest.approx(10.0 + 10.0 * part, abs=0.05)


def test_humidity_is_felt_at_the_elements_own_temperature():
    """A warm element in unchanged air reads too dry: at 12 °C/75 %, 1 K too warm shows 70.2 % (ASHRAE's formula)."""
    probe = Probe(ProbeBuild("rear", temp_lag_s=1e9, rh_lag_s=10.0), 13.0, 75.0, seed=1)
    for _ in range(100):
        probe.feel(5.0, 12.0, 0.75 * sat_pressure_pa(12.0))
    assert probe.humidity_pct == pytest.approx(70.23, abs=0.05)


def test_a_line_decodes_to_what_was_measured():
    """A healthy line is one reading: its probe, its time, its values in the probe's smallest steps."""
    build = ProbeBuild("rear", step_c=0.1, step_pct=0.5, temp_offset_c=0.3, temp_noise_c=0.0, rh_noise_pct=0.0)
    line = Probe(build, 12.5, 75.2, seed=1).speak(AT_MS, {})
    assert decode(line.data, "rear", AT_MS) == [Reading("rear", AT_MS, 12.8, 75.0, AT_MS)]
    assert line.data.endswith(b"\n")
    assert line.good


def test_noise_has_the_spread_it_is_given():
    """Temperature noise has its standard deviation, within 10 % over 2,000 readings, and no bias."""
    probe = Probe(ProbeBuild("rear", temp_noise_c=0.1), 12.5, 75.0, seed=5)
    values = [probe.measure({})[0] for _ in range(2000)]
    assert statistics.stdev(values) == pytest.approx(0.1, rel=0.1)
    assert statistics.fmean(values) == pytest.approx(12.5, abs=0.01)


def test_readings_never_leave_what_a_probe_can_report():
    """However wild the air, what a healthy probe reports lies within the model's limits."""
    probe = Probe(ProbeBuild("rear", rh_lag_s=1.0, temp_lag_s=1.0, rh_noise_pct=0.0), 12.5, 75.0, seed=1)
    probe.feel(5.0, 90.0, 0.0)
    assert probe.measure({}) == (85.0, 0.0)
    probe.feel(5.0, -60.0, 5000.0)
    assert probe.measure({}) == (-40.0, 100.0)


def test_an_unplugged_probe_says_nothing():
    """Unplugged is silence, not an empty line."""
    assert _lines(3, {Trouble.UNPLUGGED: _fault(Trouble.UNPLUGGED)}) == [None] * 3


def test_a_frozen_probe_repeats_itself_while_the_air_moves():
    """Frozen: the value stays, to the last digit, though the time goes on."""
    probe = Probe(ProbeBuild("rear"), 12.5, 75.0, seed=1)
    first = probe.measure({})
    probe.feel(60.0, 20.0, 2000.0)
    assert probe.measure({Trouble.FROZEN: _fault(Trouble.FROZEN)}) == first
    assert probe.measure({}) != first


def test_glitches_come_at_their_share():
    """A share of 0.2 makes about one reading in five a glitch; the others stay true."""
    probe = Probe(STILL, 12.5, 75.0, seed=3)
    faults = {Trouble.GLITCHES: _fault(Trouble.GLITCHES, how_far=0.2)}
    values = [probe.measure(faults) for _ in range(1000)]
    assert 150 < values.count((GLITCH_C, GLITCH_PCT)) < 250
    assert set(values) == {(GLITCH_C, GLITCH_PCT), (12.5, 75.0)}


def test_garbage_is_one_bad_line_each_and_never_a_reading():
    """Garbage keeps its line ends and nothing else: every line is refused once."""
    for line in _lines(300, {Trouble.GARBAGE: _fault(Trouble.GARBAGE)}):
        assert line.data.count(b"\n") == 1
        assert line.data.endswith(b"\n")
        assert not line.good
        (refused,) = decode(line.data.rstrip(b"\n"), "rear", AT_MS)
        assert not isinstance(refused, Reading)


def test_half_lines_swallow_the_line_after_and_are_flagged_so():
    """A line that lost its end runs into the next: exactly the lines flagged good come out as readings."""
    lines = _lines(400, {Trouble.HALF_LINES: _fault(Trouble.HALF_LINES, how_far=0.3)})
    heard = b"".join(line.data for line in lines).split(b"\n")[:-1]
    readings = [r for text in heard for r in decode(text, "rear", AT_MS) if isinstance(r, Reading)]
    assert [r.at_ms for r in readings] == [line.at_ms for line in lines if line.good]
    assert 0.3 < len(readings) / len(lines) < 0.7


def test_the_line_after_an_unplugging_is_whole():
    """A half line before the plug was pulled does not spoil the first line after it is back."""
    probe = Probe(STILL, 12.5, 75.0, seed=1)
    assert not probe.speak(AT_MS, {Trouble.HALF_LINES: _fault(Trouble.HALF_LINES)}).good
    assert probe.speak(AT_MS + 1, {Trouble.UNPLUGGED: _fault(Trouble.UNPLUGGED)}) is None
    assert probe.speak(AT_MS + 2, {}).good


def test_faults_hold_from_their_start_up_to_their_end():
    """A fault is there from its first millisecond up to, not including, its last; other probes are spared."""
    fault = Fault(Trouble.GARBAGE, 10, 20, probe="rear")
    assert [bool(probe_faults([fault], "rear", t)) for t in (9, 10, 19, 20)] == [False, True, True, False]
    assert not probe_faults([fault], "front", 15)


def test_hands_add_up_what_happens_to_the_plant():
    """Faults at one time add up; the wider of two open doors counts; a probe's fault leaves the plant alone."""
    faults = [
        Fault(Trouble.DOOR_AJAR, 0, 10, how_far=0.2),
        Fault(Trouble.DOOR_AJAR, 5, 10, how_far=0.7),
        Fault(Trouble.COMPRESSOR_DEAD, 5, 10),
        Fault(Trouble.HUMIDIFIER_EMPTY, 5, 10),
        Fault(Trouble.POWER_OFF, 8, 10),
        Fault(Trouble.GARBAGE, 0, 10, probe="rear"),
    ]
    early, later, last, after = (hands_at(faults, t) for t in (0, 5, 8, 10))
    assert (early.door, early.compressor_works, early.tank_runs_dry, early.powered) == (0.2, True, False, True)
    assert (later.door, later.compressor_works, later.tank_runs_dry, later.powered) == (0.7, False, True, True)
    assert not last.powered
    assert (after.door, after.compressor_works, after.powered) == (0.0, True, True)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Fault(Trouble.DOOR_AJAR, 10, 10), "ends before it begins"),
        (lambda: Fault(Trouble.DOOR_AJAR, 0, 10, how_far=1.5), "not above 0 and at most 1"),
        (lambda: Fault(Trouble.GARBAGE, 0, 10), "needs a probe"),
        (lambda: Fault(Trouble.POWER_OFF, 0, 10, probe="rear"), "takes no probe"),
        (lambda: ProbeBuild("rear", temp_lag_s=0.0), "lags and steps must be above 0"),
        (lambda: ProbeBuild("rear", rh_noise_pct=-1.0), "noise must not be below 0"),
    ],
)
def test_what_cannot_be_is_refused(make, says):
    """A fault or a probe that makes no sense is refused with the reason."""
    with pytest.raises(ValueError, match=says):
        make()
