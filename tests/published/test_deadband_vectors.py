"""A compressor's saw-tooth through textbook deadband and delays, and through our limit rule.

ISA-18.2 and its kin calm a chattering alarm by a deadband and by on- and off-delays. The vectors below (a triangle of
69 to 81 %RH every 1800 s against a limit of 80) were computed in plain Python outside this project; the common 60 s
delay comes from memory (moderately sure; no page found). They show why we do not use delays: a 60 s on-delay still
tells every tooth. What our rule does with the same teeth is stated beside it.
"""

import pytest

from chamberwatch.model import Kind
from chamberwatch.rules import limit

PERIOD_S, STEP_S, UNTIL_S, LIMIT = 1800, 10, 5400, 80.0
R, C = "raised", "cleared"
VECTORS = {
    (0, 0, 0): [(R, 0), (C, 80), (R, 1730), (C, 1880), (R, 3530), (C, 3680), (R, 5330)],
    (1, 0, 0): [(R, 0), (C, 160), (R, 1730), (C, 1960), (R, 3530), (C, 3760), (R, 5330)],
    (1, 60, 60): [(R, 60), (C, 220), (R, 1790), (C, 2020), (R, 3590), (C, 3820), (R, 5390)],
    (1, 130, 60): [(R, 1860), (C, 2020), (R, 3660), (C, 3820)],
    (1, 140, 60): [(R, 1870), (C, 2020), (R, 3670), (C, 3820)],
    (1, 150, 60): [],
}
"""(deadband %RH, on-delay s, off-delay s) → what is told."""


def triangle(second, high=81.0, low=69.0):
    """Return the humidity of a saw-tooth that begins at its peak [%RH]."""
    part = second % PERIOD_S / PERIOD_S
    return high - (high - low) * (1 - abs(2 * part - 1))


def textbook(deadband, on_s, off_s):
    """Return what a limit with deadband and delays tells, sample by sample."""
    told, active, since = [], False, None
    for second in range(0, UNTIL_S + 1, STEP_S):
        value = triangle(second)
        turning = value < LIMIT - deadband if active else value > LIMIT
        since = (second if since is None else since) if turning else None
        if since is not None and second - since >= (off_s if active else on_s):
            active, since = not active, None
            told.append((R if active else C, second))
    return told


def ours(mean=None, high=81.0, low=69.0, patience=100.0, hours=12):
    """Return what our rule tells of the same kind of teeth: (active, s)."""
    params = limit.Params(Kind.HUMIDITY_HIGH, +1, LIMIT, patience, STEP_S * 1000, 90_000, near=5.0, far=10.0)
    state, last_ms, told = limit.RESTING, None, []
    for second in range(0, hours * 3600, STEP_S):
        at_ms = (second + STEP_S) * 1000
        state, edge = limit.step(params, state, triangle(second, high, low), at_ms, last_ms, mean=mean)
        last_ms = at_ms
        if edge is not None:
            told.append((edge.active, second))
    return told


@pytest.mark.parametrize("setting", VECTORS)
def test_the_textbook_machine_gives_the_vectors(setting):
    """Our reading of deadband and delays is the one the vectors were computed with."""
    assert textbook(*setting) == VECTORS[setting]


def test_our_rule_is_silent_on_the_same_teeth():
    """The time inside outweighs the time above: twelve hours without a word, whether the cycle is known or not."""
    assert ours() == []
    assert ours(mean=75.0) == []


def test_larger_teeth_wait_for_their_mean():
    """60.5 to 89.5 %RH reaches a short patience each time; known to have its mean inside, nobody is told."""
    unknown = ours(high=89.5, low=60.5, patience=40.0)

    assert [active for active, _ in unknown[:4]] == [True, False, True, False]
    assert ours(mean=75.0, high=89.5, low=60.5, patience=40.0) == []


def test_far_outside_no_mean_helps():
    """Teeth that reach more than 10 %RH beyond the limit are told whatever their mean."""
    assert [active for active, _ in ours(mean=76.0, high=92.0, low=60.0, patience=40.0)[:2]] == [True, False]


def test_a_mean_outside_is_told():
    """The same teeth 7 %RH higher: their mean is above the limit, and that is told once and stays."""
    assert [active for active, _ in ours(mean=82.0, high=88.0, low=76.0)] == [True]
