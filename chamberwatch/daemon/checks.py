"""`check`: look at every part as the watch would meet it, and say in plain words what to mend."""

from __future__ import annotations

import os
import queue
import shutil
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import NamedTuple

from chamberwatch.daemon.clock import MachineClock, synced
from chamberwatch.daemon.plans import broker_plan, channel_plans, port_plans
from chamberwatch.errors import ChamberwatchError, JournalHeld
from chamberwatch.ingest.broker import BrokerLink
from chamberwatch.ingest.packet import Inbox
from chamberwatch.ingest.serial_port import PortPlan, SerialPort
from chamberwatch.journal.integrity import quick_check
from chamberwatch.journal.lock import hold
from chamberwatch.notify import ChannelPlan, channel_problem, probe_channel
from chamberwatch.settings import Settings

PORT_WAIT_S = 2.0
BROKER_WAIT_S = 5.0
LOW_DISK = 0.10


class State(StrEnum):
    """How a part is."""

    WELL = "well"
    REMARK = "remark"
    FAULT = "fault"


SIGNS = {State.WELL: "ok  ", State.REMARK: "look", State.FAULT: "MEND"}


class Finding(NamedTuple):
    """What was looked at, how it is, and what to do."""

    state: State
    about: str
    text: str

    def line(self) -> str:
        """Return it as one line of the terminal."""
        return f"{SIGNS[self.state]}  {self.about}: {self.text}"


def run_checks(settings: Settings, *, send_test: bool = False) -> Iterator[Finding]:
    """Yield a finding a part, in the order in which a newcomer should mend them."""
    plan = settings.plan
    yield Finding(State.WELL, "settings", f"{len(plan.chambers)} chambers, {len(plan.probes)} probes")
    yield _clock()
    watched = _watched(settings.journal_path)
    yield _journal(settings.journal_path, watched=watched)
    yield _disk(settings.journal_path)
    yield from _ports(settings, watched=watched)
    yield from _broker_and_channels(settings, send_test=send_test)
    if settings.file.series is not None:
        yield _series(settings.file.series.url)


def _clock() -> Finding:
    if synced():
        return Finding(State.WELL, "clock", "set by the network")
    return Finding(
        State.REMARK, "clock", "not known to be right: is systemd-timesyncd running? Times told may be off"
    )


def _watched(path: Path) -> bool:
    if not path.parent.is_dir():
        return False
    try:
        hold(path).release()
    except JournalHeld:
        return True
    except ChamberwatchError:
        return False
    return False


def _journal(path: Path, *, watched: bool) -> Finding:
    if not path.parent.is_dir():
        return Finding(State.FAULT, "journal", f"there is no folder {path.parent}; make it")
    if not path.exists():
        if not os.access(path.parent, os.W_OK):
            return Finding(
                State.FAULT, "journal", f"you may not write in {path.parent}: join its group"
            )
        return Finding(State.REMARK, "journal", f"{path} will be made at the first watch")
    if not os.access(path, os.W_OK):
        return Finding(
            State.FAULT, "journal", f"you may not write {path}: join its group, log in again"
        )
    try:
        faults = quick_check(path)
    except ChamberwatchError as error:
        faults = [str(error)]
    if faults:
        return Finding(State.FAULT, "journal", f"{path} is damaged: {faults[0]}")
    size_mb = path.stat().st_size / 1e6
    running = "a watch is running" if watched else "no watch is running"
    return Finding(State.WELL, "journal", f"{path}, {size_mb:.1f} MB, whole; {running}")


def _disk(path: Path) -> Finding:
    folder = path.parent if path.parent.is_dir() else Path("/")
    usage = shutil.disk_usage(folder)
    free = usage.free / usage.total
    text = f"{usage.free / 1e9:.1f} GB free ({free:.0%})"
    if free < LOW_DISK:
        return Finding(State.FAULT, "disk", f"{text}: below {LOW_DISK:.0%}, make room")
    return Finding(State.WELL, "disk", text)


def _ports(settings: Settings, *, watched: bool) -> Iterator[Finding]:
    for plan in port_plans(settings.file):
        about = f"probe {plan.probe}"
        if watched:
            yield Finding(State.REMARK, about, f"{plan.url} is read by the running watch; see `now`")
        else:
            yield _port(plan, about)


def _port(plan: PortPlan, about: str) -> Finding:
    inbox = Inbox(1000)
    port = SerialPort(plan, inbox, MachineClock().now_ms)
    port.start()
    opened = _await(lambda: port.status().open, PORT_WAIT_S)
    why = port.status().why
    heard = _heard(inbox) if opened else False
    port.stop()
    if not opened:
        return Finding(State.FAULT, about, why or f"{plan.url} could not be opened")
    said = "and it speaks" if heard else f"but nothing came within {PORT_WAIT_S:g} s (baud {plan.baud}?)"
    return Finding(State.WELL if heard else State.REMARK, about, f"{plan.url} opens, {said}")


def _heard(inbox: Inbox) -> bool:
    try:
        inbox.get(timeout=PORT_WAIT_S)
    except queue.Empty:
        return False
    return True


def _await(condition: Callable[[], bool], longest_s: float) -> bool:
    deadline_s = time.monotonic() + longest_s
    while not condition():
        if time.monotonic() >= deadline_s:
            return False
        time.sleep(0.05)
    return True


def _broker_and_channels(settings: Settings, *, send_test: bool) -> Iterator[Finding]:
    plan = broker_plan(settings.file)
    link: BrokerLink | None = None
    if plan is not None:
        # A name of its own and no topics: looking must not take the watch's session or its queue.
        looker = replace(
            plan,
            client_id=f"{plan.client_id}-check-{os.getpid()}",
            session_expiry_s=1,
            topics={},
            acknowledge_topic=None,
            status_topic=None,
        )
        link = BrokerLink(looker, Inbox(), MachineClock().now_ms)
        link.start()
        connected = _await(lambda: link.status().connected, BROKER_WAIT_S)
        where = f"{plan.host}:{plan.port}"
        yield Finding(
            State.WELL if connected else State.FAULT,
            "broker",
            f"{where} takes us in" if connected else link.status().why or f"no answer from {where}",
        )
    try:
        yield from _channels(settings, link, send_test=send_test)
    finally:
        if link is not None:
            link.stop()


def _channels(settings: Settings, link: BrokerLink | None, *, send_test: bool) -> Iterator[Finding]:
    plans = channel_plans(settings.file)
    if not plans:
        yield Finding(State.REMARK, "channels", "none: what happens is recorded, but nobody is told")
    for plan in plans:
        yield _channel(plan, link, send_test=send_test)


def _channel(plan: ChannelPlan, link: BrokerLink | None, *, send_test: bool) -> Finding:
    publish = link.publish if link is not None else None
    about = f"channel {plan.name}"
    if send_test:
        problem = probe_channel(plan, publish, MachineClock().now_ms())
        return Finding(State.FAULT if problem else State.WELL, about, problem or "the test message was taken")
    problem = channel_problem(plan, publish)
    return Finding(
        State.FAULT if problem else State.WELL, about, problem or "looks right (--send-test tries it)"
    )


def _series(url: str) -> Finding:
    try:
        with urllib.request.urlopen(url.rstrip("/") + "/health", timeout=5) as answer:  # noqa: S310  http(s) only, by the settings
            return Finding(State.WELL, "series", f"{url} answers ({answer.status})")
    except urllib.error.HTTPError as error:
        return Finding(State.WELL, "series", f"{url} answers ({error.code})")
    except OSError as error:
        return Finding(State.FAULT, "series", f"{url} does not answer: {error}; readings wait in the journal")
