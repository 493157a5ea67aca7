"""`check`: look at every part as the watch would meet it, and say in plain words what to mend."""

from __future__ import annotations

import os
import shutil
import urllib.error
import urllib.request
from collections.abc import Iterator
from http.client import HTTPException
from pathlib import Path

from chamberwatch.daemon.check_ports import check_ports
from chamberwatch.daemon.clock import MachineClock, synced
from chamberwatch.daemon.findings import Finding, State, await_
from chamberwatch.daemon.looking import is_watched, looker
from chamberwatch.daemon.plans import broker_plan, channel_plans, pulse_plan
from chamberwatch.daemon.wording import counted
from chamberwatch.errors import ChamberwatchError, SettingsError
from chamberwatch.heartbeat import PulsePlan, ping
from chamberwatch.ingest.broker import BrokerLink
from chamberwatch.ingest.packet import Inbox
from chamberwatch.journal.integrity import quick_check
from chamberwatch.notify import ChannelPlan, channel_problem, probe_channel
from chamberwatch.settings import Settings

BROKER_WAIT_S = 5.0
LOW_DISK = 0.10


def run_checks(settings: Settings, *, send_test: bool = False) -> Iterator[Finding]:
    """Yield a finding a part, in the order in which a newcomer should mend them."""
    plan = settings.plan
    house = f"{counted(len(plan.chambers), 'chamber')}, {counted(len(plan.probes), 'probe')}"
    yield Finding(State.WELL, "settings", house)
    yield _clock()
    watched = is_watched(settings.journal_path)
    yield _journal(settings.journal_path, watched=watched)
    yield _disk(settings.journal_path)
    yield from check_ports(settings, watched=watched)
    yield from _broker_and_channels(settings, send_test=send_test)
    if settings.file.series is not None:
        yield _series(settings.file.series.url)
    try:
        pulse = pulse_plan(settings.file)
    except SettingsError as error:
        yield Finding(State.FAULT, "heartbeat", str(error))
    else:
        if pulse is not None:
            yield _heartbeat(pulse, send_test=send_test)


def _clock() -> Finding:
    if synced():
        return Finding(State.WELL, "clock", "set by the network")
    return Finding(
        State.REMARK, "clock", "not known to be right: is systemd-timesyncd running? Times told may be off"
    )


def _journal(path: Path, *, watched: bool) -> Finding:
    if not path.parent.is_dir():
        return Finding(State.FAULT, "journal", f"there is no folder {path.parent}; make it")
    if not path.exists():
        if not os.access(path.parent, os.W_OK):
            return Finding(State.FAULT, "journal", f"you may not write in {path.parent}: join its group")
        return Finding(State.REMARK, "journal", f"{path} will be made at the first watch")
    fault = _journal_fault(path)
    if fault:
        return Finding(State.FAULT, "journal", fault)
    size_mb = path.stat().st_size / 1e6
    running = "a watch is running" if watched else "no watch is running"
    return Finding(State.WELL, "journal", f"{path}, {size_mb:.1f} MB, whole; {running}")


def _journal_fault(path: Path) -> str:
    if path.is_file() and not os.access(path, os.W_OK):
        return f"you may not write {path}: join its group, log in again"
    try:
        faults = quick_check(path)
    except ChamberwatchError as error:
        return str(error)
    return f"{path} is damaged: {faults[0]}" if faults else ""


def _disk(path: Path) -> Finding:
    folder = path.parent if path.parent.is_dir() else Path("/")
    usage = shutil.disk_usage(folder)
    free = usage.free / usage.total
    text = f"{usage.free / 1e9:.1f} GB free ({free:.0%})"
    if free < LOW_DISK:
        return Finding(State.FAULT, "disk", f"{text}: below {LOW_DISK:.0%}, make room")
    return Finding(State.WELL, "disk", text)


def _broker_and_channels(settings: Settings, *, send_test: bool) -> Iterator[Finding]:
    link: BrokerLink | None = None
    try:
        plan = broker_plan(settings.file)
        if plan is not None:
            link = looker(plan, Inbox(), {})
    except SettingsError as error:
        yield Finding(State.FAULT, "broker", str(error))
    if link is None:
        yield from _channels(settings, None, send_test=send_test)
        return
    link.start()
    try:
        yield _broker(link, f"{settings.file.broker.host}:{settings.file.broker.port}")
        yield from _channels(settings, link, send_test=send_test)
    finally:
        link.stop()


def _broker(link: BrokerLink, address: str) -> Finding:
    if await_(lambda: link.status().connected, BROKER_WAIT_S):
        return Finding(State.WELL, "broker", f"{address} takes us in")
    why = link.status().why
    return Finding(State.FAULT, "broker", why if why != "connecting" else f"no answer from {address}")


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


def _heartbeat(plan: PulsePlan, *, send_test: bool) -> Finding:
    if not send_test:
        return Finding(State.WELL, "heartbeat", f"every {plan.every_s:g} s (--send-test tries it once)")
    problem = ping(plan.url)
    return Finding(State.FAULT if problem else State.WELL, "heartbeat", problem or "one went through")


def _series(url: str) -> Finding:
    try:
        with urllib.request.urlopen(url.rstrip("/") + "/health", timeout=5) as answer:  # noqa: S310  http(s) only, by the settings
            return Finding(State.WELL, "series", f"{url} answers ({answer.status})")
    except urllib.error.HTTPError as error:
        return Finding(State.WELL, "series", f"{url} answers ({error.code})")
    except (OSError, ValueError, HTTPException) as error:
        return Finding(State.FAULT, "series", f"{url} does not answer: {error}; readings wait in the journal")
