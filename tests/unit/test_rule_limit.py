"""The band rule at its own units: degrees outside times minutes."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chamberwatch.model import MS_PER_MIN, MS_PER_S, Kind
from chamberwatch.rules import limit

EVERY_MS = 10 * MS_PER_S
HIGH = limit.Params(Kind.TEMPERATURE_HIGH, +1, 15.0, 60.0, EVERY_MS, 90 * MS_PER_S)
LOW = limit.Params(Kind.TEMPERATURE_LOW, -1, 10.0, 60.0, EVERY_MS, 90 * MS_PER_S)


def run(params, values, every_ms=EVERY_MS, state=limit.RESTING, last_ms=None, start_ms=EVERY_MS, held=False):
    """Feed values at a fixed interval; return the state, edges and last time."""
    edges = []
    at_ms = start_ms
    for value in values:
        state, edge = limit.step(params, state, value, at_ms, last_ms, held=held)
        last_ms, at_ms = at_ms, at_ms + every_ms
        if edge is not None:
            edges.append(edge)
    return state, edges, last_ms


@pytest.mark.parametrize(("over_c", "minutes"), [(1, 60), (2, 30), (6, 10)])
def test_patience_is_degree_minutes(over_c, minutes):
    """1 °C over takes 60 min, 6 °C takes 10."""
    _, edges, _ = run(HIGH, [15.0 + over_c] * 400)

    assert [e.active for e in edges] == [True]
    assert edges[0].at_ms == minutes * MS_PER_MIN
    assert edges[0].since_ms == EVERY_MS


def test_below_is_the_mirror_image():
    """A degree under the low limit weighs what a degree over the high one does."""
    _, edges, _ = run(LOW, [9.0] * 400)

    assert edges[0].at_ms == 60 * MS_PER_MIN


def test_on_the_limit_is_inside():
    """The limit itself belongs to the band."""
    state, edges, _ = run(HIGH, [15.0] * 1000)

    assert (state, edges) == (limit.RESTING, [])


def test_returns_when_drained_to_zero():
    """It returns once the time inside has made up for the time outside (capped), with the worst value."""
    state, up, last_ms = run(HIGH, [17.0] * 600)
    _, down, _ = run(HIGH, [14.0] * 1000, state=state, last_ms=last_ms, start_ms=last_ms + EVERY_MS)

    assert len(up) == len(down) == 1
    assert not down[0].active
    assert down[0].worst == 17.0
    assert down[0].at_ms - last_ms == 1.5 * 60 * MS_PER_MIN


def test_a_gap_is_no_evidence():
    """After hours of nothing one reading outside counts for one interval, not for the hours."""
    state, edges, _ = run(HIGH, [20.0, 20.0], every_ms=10 * 60 * MS_PER_MIN)

    assert edges == []
    assert state.level == pytest.approx(2 * 5 * 10 / 60)


def test_a_door_session_holds_growth_but_not_draining():
    """While tended the sum never grows; it still drains."""
    state, edges, last_ms = run(HIGH, [25.0] * 500, held=True)
    grown, _, last_ms = run(HIGH, [16.0] * 60, last_ms=last_ms, start_ms=last_ms + EVERY_MS)
    drained, _, _ = run(HIGH, [14.0] * 6, state=grown, last_ms=last_ms, start_ms=last_ms + EVERY_MS, held=True)

    assert (state, edges) == (limit.RESTING, [])
    assert drained.level == pytest.approx(grown.level - 1.0)


@pytest.mark.parametrize("bad", [{"sign": 0}, {"limit": math.nan}, {"patience": 0.0}, {"every_ms": 0}, {"cap": 0.5}])
def test_parameters_are_checked(bad):
    """A rule that cannot work is refused where it is made."""
    good = {"kind": Kind.TEMPERATURE_HIGH, "sign": 1, "limit": 15.0, "patience": 60.0,
            "every_ms": 10_000, "hold_ms": 90_000}  # fmt: skip

    with pytest.raises(ValueError, match=r"must|hold|finite"):
        limit.Params(**(good | bad))


@given(st.lists(st.floats(5, 25), max_size=200), st.floats(0, 5))
def test_a_limit_moved_outward_never_adds_an_alarm(values, outward):
    """Wherever the wider band alarms, the narrower one does or stands already."""
    wide = limit.Params(Kind.TEMPERATURE_HIGH, +1, 15.0 + outward, 60.0, EVERY_MS, 90 * MS_PER_S)
    narrow_state = wide_state = limit.RESTING
    last_ms = None
    for i, value in enumerate(values):
        at_ms = (i + 1) * 90_000
        narrow_state, _ = limit.step(HIGH, narrow_state, value, at_ms, last_ms)
        wide_state, _ = limit.step(wide, wide_state, value, at_ms, last_ms)
        last_ms = at_ms

        assert not (wide_state.active and not narrow_state.active)


@given(st.lists(st.floats(5, 25), min_size=1, max_size=300), st.integers(0, 299))
def test_restart_in_the_middle_changes_nothing(values, cut):
    """A state that went through a list and back gives the same edges."""
    whole, edges, _ = run(HIGH, values, every_ms=60_000)
    first, early, last_ms = run(HIGH, values[:cut], every_ms=60_000)
    again = limit.State(*list(first))
    start_ms = EVERY_MS + 60_000 * len(values[:cut])
    second, later, _ = run(HIGH, values[cut:], 60_000, again, last_ms, start_ms)

    assert (second, early + later) == (whole, edges)


def test_an_alarm_does_not_end_while_the_mean_is_outside():
    """A saw-tooth around a mean beyond the limit drains the sum in each dip: one occurrence, since its beginning."""
    teeth, state, edges, last_ms = [20.0] * 20 + [12.0] * 60 + [21.0] * 20 + [12.0] * 60, limit.RESTING, [], None
    for i, value in enumerate(teeth, 1):
        state, edge = limit.step(HIGH, state, value, i * 60_000, last_ms, mean=15.5)
        last_ms = i * 60_000
        edges += [edge] if edge else []
    assert [edge.active for edge in edges] == [True]
    assert (state.since_ms, state.worst) == (edges[0].since_ms, 21.0)

    _, edge = limit.step(HIGH, state, 12.0, last_ms + 60_000, last_ms, mean=14.5)
    assert not edge.active
