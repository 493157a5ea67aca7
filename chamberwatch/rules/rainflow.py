"""Counting cycles in an irregular series by rainflow.

Source: ASTM E1049-85 (2017), Standard Practices for Cycle Counting in Fatigue Analysis, §5.4.4; the worked
example of its figure 6 is our test.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import pairwise


def reversals(series: Iterable[float]) -> Iterator[float]:
    """Yield the first value, every turning point and the last value; equal neighbours count once."""
    before: float | None = None
    last: float | None = None
    for value in series:
        if last is None:
            yield value
        elif value == last:
            continue
        elif before is not None and (last - before) * (value - last) < 0:
            yield last
        before, last = last, value
    if before is not None and last is not None:
        yield last


def ranges(series: Iterable[float]) -> list[tuple[float, float]]:
    """Return (range, count) of every cycle found; count 1.0 for a closed cycle, 0.5 for a half one."""
    found: list[tuple[float, float]] = []
    stack: list[float] = []
    for point in reversals(series):
        stack.append(point)
        while len(stack) >= 3:  # noqa: PLR2004  three points make two ranges
            newest, former = abs(stack[-1] - stack[-2]), abs(stack[-2] - stack[-3])
            if newest < former:
                break
            if len(stack) == 3:  # noqa: PLR2004  the former range holds the starting point
                found.append((former, 0.5))
                del stack[0]
            else:
                found.append((former, 1.0))
                del stack[-3:-1]
    found += [(abs(b - a), 0.5) for a, b in pairwise(stack)]
    return found
