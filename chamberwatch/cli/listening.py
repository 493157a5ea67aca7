"""`check --listen`: what a probe sends, how it is read or why not, and which settings would read it."""

from __future__ import annotations

import signal
import textwrap
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, tzinfo

from chamberwatch.cli.layout import WIDTH, paragraph, wrapped
from chamberwatch.daemon.listen import Source, hear, source_of
from chamberwatch.daemon.plans import speeches
from chamberwatch.errors import Unavailable
from chamberwatch.ingest.packet import Packet
from chamberwatch.model import MS_PER_H, MS_PER_MIN, MS_PER_S, Reading, Refusal
from chamberwatch.settings import Settings
from chamberwatch.settings.formats import table_lines
from chamberwatch.wire.speech import Speech
from chamberwatch.wire.suggest import Heard, Suggestion, contents, oddities, suggest
from chamberwatch.words.units import show_temp

SHOWN_LINES = 40
"""A probe that says more is read on, but only counted: nobody reads a flood."""
KEPT_LINES = 20
"""So many of the newest are tried when a format is looked for."""
SHOWN_CHARS = 280
_STAMP = 8
_INDENT = " " * (_STAMP + 2)
_FUTURE_MS = 5 * MS_PER_MIN


@dataclass
class _Tally:
    """What came of all lines."""

    read: int = 0
    refused: int = 0
    readings: list[Reading] = field(default_factory=list)
    heard: list[Heard] = field(default_factory=list)
    told: set[str] = field(default_factory=set)

    def news(self, why: str) -> str:
        """Return a refusal's reason in full the first time, then short: repeated, it hides the rest."""
        known = why in self.told
        self.told.add(why)
        return "as before" if known else why

    def take(self, packet: Packet, items: list[Reading | Refusal]) -> None:
        """Count one line; of the newest, keep what a search for the format needs."""
        readings = [item for item in items if isinstance(item, Reading)]
        self.read += bool(readings)
        self.refused += not readings
        self.readings = [*self.readings, *readings][-KEPT_LINES:]
        if packet.problem is None:
            self.heard = [*self.heard, Heard(packet.payload, packet.arrived_ms)][-KEPT_LINES:]


def listen(settings: Settings, probe: str, for_s: float) -> Iterator[str]:
    """Yield the lines of text to show, as the probe speaks; Ctrl-C ends the listening, not the summary.

    Raises:
        UsageError: there is no such probe.
        Unavailable: it cannot be heard, said nothing, or nothing it said can be read (after all was shown).
    """
    source = source_of(settings, probe)
    speech = speeches(settings.file).get(probe, Speech())
    yield wrapped(f"{probe}, {source.said}, as {speech.format}: listening for {for_s:g} s (Ctrl-C ends it)")
    tally = _Tally()
    with _interrupted() as ending:
        for packet in hear(settings, probe, for_s, ending):
            items = _items(packet, speech, probe)
            tally.take(packet, items)
            yield from _shown(packet, items, tally, settings)
    if not tally.read + tally.refused:
        raise Unavailable(f"probe {probe}: nothing came within {for_s:g} s: {source.nothing}")
    yield from _summary(tally, speech)
    if not tally.read:
        yield from _advice(tally, probe, source, settings)
        raise Unavailable(f"probe {probe}: none of what it said could be read as {speech.format}")


@contextmanager
def _interrupted() -> Iterator[threading.Event]:
    """Give an event that Ctrl-C sets: as an exception it could come anywhere, and lose the summary."""
    ending = threading.Event()
    before = signal.signal(signal.SIGINT, lambda *_: ending.set())
    try:
        yield ending
    finally:
        signal.signal(signal.SIGINT, before)


def _items(packet: Packet, speech: Speech, probe: str) -> list[Reading | Refusal]:
    if packet.problem is None:
        return speech.decode(packet.payload, probe, packet.arrived_ms)
    account = packet.payload.decode("utf-8", "replace")
    hint = ": another baud, or no line ends?" if packet.source.startswith("serial:") else ""
    return [Refusal(probe, packet.problem, account + hint, packet.arrived_ms)]


# -- one line ------------------------------------------------------------------------------------------------


