"""What people ask of a running watch: "I'm on it", doors, quiet, a probe's rest; by command line or MQTT."""

from __future__ import annotations

import logging
from collections.abc import Mapping
from typing import Any

from chamberwatch.daemon.asking import parse_request
from chamberwatch.daemon.clock import Clock
from chamberwatch.daemon.pipeline import Pipeline
from chamberwatch.errors import JournalError
from chamberwatch.ingest.packet import Command
from chamberwatch.inputs import Acknowledge, Hangs, Rest, Shelve, Tend
from chamberwatch.journal.store import Journal, RequestRow
from chamberwatch.model import MS_PER_DAY, HangingTime, Kind, Plan

_log = logging.getLogger(__name__)
STAYS_KEPT_MS = 5 * MS_PER_DAY


class Requests:
    """Looks for requests when another process has written, and hands them to the pipeline."""

    def __init__(self, journal: Journal, plan: Plan, pipeline: Pipeline, clock: Clock) -> None:
        self._journal = journal
        self._plan = plan
        self._pipeline = pipeline
        self._clock = clock
        self._seen_version = -1
        self._taken: set[int] = set()
        self._stays: dict[str, tuple[HangingTime, ...]] = {}

    def poll(self) -> None:
        """Take requests that were written since the last look; cheap when nobody wrote."""
        try:
            version = self._journal.data_version()
            if version == self._seen_version:
                return
            rows = self._journal.open_requests()
        except JournalError as error:
            # What is kept in memory while the journal is out of order must not end with the watch.
            _log.error("requests cannot be read, looked for again: %s", error)
            return
        self._seen_version = version
        for row in rows:
            if row.id not in self._taken:
                self._taken.add(row.id)
                self._apply(row)
        self._taken &= {row.id for row in rows}
        self.tell_hanging()

    def tell_hanging(self) -> None:
        """Give the rules the stays of every chamber where they changed: the planned air depends on them."""
        for chamber in self._plan.chambers:
            stays = self._lately(self._journal.hanging_times(chamber.name))
            if stays != self._stays.get(chamber.name, ()):
                self._stays[chamber.name] = stays
                self._pipeline.feed(Hangs(self._clock.now_ms(), chamber.name, stays))

    def _lately(self, stays: tuple[HangingTime, ...]) -> tuple[HangingTime, ...]:
        """Leave out what came down long ago: no reading of so long ago is judged any more."""
        since_ms = self._clock.now_ms() - STAYS_KEPT_MS
        return tuple(s for s in stays if s.to_ms is None or s.to_ms >= since_ms)

    def _apply(self, row: RequestRow) -> None:
        # A rehearsal's time is not the terminal's: there a request happens now, on the readings' clock.
        at_ms = min(row.at_ms, self._clock.now_ms()) or row.at_ms
        kind = row.args.get("kind")
        if row.verb == "tend":
            self._tend(row.args)
        elif row.verb == "rest":
            until_ms = at_ms + row.args["until_ms"] - row.at_ms
            self._pipeline.feed(Rest(at_ms, row.args["probe"], until_ms, row.args["by"]))
        elif kind is not None and kind not in list(Kind):
            _log.warning("request %d is about %r, which this version does not know", row.id, kind)
        else:
            self._about(row, at_ms, None if kind is None else Kind(kind))
        self._pipeline.request_done(row.id)

    def _about(self, row: RequestRow, at_ms: int, kind: Kind | None) -> None:
        by = row.args.get("by", "")
        if row.verb == "shelve":
            until_ms = at_ms + row.args["until_ms"] - row.at_ms
            self._pipeline.feed(Shelve(at_ms, row.args["chamber"], kind, until_ms, by))
        else:
            self._pipeline.feed(Acknowledge(at_ms, row.args.get("chamber"), kind, by))

    def _tend(self, args: Mapping[str, Any]) -> None:
        self._pipeline.feed(Tend(args["from_ms"], args["chamber"], args["until_ms"]))

    def command(self, command: Command) -> None:
        """Take what came on the acknowledge topic; nonsense is logged and acknowledged away."""
        try:
            asked = parse_request(command.text, self._plan, self._clock.now_ms())
        except ValueError as error:
            _log.warning("on the acknowledge topic: %s", error)
            self._pipeline.feed_ack(command.ack)
            return
        self._pipeline.feed(asked, command.ack)
