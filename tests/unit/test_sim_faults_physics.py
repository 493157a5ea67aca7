"""The faults of the wider cast do to plant and wire what their names say; the cabinet behaves as a slow one does."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chamberwatch.model import MS_PER_H, Reading
from chamberwatch.wire.senml import decode
from simulator.cabinet import CABINET, CABINETS, FRIDGE, Dryer, varied
from simulator.chamber import tell
from simulator.delivery import delivered
from simulator.faults import OF_PROBES, Fault, Trouble, hands_at, room_at
from simulator.plant import Hands, Plant
from simulator.probes import Line, Probe, ProbeBuild
from simulator.weather import Climate, RoomAir
from simulator.weekend import Weekend

ROOM = RoomAir(21.0, 900.0)
STEPS_AN_HOUR = 720
AT_MS = 1_793_980_800_000
STILL = ProbeBuild("rear", temp_noise_c=0.0, rh_noise_pct=0.0)


def _settled(cabinet, hours=12.0):
    plant = Plant(cabinet)
    for _ in range(3):
        plant.hang(2.0, 12.5, 9.0)
    _run(plant, hours, Hands())
    return plant


def _run(plant, hours, hands):
    rows = []
    for _ in range(int(hours * STEPS_AN_HOUR)):
        plant.step(5.0, ROOM, hands)
        rows.append((plant.temp_c, plant.rh_pct, plant.cooling))
    return rows


def _mean(rows, column):
    return sum(r[column] for r in rows) / len(rows)


ANY_HANDS = st.builds(
    Hands,
    door=st.floats(0, 1),
    powered=st.booleans(),
    stuck_on=st.booleans(),
    cooling_part=st.floats(0, 1),
    coil_part=st.floats(0.03, 1),
    fan_works=st.booleans(),
    defrosting=st.booleans(),
    heater_stuck=st.booleans(),
    mist_part=st.floats(0, 1),
    mist_stuck=st.booleans(),
    dryer_stuck=st.booleans(),
    leak_times=st.floats(1, 60),
    wet_kg_per_s=st.floats(0, 3e-5),
)


@settings(max_examples=25, deadline=None)
@given(kind=st.sampled_from(list(CABINETS)), seed=st.integers(0, 50), acts=st.lists(ANY_HANDS, min_size=1, max_size=3))
def test_whatever_goes_wrong_heat_and_water_balance(kind, seed, acts):
    """Any specimen, any mix of faults: what it holds changed by what crossed its wall, to rounding."""
    plant = Plant(varied(CABINETS[kind], random.Random(seed)))
    plant.hang(2.0, 6.0, 20.0)
    heat_j, water_kg = plant.heat_j() - plant.ledger.heat_j, plant.water_kg() - plant.ledger.water_kg
    for act in acts:
        for _ in range(100):
            plant.step(5.0, ROOM, act)
    assert plant.heat_j() - plant.ledger.heat_j == pytest.approx(heat_j, abs=1e-4)
    assert plant.water_kg() - plant.ledger.water_kg == pytest.approx(water_kg, abs=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_the_cabinet_cycles_slowly_within_the_planned_air(seed):
    """Left alone, every specimen of the cabinet cycles in 45 to 150 min, within 10-15 °C and 70-80 %RH."""
    rows = _run(_settled(varied(CABINET, random.Random(seed))), 11, Hands())
    starts = [n for n, (a, b) in enumerate(pairwise(rows)) if b[2] and not a[2]]
    cycles = [(b - a) / 12 for a, b in pairwise(starts)]
    assert 45 < sorted(cycles)[len(cycles) // 2] < 150
    assert min(r[0] for r in rows) > 10.0
    assert max(r[0] for r in rows) < 15.0
    assert min(r[1] for r in rows) > 70.0
    assert max(r[1] for r in rows) < 80.0


@pytest.mark.parametrize("kind", list(CABINETS))
@pytest.mark.parametrize(
    ("hands", "hours", "column", "low", "high"),
    [
        (Hands(cooling_part=0.1), 16, 0, 15.0, 21.0),
        (Hands(stuck_on=True), 3, 0, -5.0, 9.0),
        (Hands(thermostat_c=4.0), 8, 0, 15.2, 17.5),
        (Hands(thermostat_c=-4.0), 8, 0, 7.0, 9.6),
        (Hands(dryer_stuck=True), 3, 1, 0.0, 55.0),
        (Hands(hygrostat_pct=-8.0), 14, 1, 60.0, 69.9),
        (Hands(mist_part=0.0), 12, 1, 50.0, 67.0),
    ],
    ids=["weak", "stuck on", "set warm", "set cold", "dryer stuck", "hygrostat low", "no mist"],
)
def test_each_fault_moves_the_air_where_it_must(kind, hands, hours, column, low, high):
    """The last hour's mean lies where the fault takes it, on both plants."""
    rows = _run(_settled(CABINETS[kind]), hours, hands)
    assert low < _mean(rows[-STEPS_AN_HOUR:], column) < high


