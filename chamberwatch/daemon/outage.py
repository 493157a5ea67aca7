"""How long each chamber would have without its cooling, from what the watch last knew."""

from __future__ import annotations

from collections.abc import Iterator

from chamberwatch.engine import VERSION, Engine
from chamberwatch.journal.reader import Reader
from chamberwatch.model import Plan
from chamberwatch.words.away import Slack


def slacks(plan: Plan, reader: Reader) -> Iterator[Slack]:
    """Yield each chamber's slack; the climb is that of the last snapshot (at most 10 min old)."""
    pace: dict[str, float] = {}
    snapshot = reader.snapshot()
    if snapshot is not None and snapshot.version == VERSION:
        engine = Engine(plan)
        engine.restore(snapshot.body)
        pace = engine.pace()
    temps = {air.chamber: air.temp_c for air in reader.air()}
    for chamber in plan.chambers:
        yield Slack(chamber, temps.get(chamber.name), pace.get(chamber.name))
