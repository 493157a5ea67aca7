"""What must be true after the hour: every reading kept and copied, every fault told once, to all, against its pieces."""

from __future__ import annotations

import email
import email.policy
import json
import sqlite3
from collections import Counter
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from bench_parts import Watch, until
from series_parts import SeriesServer

from simulator.weekend import Expected, Weekend

SERIES_S = 120.0
Key = tuple[int, str]
Air = tuple[float | None, float | None]


@dataclass
class Account:
    """What was published and told, and what of it is off."""

    folder: Path
    story: Weekend
    published: list[bytes]
    alarms: list[tuple[int, bytes]]
    """What came on the MQTT topic, and when [ms]."""
    envelopes: list[Any]
    """The mails."""
    entered_ms: int
    at_once: tuple[str, ...]
    late: tuple[str, ...]
    faults: list[str] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)
    events: list[dict[str, Any]] = field(default_factory=list)

    def expect(self, what: str, got: object, wanted: object) -> None:
        """Note one comparison."""
        good = got == wanted
        self.lines.append(f"  {'ok ' if good else 'OFF'}  {what}" + ("" if good else f": {got!r}, not {wanted!r}"))
        if not good:
            self.faults.append(what)


def check(account: Account, watch: Watch, series: SeriesServer) -> None:
    """Look at everything while the parts still run, then stop the daemon and look at what it left."""
    air = published_air(account.published)
    account.lines.append(f"  {len(account.published)} messages published by the probes, {len(air)} readings in them")
    account.expect("no reading was published twice", len(account.published), len(air))
    until(lambda: series.air() == air, SERIES_S)
    _compare(account, "on the series server", series.air(), air)
    account.events = [json.loads(line) for line in watch.command("events", "--json").splitlines()]
    account.lines.append(
        f"  the daemon: {watch.resident_mib():.1f} MiB resident, {watch.cpu_s():.1f} s of processor time, "
        f"{watch.written_bytes() / 1e6:.2f} MB written"
    )
    account.expect("the daemon ends with 0", watch.stop(), 0)
    account.expect("it logged nothing amiss", _amiss(watch.log), [])
    _compare(account, "in the journal", journal_air(account.folder / "chamberwatch.db"), air)
    _check_story(account, min(at_ms for at_ms, _ in air))
    _check_telling(account)


def _amiss(log: Path) -> list[str]:
    lines = log.read_text(encoding="utf-8").splitlines()
    return [line for line in lines if " INFO " not in line]


def _compare(account: Account, where: str, got: dict[Key, Air], wanted: dict[Key, Air]) -> None:
    lost, strange = len(wanted.keys() - got.keys()), len(got.keys() - wanted.keys())
    other = sum(got[key] != wanted[key] for key in got.keys() & wanted.keys())
    account.expect(f"every reading is {where}, value by value", (lost, strange, other), (0, 0, 0))


def published_air(payloads: list[bytes]) -> dict[Key, Air]:
    """Return what the probes said, read without the project's decoder."""
    air = {}
    for payload in payloads:
        temp, rh = json.loads(payload)
        air[round(temp["bt"] * 1000), temp["bn"].rstrip("/")] = (temp["v"], rh["v"])
    return air


def journal_air(path: Path) -> dict[Key, Air]:
    """Return what the journal holds, and AssertionError if SQLite calls it damaged."""
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as db:
        assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        rows = db.execute(
            "SELECT at_ms, name, temp_centi / 100.0, rh_centi / 100.0 FROM reading JOIN probe ON id = probe_id"
        )
        return {(at_ms, name): (temp_c, rh_pct) for at_ms, name, temp_c, rh_pct in rows}


# -- the events, against the story ----------------------------------------------------------------------------


