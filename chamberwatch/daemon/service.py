"""`watch`: put the parts together, run until told to stop, take them apart so that nothing is lost."""

from __future__ import annotations

import logging
import os
import shutil
import signal
import sys
from collections.abc import Callable
from contextlib import ExitStack

from chamberwatch.daemon.clock import Clock, MachineClock, ReadingsClock, synced
from chamberwatch.daemon.collector import look_seldom
from chamberwatch.daemon.housekeeping import Housekeeping
from chamberwatch.daemon.loop import Loop
from chamberwatch.daemon.pipeline import Pipeline
from chamberwatch.daemon.plans import (
    broker_plan,
    channel_plans,
    port_plans,
    pulse_plan,
    series_plan,
    speeches,
)
from chamberwatch.daemon.requests import Requests
from chamberwatch.daemon.service_manager import ServiceManager
from chamberwatch.daemon.teller import Teller, newest_air
from chamberwatch.daemon.wording import counted
from chamberwatch.errors import JournalError, SettingsError
from chamberwatch.heartbeat import Pulse
from chamberwatch.ingest.broker import BrokerLink
from chamberwatch.ingest.guard import install_thread_guard
from chamberwatch.ingest.packet import Inbox
from chamberwatch.ingest.serial_port import SerialPort
from chamberwatch.inputs import ChannelState, DiskFree, Resumed
from chamberwatch.journal.lock import hold
from chamberwatch.journal.outbox import Outbox
from chamberwatch.journal.store import Journal
from chamberwatch.journal.tail import Tail
from chamberwatch.model import Event
from chamberwatch.notify import Notifier
from chamberwatch.series.writer import SeriesWriter
from chamberwatch.settings import Settings

INBOX_ITEMS = 5_000
"""Serial ports wait beyond this; a broker's backlog may go past it."""
STOP_S = 5.0
REHEARSAL = "REHEARSAL: time is taken from the readings; no real chamber is watched"

_log = logging.getLogger(__name__)


def check_rehearsal(settings: Settings, *, rehearsal: bool) -> None:
    """Refuse a rehearsal's settings in normal use, and the other way round.

    Raises:
        SettingsError: the two do not agree.
    """
    if settings.file.rehearsal is not None and not rehearsal:
        raise SettingsError(
            f"{settings.source}: [rehearsal] takes time from the readings and must never watch real meat; "
            "remove it, or start with --rehearsal"
        )
    if rehearsal and settings.file.rehearsal is None:
        raise SettingsError(
            f'{settings.source}: --rehearsal needs a settings file with [rehearsal] clock = "readings"'
        )


