"""What only the probes of one chamber together can tell."""

import math
import random

import pytest
from rule_parts import HOUR, at, house, minutes_after, reading

from chamberwatch.engine import Engine
from chamberwatch.model import MS_PER_MIN, EventState, Kind, Reason, Refusal
from chamberwatch.rules import disagree, pair, stuck

DAY = int(24 * HOUR)
HELD = pair.HELD_MS / MS_PER_MIN
STUCK = stuck.STUCK_MS / MS_PER_MIN
BAND = (Kind.TEMPERATURE_HIGH, Kind.TEMPERATURE_LOW, Kind.HUMIDITY_HIGH, Kind.HUMIDITY_LOW)


class Told:
    """What a house of probes tells of air given by functions of the minute (None: silent)."""

    def __init__(self, until, *, restart_every=None, **probes):
        plan, noises = house(*probes), {name: random.Random(name) for name in probes}
        engine, self.events = Engine(plan), []
        for m in range(until):
            for name, air in probes.items():
                now = air(m)
                if isinstance(now, Refusal):
                    self.events += engine.step(now)
                elif now is not None:
                    rng = noises[name]
                    noise = (rng.gauss(0, 0.03), rng.gauss(0, 0.2)) if len(now) == 2 else (0.0, 0.0)
                    self.events += engine.step(reading(name, m, now[0] + noise[0], now[1] + noise[1]))
            if restart_every and m % restart_every == 0:
                body, engine = engine.snapshot(), Engine(plan)
                engine.restore(body)

    def of(self, *kinds):
        """Return (minute, kind, probes) of what was raised."""
        return [
            (minutes_after(e.at_ms), e.kind, e.probes)
            for e in self.events
            if e.kind in kinds and e.state is EventState.ACTIVE
        ]


def steady(_m):
    """Air inside the band."""
    return 12.5, 75.0


def then(start, temp_c=12.5, rh_pct=75.0):
    """Air inside the band, and other air from a minute on."""
    return lambda m: (12.5, 75.0) if m < start else (temp_c, rh_pct)


def frozen_from(start, temp_c=12.5, rh_pct=75.0):
    """A probe that repeats itself exactly from a minute on; the third value says: no noise."""
    return lambda m: (12.5, 75.0) if m < start else (temp_c, rh_pct, "exact")


# -- held back ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("temp_c", "rh_pct", "kind"), [
    (12.5, 60.0, Kind.HUMIDITY_LOW), (12.5, 88.0, Kind.HUMIDITY_HIGH), (7.0, 75.0, Kind.TEMPERATURE_LOW),
])  # fmt: skip
def test_what_only_one_probe_sees_waits_and_is_then_told(temp_c, rh_pct, kind):
    """Nothing is known of the two yet, so nobody can be called a liar: told when the wait is over."""
    lone = Told(600, rear=then(60, temp_c, rh_pct)).of(kind)
    pair_ = Told(600, rear=then(60, temp_c, rh_pct), front=steady).of(kind)

    assert len(lone) == 1
    assert pair_ == [(pytest.approx(lone[0][0] + HELD, abs=2), kind, ("rear",))]


def test_what_both_see_is_told_at_once():
    """A second witness ends the wait: no later than either alone."""
    both = Told(400, rear=then(60, 12.5, 60.0), front=then(60, 12.5, 66.0)).of(Kind.HUMIDITY_LOW)
    alone = Told(400, rear=then(60, 12.5, 60.0)).of(Kind.HUMIDITY_LOW)

    assert both[0][0] == alone[0][0]


def test_a_witness_that_comes_later_ends_the_wait():
    """The front follows 40 minutes behind."""
    ((minute, _, probes),) = Told(400, rear=then(60, 12.5, 60.0), front=then(100, 12.5, 66.0)).of(Kind.HUMIDITY_LOW)

    assert 100 <= minute <= 103
    assert "rear" in probes


def test_too_warm_never_waits():
    """Heat is told as if the probe were alone."""
    alone = Told(300, rear=then(60, 17.0)).of(Kind.TEMPERATURE_HIGH)

    assert Told(300, rear=then(60, 17.0), front=steady).of(Kind.TEMPERATURE_HIGH) == alone


@pytest.mark.parametrize("front", [
    lambda m: steady(m) if m < 30 else None,
    lambda m: steady(m) if m < 30 else Refusal("front", Reason.OUT_OF_RANGE, "999 %RH", at(m)),
], ids=["silent", "implausible"])  # fmt: skip
def test_a_probe_that_is_not_well_is_no_witness(front):
    """A lone healthy probe's alarm is never held back."""
    alone = Told(200, rear=then(60, 12.5, 60.0)).of(Kind.HUMIDITY_LOW)

    assert Told(200, rear=then(60, 12.5, 60.0), front=front).of(Kind.HUMIDITY_LOW) == alone


def test_what_ends_while_it_waits_is_never_told():
    """Half an hour of dry air at one probe: not a word, not even that it is over."""
    told = Told(600, rear=lambda m: (12.5, 60.0 if 60 <= m < 90 else 75.0), front=steady)

    assert told.of(*BAND) == []
    assert [e for e in told.events if e.kind in BAND] == []