@pytest.mark.parametrize("kind", list(CABINETS))
def test_a_dryer_set_below_the_humidifier_fights_it(kind):
    """Two hygrostats that overlap swing the air by 12 %RH and more, several times an hour."""
    rows = _run(_settled(CABINETS[kind]), 2, Hands(dryer_pct=-16.0))[STEPS_AN_HOUR:]
    humid = [r[1] for r in rows]
    assert max(humid) - min(humid) > 12.0
    middle = (max(humid) + min(humid)) / 2
    assert sum(a < middle <= b for a, b in pairwise(humid)) >= 3


@pytest.mark.parametrize("kind", list(CABINETS))
def test_a_defrost_warms_and_is_over_within_the_hour(kind):
    """A quarter of an hour of defrost warms the air; an hour later the old cycle is back."""
    plant = _settled(CABINETS[kind], 10.0)
    before = max(r[0] for r in _run(plant, 1.5, Hands()))
    _run(plant, 0.4, Hands(defrosting=True))
    assert plant.coil_c > 4.0
    after = _run(plant, 2.5, Hands())
    assert max(r[0] for r in after[STEPS_AN_HOUR:]) < before + 0.6


def test_the_fan_stands_between_its_turns():
    """The cabinet's fan runs its five minutes of fifteen, and whenever the compressor does."""
    plant = _settled(CABINET, 1.0)
    runs = []
    for _ in range(STEPS_AN_HOUR * 4):
        plant.step(5.0, ROOM, Hands())
        runs.append((plant.fan_runs, plant.cooling))
    assert all(fan for fan, cooling in runs if cooling)
    idle = [fan for fan, cooling in runs if not cooling]
    assert 0.2 < sum(idle) / len(idle) < 0.5


def test_a_dryer_that_cannot_work_is_refused():
    """A dryer whose switch points are the wrong way round is refused."""
    with pytest.raises(ValueError, match="the dryer must switch off below"):
        replace(FRIDGE, dryer=Dryer(on_pct=80.0, off_pct=85.0))


def test_a_ramp_grows_evenly_and_shares_multiply():
    """Half-way through its ramp a fault is half there; two that take from one thing leave the product."""
    faults = [
        Fault(Trouble.COMPRESSOR_WEAK, 0, 20 * MS_PER_H, how_far=0.8, ramp_h=10.0),
        Fault(Trouble.COMPRESSOR_WEAK, 0, 20 * MS_PER_H, how_far=0.5),
        Fault(Trouble.HYGROSTAT_MOVED, 0, 20 * MS_PER_H, amount=-6.0, ramp_h=10.0),
        Fault(Trouble.SEAL_WORN, 0, 20 * MS_PER_H, amount=21.0, ramp_h=10.0),
        Fault(Trouble.WET_THING, 0, 20 * MS_PER_H, amount=36.0, halves_h=5.0),
    ]
    hands = hands_at(faults, 5 * MS_PER_H)
    assert hands.cooling_part == pytest.approx(0.6 * 0.5)
    assert hands.hygrostat_pct == pytest.approx(-3.0)
    assert hands.leak_times == pytest.approx(11.0)
    assert hands.wet_kg_per_s == pytest.approx(0.5 * 1e-5)


