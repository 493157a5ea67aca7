"""The band rule against published worked examples of Page's cumulative sum.

One reading a minute makes our time weight 1, so the sums must be the published ones.
"""

import pytest

from chamberwatch.model import MS_PER_MIN, Kind
from chamberwatch.rules import limit

# Montgomery & Runger, Applied Statistics and Probability for Engineers, Example 16-6, Table 16-8 (found in a
# stored copy of the book; all 20 rows recomputed): target 99, K = 1, H = 10. Printed to 0.1.
MONTGOMERY_X = [102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1,
                101.3, 98.7, 101.1, 98.4, 97.0, 96.7, 100.3, 101.4, 97.2, 101.0]  # fmt: skip
MONTGOMERY_HIGH = [2.0, 0, 0, 0, 2.0, 0.5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, 0.3, 1.7, 0, 1.0]
MONTGOMERY_LOW = [0, 3.2, 2.9, 2.5, 0, 0, 0, 0.3, 0, 0, 0, 0, 0, 0, 1.0, 2.3, 0, 0, 0.8, 0]

# NIST/SEMATECH e-Handbook 6.3.2.3: target 325, k 0.3175, h 4.1959. Inputs from memory (high confidence),
# sums recomputed from them by the handbook's recursion.
NIST_X = [324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
          324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350]  # fmt: skip
NIST_HIGH_FROM_13 = [3.0075, 4.9400, 7.4475, 10.6300, 11.9875, 14.4450, 16.0025, 19.0350]


def sums(values: list[float], sign: int, at_limit: float, patience: float) -> tuple[list[float], list[int]]:
    """Return the sum after each value and the (1-based) places of rising edges."""
    params = limit.Params(Kind.TEMPERATURE_HIGH, sign, at_limit, patience, MS_PER_MIN, MS_PER_MIN, cap=1e9)
    state, last_ms, out, edges = limit.RESTING, None, [], []
    for i, value in enumerate(values, 1):
        state, edge = limit.step(params, state, value, i * MS_PER_MIN, last_ms)
        last_ms = i * MS_PER_MIN
        out.append(state.level)
        if edge is not None and edge.active:
            edges.append(i)
    return out, edges


def test_montgomery_high_side():
    """Every sum of the table's high side, and no signal: the process is in control."""
    got, edges = sums(MONTGOMERY_X, +1, 99 + 1, 10)

    assert got == pytest.approx(MONTGOMERY_HIGH, abs=1e-9)
    assert edges == []


def test_montgomery_low_side():
    """Every sum of the table's low side, and no signal."""
    got, edges = sums(MONTGOMERY_X, -1, 99 - 1, 10)

    assert got == pytest.approx(MONTGOMERY_LOW, abs=1e-9)
    assert edges == []


def test_nist_signals_at_the_14th():
    """The handbook's chart first signals at point 14, and its sums are ours."""
    got, edges = sums(NIST_X, +1, 325 + 0.3175, 4.1959)

    assert edges == [14]
    assert got[12:] == pytest.approx(NIST_HIGH_FROM_13, abs=5e-5)


def test_nist_low_side_stays_small():
    """The low side peaks at 0.7150 at point 8 and never signals."""
    got, edges = sums(NIST_X, -1, 325 - 0.3175, 4.1959)

    assert max(got) == pytest.approx(0.7150, abs=5e-5)
    assert got.index(max(got)) == 7
    assert edges == []