def test_a_liar_s_own_alarm_is_told_as_its_disagreement():
    """Once the difference is learnt, the probe that left its past is named, and its band alarm keeps waiting."""
    told = Told(24 * 60, rear=then(600, 12.5, 60.0), front=steady)

    assert [(kind, probes) for _, kind, probes in told.of(Kind.PROBES_DISAGREE, *BAND)] == [
        (Kind.PROBES_DISAGREE, ("rear",))
    ]


def test_what_waits_waits_on_while_the_probe_speaks_nonsense():
    """Its damp air was seen by it alone; then it is noise: neither its time's end nor a witness lets that out."""
    told = Told(6 * 60, rear=lambda m: (12.5, 75.0) if m < 60 else (12.5, 88.0) if m < 90 else (12.5, 10 + m % 2 * 80), front=steady)

    assert told.of(Kind.PROBE_IMPLAUSIBLE)
    assert told.of(*BAND) == []


def test_the_other_probe_is_not_taken_for_a_liar():
    """The front creeps up; the rear, which did not, really dries: its alarm is told."""
    told = Told(
        24 * 60, front=lambda m: (12.5, 75.0 + max(0, m - 480) / 60), rear=lambda m: (12.5, 75.0 if m < 900 else 66.0)
    )

    assert told.of(Kind.PROBES_DISAGREE)[0][2] == ("front",)
    assert [probes for _, kind, probes in told.of(Kind.HUMIDITY_LOW)] == [("rear",)]
    assert told.of(Kind.HUMIDITY_LOW)[0][0] <= 900 + 40


def falling(start, per_hour=1.2):
    """Humidity that runs down from a minute on, towards its limit."""
    return lambda m: (12.5, 75.0 - per_hour * max(0, m - start) / 60)


@pytest.mark.parametrize("names", [("rear", "front"), ("front", "rear")])
def test_a_drift_that_both_see_is_one_alarm_until_the_last_left(names):
    """Both run down; the rear turns, the front goes on: joined and left, not ended, whoever is heard first."""
    air = {"rear": lambda m: falling(480)(m) if m < 700 else (12.5, 76.0), "front": falling(480)}
    told = Told(790, **{name: air[name] for name in names})
    drifts = [e for e in told.events if e.kind is Kind.HUMIDITY_DRIFT]

    assert [e.state for e in drifts].count(EventState.ACTIVE) == 1
    assert EventState.RETURNED not in [e.state for e in drifts]
    assert drifts[-1].probes == ("front",)


def test_a_drift_that_one_of_two_sees_is_not_told():
    """A probe's own ageing, or its corner: the air's slow ways are seen by all. A lone probe's drift is told."""
    assert len(Told(700, rear=falling(480)).of(Kind.HUMIDITY_DRIFT)) == 1
    told = Told(700, rear=falling(480), front=steady)
    assert [e for e in told.events if e.kind is Kind.HUMIDITY_DRIFT] == []


def test_a_drift_whose_witness_fell_silent_is_told():
    """When no other probe is well any more, the one that is left is believed."""
    told = Told(700, rear=falling(480), front=lambda m: steady(m) if m < 670 else None)
    ((minute, _, probes),) = told.of(Kind.HUMIDITY_DRIFT)

    assert probes == ("rear",)
    assert 670 < minute < 680


def test_a_swing_that_one_of_two_sees_is_not_told():
    """A fan by one probe; by both, or by a lone one, it is told."""
    fight = lambda m: (12.5, 75 + 8 * math.sin(m / 5))  # noqa: E731  air is a function of the minute
    kinds = Kind.HUMIDITY_SWING

    assert len(Told(400, rear=fight).of(kinds)) == len(Told(400, rear=fight, front=fight).of(kinds)) == 1
    assert Told(400, rear=fight, front=steady).of(kinds) == []


# -- stuck -------------------------------------------------------------------------------------------------


def test_a_frozen_probe_is_told_when_the_other_moved():
    """All of the rear stands still while the front swings: told within four hours, once."""
    told = Told(700, rear=frozen_from(300), front=lambda m: (12.5 + m % 20 / 20, 75.0 + m % 20 / 4))
    ((minute, _, probes),) = told.of(Kind.PROBE_STUCK)

    assert probes == ("rear",)
    assert STUCK <= minute - 300 <= 4 * HOUR


def test_the_other_half_is_a_witness_too():
    """A lone probe whose humidity is pinned at 100 % while its temperature moves."""
    told = Told(700, rear=lambda m: (12.5 + m % 20 / 20, 75.0) if m < 300 else (12.5 + m % 20 / 20, 100.0, "exact"))

    assert [probes for _, _, probes in told.of(Kind.PROBE_STUCK)] == [("rear",)]
    assert told.of(Kind.PROBE_STUCK)[0][0] - 300 <= 4 * HOUR


def test_without_a_witness_nothing_is_said():
    """Everything stands still: perhaps it does."""
    assert Told(1000, rear=frozen_from(0), front=frozen_from(0, 12.6, 75.5)).of(Kind.PROBE_STUCK) == []