def test_a_set_back_is_damp_by_half_and_a_breath_is_a_sine():
    """Twelve hours up, twelve down; the breath's quarter period is its height."""
    step = Fault(Trouble.HYGROSTAT_SET_BACK, 0, 48 * MS_PER_H, amount=5.0)
    assert [hands_at([step], h * MS_PER_H).hygrostat_pct for h in (1, 11, 13, 25)] == [5.0, 5.0, -5.0, 5.0]
    breath = Fault(Trouble.HYGROSTAT_BREATHES, 0, 48 * MS_PER_H, amount=5.0)
    assert hands_at([breath], 6 * MS_PER_H).hygrostat_pct == pytest.approx(5.0)


def test_hot_humid_days_never_make_fog():
    """Heat and vapour add to the room's; the vapour stops at 95 %RH."""
    faults = [Fault(Trouble.HOT_DAYS, 0, 10, amount=11.0), Fault(Trouble.HUMID_DAYS, 0, 10, amount=9000.0)]
    room = room_at(faults, ROOM, 5)
    assert room.temp_c == 32.0
    assert room.vapour_pa == pytest.approx(0.95 * 4757, rel=0.01)  # 4757 Pa: saturation at 32 °C (ASHRAE, from memory)
    assert room_at(faults, ROOM, 10) == ROOM


def _said(probe, at_ms, fault):
    (reading,) = decode(probe.speak(at_ms, {fault.what: fault}).data.rstrip(b"\n"), "rear", at_ms)
    assert isinstance(reading, Reading)
    return reading


def test_probe_faults_of_the_wider_cast():
    """Creeping adds its rate times hours; pinned is 100 %; frozen humidity leaves the temperature free; a clock is off."""
    probe, hour = Probe(STILL, 12.5, 75.0, seed=1), MS_PER_H
    from_ms, to_ms, at_ms = AT_MS, AT_MS + 9 * hour, AT_MS + hour
    assert _said(probe, at_ms, Fault(Trouble.CREEPING, from_ms, to_ms, "rear", amount=0.8)).rh_pct == pytest.approx(75.8)
    assert _said(probe, at_ms, Fault(Trouble.PINNED_DAMP, from_ms, to_ms, "rear")).rh_pct == 100.0
    probe.temp_c = 14.0
    frozen = _said(probe, at_ms, Fault(Trouble.FROZEN_HUMIDITY, from_ms, to_ms, "rear"))
    assert (frozen.temp_c, frozen.rh_pct) == (14.0, 100.0)
    behind = _said(probe, at_ms, Fault(Trouble.CLOCK_OFF, from_ms, to_ms, "rear", amount=-60.0))
    assert behind.at_ms == at_ms - 60_000


def test_noise_widens_both_halves():
    """A noisy probe's temperature spreads by its amount, its humidity by five times that."""
    probe, fault = Probe(STILL, 12.5, 50.0, seed=2), Fault(Trouble.NOISY, 0, 10, "rear", amount=1.0)
    values = [probe.measure({Trouble.NOISY: fault}) for _ in range(2000)]
    for column, wanted in ((0, 1.0), (1, 5.0)):
        mean = sum(v[column] for v in values) / 2000
        spread = (sum((v[column] - mean) ** 2 for v in values) / 2000) ** 0.5
        assert spread == pytest.approx(wanted, rel=0.1)


def _words():
    return [Line(n * 10_000, "rear", b"%d\n" % n, good=True) for n in range(60)]