def _check_story(account: Account, first_ms: int) -> None:
    """Each expected alarm is there once, raised and over in its time; no other alarm is there at all."""
    by_ms = first_ms - account.story.start_ms
    must = [e for act in account.story.acts for e in act.must]
    may = {str(e.kind) for act in account.story.acts for e in act.may}
    for expected in must:
        found = [e for e in account.events if e["kind"] == expected.kind and e["state"] != "noted"]
        states = [e["state"] for e in found]
        account.expect(f"{expected.kind} is raised once and over once", states, ["active", "returned"])
        account.expect(f"{expected.kind} is told in its time", _in_time(expected, found, by_ms), True)  # noqa: FBT003
    kinds = {e["kind"] for e in account.events}
    account.expect("nothing else is told", kinds - {str(e.kind) for e in must} - may, set())
    pieces = {tuple(sorted(e["pieces"])) for e in account.events if e["chamber"] == "cellar"}
    account.expect("every event bears its pieces", pieces, {tuple(sorted(account.at_once + account.late))})


def _in_time(expected: Expected, found: list[dict[str, Any]], by_ms: int) -> bool:
    at_ms = {e["state"]: datetime.fromisoformat(e["at"]).timestamp() * 1000 - by_ms for e in found}
    over_ms = at_ms.get("returned", 0)
    raised = expected.from_ms <= at_ms.get("active", 0) <= expected.to_ms
    return raised and (expected.over_by_ms is None or at_ms["active"] < over_ms <= expected.over_by_ms)


# -- the messages ---------------------------------------------------------------------------------------------


def _check_telling(account: Account) -> None:
    """Each edge came once by mail and once by MQTT, with the pieces known when it was told."""
    edges = [e for e in account.events if e["state"] in ("active", "returned")]
    told = [json.loads(payload) for _, payload in account.alarms]
    first = Counter(message["id"] for message in told if message["repeat"] == 0)
    account.expect("each edge came by MQTT once", [first[e["id"]] for e in edges], [1] * len(edges))
    calm = [m["headline"] for m in told if m["repeat"] and m["priority"] != "high"]
    account.expect("only what is urgent came again", calm, [])
    mails = Counter(_mail(envelope) for envelope in account.envelopes)
    texts = [(m["headline"], m["text"].partition("\n")[2].strip()) for m in told if m["repeat"] == 0]
    account.expect("each message came by mail once", [mails[text] for text in texts], [1] * len(texts))
    account.expect("as many by mail as by MQTT", len(account.envelopes), len(told))
    for (at_ms, _), message in zip(account.alarms, told, strict=True):
        named = tuple(n for n in account.at_once + account.late if n in message["text"])
        known = account.at_once + (account.late if at_ms > account.entered_ms else ())
        if message["state"] != "noted" and message["chamber"] == "cellar":
            account.expect(f"“{message['headline'][:50]}” names the pieces known by then", named, known)


def _mail(envelope: Any) -> tuple[str, str]:
    mail = email.message_from_bytes(envelope.content, policy=email.policy.default)
    body = mail.get_body(("plain",))
    assert body is not None
    return str(mail["Subject"]), body.get_content().replace("\r\n", "\n").strip()


# -- the report -----------------------------------------------------------------------------------------------


def report(account: Account) -> str:
    """Return what was found and the messages in their order."""
    lines = ["", "What was held against what", *account.lines, "", "The messages in order (by MQTT; by mail the same)"]
    for at_ms, payload in account.alarms:
        message = json.loads(payload)
        at = datetime.fromtimestamp(at_ms / 1000, UTC)
        again = f" (repeat {message['repeat']})" if message["repeat"] else ""
        first, *rest = message["text"].splitlines()
        lines += ["", f"{at:%H:%M:%S} UTC  {message['state']}, {message['priority']}{again}", f"  {first}"]
        lines += [f"    {line}" for line in rest]
    verdict = f"{len(account.faults)} things are off" if account.faults else "all as it should be"
    return "\n".join([*lines, "", f"{verdict}; all is kept in {account.folder}"])
