"""The felt humidity's lag is the exponentially weighted moving average of the NIST/SEMATECH e-Handbook.

z(i) = λ·x(i) + (1 - λ)·z(i-1), with 1 - λ = exp(-dt / lag). The handbook's example (6.3.2.4) was read in a secondary
copy, its values recomputed: λ = 0.3, z(0) = 50; 20 values, z printed to 0.01.
"""

import math

import pytest

from chamberwatch.rules import swing
from chamberwatch.rules.minute import Minute

LAMBDA, Z0 = 0.3, 50.0
X = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
     49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]  # fmt: skip
Z = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
     50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]  # fmt: skip
Z_END = 51.988243

DT_MS = -math.log(1 - LAMBDA) * swing.FELT_LAG_MS
PARTS = math.ceil(DT_MS / swing.LONGEST_STEP_MS)
"""One step of the handbook takes about two hours of ours, more than a gap may bridge: so in equal parts."""


def felt():
    """Return the felt humidity after each value of the example."""
    state, _ = swing.step(swing.State(), Minute(0, None, Z0), None)
    out, now = [], 0.0
    for x in X:
        for _ in range(PARTS):
            now += DT_MS / PARTS
            state, _ = swing.step(state, Minute(round(now), None, x), None)
        out.append(state.felt_pct)
    return out


def test_every_value_of_the_handbook():
    """To the printed 0.01."""
    assert felt() == pytest.approx(Z, abs=0.005 + 1e-3)


def test_the_last_one_unrounded():
    """To what we keep, 0.0001, through twenty steps."""
    assert felt()[-1] == pytest.approx(Z_END, abs=5e-4)
