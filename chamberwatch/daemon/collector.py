"""The cycle collector, told to look seldom: a reading makes many short-lived tuples and no cycles.

Measured: looking as often as it does by default costs about a twentieth of the pipeline's time. What is there
once the watch is set up stays for its life, and need not be looked through again and again.
"""

from __future__ import annotations

import gc

YOUNG, MIDDLE, OLD = 20_000, 20, 50


def look_seldom() -> None:
    """Set the collector so; call once, when everything is set up."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(YOUNG, MIDDLE, OLD)