def test_held_up_lines_come_at_the_end_oldest_first():
    """A backlog arrives at once when it ends, in its own order, before what is spoken next."""
    arrived = list(delivered(_words(), [Fault(Trouble.HELD_UP, 100_000, 300_000, "rear")], 1))
    assert [w.data for w in arrived] == [w.data for w in _words()]
    assert {w.at_ms for w in arrived[10:30]} == {300_000}
    assert arrived[30].at_ms == 300_000


def test_out_of_order_and_twice():
    """Late lines overtake one another but none is lost; a share comes twice; arrival never runs backwards."""
    faults = [
        Fault(Trouble.OUT_OF_ORDER, 0, 600_000, "rear", amount=45.0),
        Fault(Trouble.TWICE, 0, 600_000, "rear", how_far=0.5),
    ]
    arrived = list(delivered(_words(), faults, 3))
    numbers = [int(w.data) for w in arrived]
    assert set(numbers) == set(range(60))
    assert 75 < len(numbers) < 105
    assert numbers != sorted(numbers)
    assert all(a.at_ms <= b.at_ms for a, b in pairwise(arrived))


def test_every_trouble_is_the_plants_or_a_probes():
    """A plant's fault changes hands or room; a probe's changes neither."""
    changed = set()
    for what in Trouble:
        probe = "rear" if what in OF_PROBES else None
        fault = Fault(what, 0, 9 * MS_PER_H, probe, how_far=0.5, amount=5.0)
        if hands_at([fault], MS_PER_H) != Hands() or room_at([fault], ROOM, MS_PER_H) != ROOM:
            changed.add(what)
    assert changed == set(Trouble) - OF_PROBES


SIZES = {
    Trouble.THERMOSTAT_MOVED: 3.0, Trouble.HYGROSTAT_MOVED: -8.0, Trouble.HYGROSTAT_BREATHES: 8.0,
    Trouble.HYGROSTAT_SET_BACK: 8.0, Trouble.DRYER_MOVED: -18.0, Trouble.WET_THING: 60.0, Trouble.SEAL_WORN: 30.0,
    Trouble.HOT_DAYS: 10.0, Trouble.HUMID_DAYS: 900.0, Trouble.CREEPING: 1.0, Trouble.NOISY: 2.0, Trouble.SWAPPED: 4.0,
    Trouble.CLOCK_OFF: 600.0, Trouble.OUT_OF_ORDER: 60.0,
}  # fmt: skip


def _heard(fault):
    probe = ProbeBuild("rear")
    weekend = Weekend(
        "six hours", "", "cellar", CABINET, Climate(), 1, AT_MS, AT_MS + 6 * MS_PER_H, 60, (probe,), (), (),
        () if fault is None else (fault,), (), (),
    )  # fmt: skip
    return list(delivered(tell(weekend), weekend.faults, 1))


@pytest.mark.parametrize("what", list(Trouble), ids=lambda t: t.name)
def test_no_trouble_is_only_a_name(what):
    """Each changes what is heard of six hours, from its beginning on and not before."""
    from_ms = AT_MS + 2 * MS_PER_H
    fault = Fault(what, from_ms, AT_MS + 6 * MS_PER_H, "rear" if what in OF_PROBES else None, 0.9, SIZES.get(what, 0.0))
    healthy, sick = _heard(None), _heard(fault)

    assert [w for w in sick if w.at_ms < from_ms] == [w for w in healthy if w.at_ms < from_ms]
    assert sick != healthy


def test_a_swapped_probe_tells_of_the_other_chamber():
    """Hung back into the salting fridge it feels that one's air."""
    fault = Fault(Trouble.SWAPPED, AT_MS, AT_MS + 6 * MS_PER_H, "rear", amount=4.0)
    (last,) = decode(_heard(fault)[-1].data, "rear", AT_MS)

    assert last.temp_c == pytest.approx(4.0, abs=0.2)
    assert last.rh_pct == pytest.approx(85.0, abs=2.0)