def test_it_returns_with_the_first_other_value():
    """One active, one returned."""
    told = Told(
        900, rear=lambda m: steady(m) if m < 300 or m > 700 else (12.5, 75.0, "exact"),
        front=lambda m: (12.5 + m % 20 / 20, 75.0 + m % 20 / 4),
    )  # fmt: skip
    states = [(e.state, minutes_after(e.at_ms)) for e in told.events if e.kind is Kind.PROBE_STUCK]

    assert [state for state, _ in states] == [EventState.ACTIVE, EventState.RETURNED]
    assert states[1][1] == 701


# -- comparison --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("away", "half"), [((13.4, 75.0), "temperature"), ((12.5, 78.2), "humidity")])
def test_a_departure_names_probe_and_half(away, half):
    """Told after two hourly means, under the name of the one that left its own past."""
    told = Told(16 * 60, rear=steady, front=then(600, *away))
    (event,) = [e for e in told.events if e.kind is Kind.PROBES_DISAGREE and e.state is EventState.ACTIVE]

    assert (event.probes, event.detail) == (("front",), half)
    assert minutes_after(event.at_ms) - 600 <= (disagree.HOLD_HOURS + 1) * HOUR
    assert abs(event.value) > event.limit


def test_a_known_offset_is_never_told():
    """Two probes of one chamber may differ by what they always did."""
    assert Told(30 * 60, rear=steady, front=lambda _m: (12.9, 78.5)).of(Kind.PROBES_DISAGREE) == []


def test_an_hour_that_one_probe_mostly_missed_does_not_count():
    """Ten minutes of an hour are not its mean."""
    told = Told(
        16 * 60, rear=steady, front=lambda m: steady(m) if m < 600 else (12.5, 85.0) if m % 60 < 10 else None
    )

    assert told.of(Kind.PROBES_DISAGREE) == []


def test_a_departure_is_returned_when_it_is_over():
    """Back within half the limit."""
    told = Told(24 * 60, rear=steady, front=lambda m: (12.5, 78.5) if 600 <= m < 900 else (12.5, 75.0))
    states = [e.state for e in told.events if e.kind is Kind.PROBES_DISAGREE]

    assert states == [EventState.ACTIVE, EventState.RETURNED]


def test_a_probe_named_by_both_halves_returns_with_the_last():
    """Its temperature comes back hours before its humidity: one alarm, that ends when all of it is back."""
    told = Told(
        24 * 60, rear=steady,
        front=lambda m: (13.6 if 600 <= m < 900 else 12.5, 79.0 if 600 <= m < 1200 else 75.0),
    )  # fmt: skip
    states = [(e.state, minutes_after(e.at_ms)) for e in told.events if e.kind is Kind.PROBES_DISAGREE]

    assert [state for state, _ in states] == [EventState.ACTIVE, EventState.RETURNED]
    assert states[1][1] >= 1200


def test_a_probe_stuck_in_both_halves_returns_with_the_last():
    """Its temperature moves again, its humidity does not: it is still stuck."""
    told = Told(
        900, rear=lambda m: steady(m) if m < 300 else (12.5 if m < 600 else 12.5 + m % 7 / 9, 75.0, "exact"),
        front=lambda m: (12.5 + m % 20 / 20, 75.0 + m % 20 / 4),
    )  # fmt: skip

    assert [e.state for e in told.events if e.kind is Kind.PROBE_STUCK] == [EventState.ACTIVE]


def test_of_three_the_one_that_left_is_named_whoever_is_heard_first():
    """Each is compared with the middle of all others, so the order of arrival does not matter."""
    air = {"rear": steady, "front": steady, "top": lambda m: (12.5, 75.0 if m < 600 else 79.0)}
    for names in (("rear", "front", "top"), ("top", "rear", "front"), ("front", "top", "rear")):
        told = Told(16 * 60, **{name: air[name] for name in names})
        assert [probes for _, _, probes in told.of(Kind.PROBES_DISAGREE)] == [("top",)]


def test_of_three_the_two_that_saw_the_air_move_are_not_accused():
    """The air dries by 3.6 %RH at two of three; the one first heard with the third is not judged by that alone."""
    moved = then(600, 12.5, 71.4)
    for names in (("rear", "top", "front"), ("front", "top", "rear"), ("rear", "front", "top")):
        told = Told(16 * 60, **{name: steady if name == "top" else moved for name in names})
        assert told.of(Kind.PROBES_DISAGREE) == []


@pytest.mark.parametrize("every", [13, 61])
def test_restart_in_the_middle_changes_nothing(every):
    """Held alarms, stuck values and learnt differences all survive."""
    probes = {
        "rear": lambda m: (12.5, 75.0) if m < 400 else (12.5, 60.0),
        "front": lambda m: (12.5 + m % 20 / 20, 75.0) if m < 200 else (12.5 + m % 20 / 20, 77.0, "exact"),
    }
    straight, broken = Told(800, **probes), Told(800, restart_every=every, **probes)

    assert broken.events == straight.events
    assert straight.of(Kind.PROBE_STUCK, Kind.HUMIDITY_LOW, Kind.PROBES_DISAGREE) != []