class Service:
    """A running watch."""

    def __init__(self, settings: Settings, parts: ExitStack, *, rehearsal: bool) -> None:
        file = settings.file
        self.plan = settings.plan
        self.clock: Clock = ReadingsClock() if rehearsal else MachineClock()
        self.rehearsal = rehearsal
        path = settings.journal_path
        parts.enter_context(hold(path))
        self.journal = Journal.open(path)
        parts.callback(self.journal.close)
        self.journal.remember_plan(self.plan, file.units)
        self.unclean = self.journal.begin_watch()
        self.teller = self._teller(settings)
        self.pipeline = Pipeline(
            self.journal,
            self.plan,
            self.teller,
            self.clock,
            alive=not rehearsal,
            speeches=speeches(file),
        )
        self.inbox = Inbox(INBOX_ITEMS)
        now_ms = self.clock.now_ms
        self.ports = [SerialPort(p, self.inbox, now_ms) for p in port_plans(file)]
        broker = broker_plan(file)
        self.link = BrokerLink(broker, self.inbox, now_ms) if broker is not None else None
        publish = self.link.publish if self.link is not None else None
        self.notifier = Notifier(channel_plans(file), lambda: Outbox(path), now_ms, publish)
        series = series_plan(file)
        self.series = SeriesWriter(series, lambda: Tail(path), now_ms) if series is not None else None
        pulse = None if rehearsal else pulse_plan(file)  # nobody must take practice for a living watch
        self.pulse = Pulse(pulse) if pulse is not None else None
        self.manager = ServiceManager()
        self.requests = Requests(self.journal, self.plan, self.pipeline, self.clock)
        self.loop = Loop(
            self.inbox,
            self.pipeline,
            self.requests,
            self.clock,
            self.manager,
            self.status,
            self._each_minute,
            self.pulse.alive if self.pulse is not None else lambda: None,
        )
        self.housekeeping = Housekeeping(path, file.journal.keep_days, now_ms)

    def _teller(self, settings: Settings) -> Teller:
        channels = settings.file.notify.channel
        return Teller(
            self.plan,
            self.journal.hanging,
            [c.name for c in channels if c.role == "owner"],
            settings.zone,
            settings.file.units,
            rehearsal=self.rehearsal,
            stand_ins=[c.name for c in channels if c.role == "stand-in"],
            away=self.journal.away,
        )

    def status(self) -> str:
        """Return one line on how it goes, for the service manager."""
        open_alarms = len(self.pipeline.alarms())
        probes = counted(len(self.plan.probes), "probe")
        text = f"{probes}, {counted(open_alarms, 'alarm')}, {self.inbox.qsize()} waiting"
        return f"{REHEARSAL}; {text}" if self.rehearsal else text

    def run(self) -> None:
        """Begin where the journal ends, watch until stopped."""
        self.pipeline.told = self._told
        self.pipeline.restore()
        self.teller.remember(newest_air(self.journal.path))
        self._look_at_clock()
        if not self.rehearsal:
            self.pipeline.feed(Resumed(self.clock.now_ms(), self.journal.alive_ms()))
        self._start()
        kept = False
        try:
            self._say_ready()
            self.loop.run()
        finally:
            kept = self._stop()
        if not kept:
            lost = counted(self.pipeline.waiting, "reading")
            where = self.journal.path
            raise JournalError(f"the last {lost} could not be written to {where}; a broker still has its own")

    def _look_at_clock(self) -> None:
        """Refuse times in the future only while this machine's own clock is known to be right."""
        self.pipeline.refuse_future = not self.rehearsal and synced()

    def _each_minute(self) -> None:
        """Look at the clock, the journal's disk and the channels; the rules decide what is worth telling."""
        self._look_at_clock()
        if self.rehearsal:
            return  # a rehearsal's time is not the disk's
        now_ms = self.clock.now_ms()
        usage = shutil.disk_usage(self.journal.path.parent)
        self.pipeline.feed(DiskFree(now_ms, 100.0 * usage.free / usage.total))
        for name, status in self.notifier.status().items():
            since_ms = status.since_ms if status.problem is not None else None
            self.pipeline.feed(ChannelState(now_ms, name, since_ms, status.failed))

    def _start(self) -> None:
        self.notifier.start()
        if self.series is not None:
            self.series.start()
        if self.pulse is not None:
            self.pulse.start()
        for port in self.ports:
            port.start()
        if self.link is not None:
            self.link.start()
        self.housekeeping.start(check=self.unclean)

    def _say_ready(self) -> None:
        if not self.notifier.status():
            _log.warning("no [[notify.channel]]: what happens is recorded, but nobody is told")
        if self.rehearsal:
            print(REHEARSAL, flush=True)  # noqa: T201  the one line a person at the terminal waits for
        chambers = ", ".join(c.name for c in self.plan.chambers)
        probes = ", ".join(p.name for p in self.plan.probes)
        print(f"ready: {chambers}; probes {probes}; journal {self.journal.path}", flush=True)  # noqa: T201
        self.manager.ready(self.status())

    def _stop(self) -> bool:
        """Sources first, so that what they gave is committed; then those who tell. False: not all was."""
        self.manager.stopping()
        if self.pulse is not None:
            self.pulse.stop(0.0)
        for port in self.ports:
            port.stop()
        kept = self.loop.drain()
        self.housekeeping.stop()
        self.notifier.stop(STOP_S)
        if self.series is not None:
            self.series.stop(STOP_S)
        if self.link is not None:
            self.link.stop()
        return kept

    def _told(self, events: list[Event]) -> None:
        for event in events:
            _log.info("%s %s %s in %s (%s)", event.kind, event.state, event.note, event.chamber, event.id)
        self.notifier.wake()


def watch(settings: Settings, *, rehearsal: bool = False) -> None:
    """Run the daemon until SIGTERM or SIGINT.

    Raises:
        SettingsError: settings and `rehearsal` do not agree.
        JournalHeld: another process watches this journal.
        JournalError: the journal cannot be opened, or the last readings could not be written.
    """
    check_rehearsal(settings, rehearsal=rehearsal)
    install_thread_guard()
    with ExitStack() as parts:
        service = Service(settings, parts, rehearsal=rehearsal)
        _on_signals(service.loop.stop)
        look_seldom()
        service.run()


def _on_signals(stop: Callable[[], None]) -> None:
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda _number, _frame: stop())


def set_up_log(*, verbose: bool) -> None:
    """Send the log to standard error, without times under systemd (its journal has them)."""
    under_systemd = "JOURNAL_STREAM" in os.environ
    form = (
        "%(levelname)s %(name)s: %(message)s"
        if under_systemd
        else "%(asctime)s %(levelname)s %(name)s: %(message)s"
    )
    logging.basicConfig(stream=sys.stderr, level=logging.INFO if verbose else logging.WARNING, format=form)