def _shown(
    packet: Packet, items: list[Reading | Refusal], tally: _Tally, settings: Settings
) -> Iterator[str]:
    count = tally.read + tally.refused
    if count > SHOWN_LINES:
        if count == SHOWN_LINES + 1:
            yield f"{_INDENT}(more comes; from here on it is only counted)"
        return
    stamp = _clock(packet.arrived_ms, settings.zone)
    said = printable(packet.payload) if packet.problem is None else "(not shown)"
    raw = textwrap.wrap(said, WIDTH - len(_INDENT), drop_whitespace=False, break_on_hyphens=False)
    for i, part in enumerate(raw):
        yield f"{stamp if i == 0 else '':{_STAMP}}  {part}".rstrip()
    if packet.retained:
        yield paragraph(f"{_INDENT}kept:", "by the broker from before; without a time it is passed over")
    for item in items:
        if isinstance(item, Reading):
            yield paragraph(f"{_INDENT}read:", _air(item, settings))
        else:
            yield paragraph(f"{_INDENT}refused:", tally.news(f"{item.reason}: {item.detail}"))


def printable(payload: bytes) -> str:
    """Return what was sent on one line: nothing that a terminal would act on, and not too much of it."""
    text = payload.decode("utf-8", "backslashreplace")
    safe = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text[:SHOWN_CHARS])
    if len(text) > SHOWN_CHARS:
        return f"{safe[:SHOWN_CHARS]}… ({len(payload)} bytes)"
    return safe


def _air(reading: Reading, settings: Settings) -> str:
    parts = []
    if reading.temp_c is not None:
        parts.append(show_temp(reading.temp_c, settings.file.units))
    if reading.rh_pct is not None:
        parts.append(f"{reading.rh_pct:.1f} %RH")
    if not reading.timed:
        return ", ".join([*parts, "no time of its own"])
    ahead_ms = reading.at_ms - reading.arrived_ms
    far = abs(ahead_ms) >= 12 * MS_PER_H
    text = ", ".join([*parts, f"measured {_clock(reading.at_ms, settings.zone, dated=far)}"])
    if ahead_ms > _FUTURE_MS:
        text += " (more than 5 min ahead of this machine's clock: the watch refuses that)"
    return text


def _clock(at_ms: int, zone: tzinfo, *, dated: bool = False) -> str:
    at = datetime.fromtimestamp(at_ms / MS_PER_S, zone)
    return f"{at:%Y-%m-%d %H:%M:%S}" if dated else f"{at:%H:%M:%S}"


# -- all of them ---------------------------------------------------------------------------------------------


def _summary(tally: _Tally, speech: Speech) -> Iterator[str]:
    count = tally.read + tally.refused
    yield ""
    yield f"{count:,} {'line' if count == 1 else 'lines'}: {tally.read:,} read, {tally.refused:,} refused"
    for text in oddities(speech, tally.readings):
        yield paragraph("look:", text)


def _advice(tally: _Tally, probe: str, source: Source, settings: Settings) -> Iterator[str]:
    found = suggest(tally.heard, probe)
    if found is not None:
        yield from _suggested(found, tally, probe, source)
        yield from _last(found.speech, tally.heard, probe, settings)
        return
    held = contents(tally.heard[-1].payload) if tally.heard else None
    if held is None:
        yield wrapped(f"No format I know reads it. If it looks like noise: {source.nothing}")
        return
    form, entries = held
    yield wrapped(f'It looks like format = "{form}", but no name in it says which value is which:')
    yield from (f"    {_place(place)} is {value}" for place, value in entries)
    yield wrapped("Write the one that is the temperature as temperature = …, and humidity = … likewise.")


def _place(place: str | int) -> str:
    return '"' + printable(str(place).encode("utf-8", "replace")) + '"'


def _suggested(found: Suggestion, tally: _Tally, probe: str, source: Source) -> Iterator[str]:
    tried, table = len(tally.heard), f"probe.{source.kind}"
    what = "it" if tried == 1 else f"all {tried}" if found.read == tried else f"{found.read} of {tried}"
    yield wrapped(
        f"This would read {what}. In the settings, in the block of probe {probe}, take out its line "
        f"{source.kind} = … (or its table [{table}]), and put this at the end of that block:"
    )
    yield ""
    yield f"    [{table}]"
    yield from (f"    {text}" for text in table_lines(source.table, found.speech))
    yield ""
    yield from (paragraph("look:", doubt) for doubt in found.doubts)


def _last(speech: Speech, heard: list[Heard], probe: str, settings: Settings) -> Iterator[str]:
    """Say what the newest line that it reads would then be."""
    items = (item for one in reversed(heard) for item in speech.decode(one.payload, probe, one.arrived_ms))
    reading = next((item for item in items if isinstance(item, Reading)), None)
    if reading is not None:
        yield paragraph("The last line would then be:", _air(reading, settings))
        yield "Compare that with a plain thermometer beside the probe before you trust it."
