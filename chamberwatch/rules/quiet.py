"""What asking for quiet does to the board. Pure; see `shelf` for what a shelf is."""

from __future__ import annotations

from chamberwatch.inputs import Shelve
from chamberwatch.model import Event, Kind
from chamberwatch.rules.alarm import Board
from chamberwatch.rules.shelf import Shelf


def take(item: Shelve, board: Board) -> list[Event]:
    """Begin, move or end the quiet about one kind, or about all that stands (or is quiet) in the chamber."""
    begins = item.until_ms > item.at_ms
    kinds = [item.kind] if item.kind is not None else _all(item.chamber, board, begins=begins)
    shelf = Shelf(item.at_ms, item.until_ms, item.by)
    events = []
    for kind in kinds:
        if begins:
            events += board.shelve(item.chamber, kind, item.at_ms, shelf)
        else:
            events += board.unshelve(item.chamber, kind, item.at_ms)
    return events


def _all(chamber: str, board: Board, *, begins: bool) -> list[Kind]:
    if begins:
        return [alarm.kind for alarm in board.alarms() if alarm.chamber == chamber]
    return sorted(kind for where, kind in board.shelves if where == chamber)
