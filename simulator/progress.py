"""How far the weekend is: a bar on a terminal, a line now and then elsewhere."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING

from simulator.table import day_and_time

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from simulator.weekend import Weekend

LINES = 8


@contextmanager
def progress(weekend: Weekend, *, bar: bool) -> Iterator[Callable[[int], None]]:
    """Give a function that takes the story's time [ms]; `bar` False, or no terminal: plain lines."""
    if bar and sys.stderr.isatty():
        with _bar(weekend) as show:
            yield show
    else:
        yield _lines(weekend)


@contextmanager
def _bar(weekend: Weekend) -> Iterator[Callable[[int], None]]:
    try:
        from rich.console import Console  # noqa: PLC0415  only where there is a bar to draw
        from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn  # noqa: PLC0415
    except ImportError:
        yield _lines(weekend)
        return
    columns = (TextColumn("{task.description}"), BarColumn(None), TextColumn("{task.percentage:3.0f} %"))
    with Progress(*columns, TimeElapsedColumn(), console=Console(stderr=True), transient=True) as drawn:
        task = drawn.add_task(day_and_time(weekend.start_ms), total=weekend.end_ms - weekend.start_ms)

        def show(at_ms: int) -> None:
            drawn.update(task, completed=at_ms - weekend.start_ms, description=day_and_time(at_ms))

        yield show


def _lines(weekend: Weekend) -> Callable[[int], None]:
    span = weekend.end_ms - weekend.start_ms
    said = -1

    def show(at_ms: int) -> None:
        nonlocal said
        part = (at_ms - weekend.start_ms) * LINES // span
        if part > said:
            said = part
            print(f"  {day_and_time(at_ms)}  {100 * part // LINES} %", file=sys.stderr, flush=True)

    return show
