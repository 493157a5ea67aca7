"""What format a probe speaks, guessed from what it sent, for a person to look at. The watch never guesses.

A suggestion is tried on every line before it is made: it counts as many lines as it really reads. Names
decide where there are any; columns have none, so there the size of the numbers does, and it says so.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import Any, NamedTuple

from chamberwatch.model import MS_PER_MIN, Reading, Refusal
from chamberwatch.wire.measured import ABSENT, Unreadable, is_number, number_in, read_time, show
from chamberwatch.wire.speech import Format, Place, Speech, place_fault, reader_of

CLOCK_OFF_MS = 5 * MS_PER_MIN
"""A probe's clock further off than this is not worth following."""
WARMEST_C = 45.0
"""No air near meat is warmer; a larger number is °F."""
COLDEST_C, DRIEST_PCT = -30.0, 20.0
_COLUMNS = tuple((Format.CSV, separator) for separator in (";", "\t", "|", ",", " "))
_FORMATS = ((Format.JSON, ","), (Format.KEY_VALUE, ","), *_COLUMNS)
_WORD = re.compile(r"[A-Z]?[a-z]+|[A-Z]+")
_TEMPERATURE, _HUMIDITY = ("temp", "celsius", "fahrenheit"), ("hum", "rh", "relhum")
_SHORT = {"t": _TEMPERATURE, "tc": _TEMPERATURE, "tf": _TEMPERATURE, "h": _HUMIDITY}
_OTHER_THINGS = frozenset(
    ("dew", "abs", "absolute", "cpu", "core", "board", "chip", "set", "setpoint", "target", "min", "max")
)
_FAHRENHEIT = frozenset(("f", "tf", "fahrenheit"))
_SENML_LABELS = frozenset(("bn", "n", "v"))
_ENTRIES_SHOWN = 8


class Heard(NamedTuple):
    """A line or message, and when it came [ms UTC]."""

    payload: bytes
    arrived_ms: int


class Suggestion(NamedTuple):
    """A way to read what was heard."""

    speech: Speech
    read: int
    """How many lines it reads whole."""
    doubts: tuple[str, ...]
    """What of it is a guess, for a person to look at."""


class _Spot(NamedTuple):
    """A place that held something in at least one line."""

    place: Place
    words: tuple[str, ...]
    values: list[Any]

    @property
    def numbers(self) -> list[float]:
        """The numbers there; empty when something else stood there, too."""
        found = [number_in(v) if isinstance(v, str) else v for v in self.values]
        plain = [v if is_number(v) else getattr(v, "number", None) for v in found]
        return [] if None in plain else [float(v) for v in plain if v is not None]


def suggest(heard: Sequence[Heard], probe: str) -> Suggestion | None:
    """Return the way that reads most of what was heard, None if none reads any."""
    found = [_tried(Speech(), (), heard, probe)]
    for form, separator in _FORMATS:
        guess = _guess(form, separator, heard)
        if guess is not None:
            found.append(_tried(*guess, heard, probe))
    best = max(found, key=lambda s: (s.read, _quantities(s.speech)))
    return best if best.read else None


def contents(payload: bytes) -> tuple[Format, list[tuple[Place, str]]] | None:
    """Return what a payload holds and where, if it is JSON or pairs: for a person who must choose."""
    for form in (Format.JSON, Format.KEY_VALUE):
        entries = list(islice(_leaves(form, ",", payload), _ENTRIES_SHOWN))
        if entries and (form is not Format.JSON or entries[0][0]):
            return form, [(place, show(value)) for place, value in entries]
    return None


def oddities(speech: Speech, readings: Iterable[Reading]) -> Iterator[str]:
    """Yield what looks as if a unit were wrong in what was read."""
    if speech.format is Format.SENML:
        return
    held = list(readings)
    temps = [r.temp_c for r in held if r.temp_c is not None]
    rhs = [r.rh_pct for r in held if r.rh_pct is not None]
    if temps and speech.temperature_unit == "C" and min(temps) > WARMEST_C:
        yield f'over {WARMEST_C:g} °C is no air near meat: does it send °F? Then temperature_unit = "F"'
    if rhs and speech.humidity_unit == "%RH" and max(rhs) <= 1:
        yield 'at most 1 %RH is no air: does it send a fraction? Then humidity_unit = "fraction"'


def _quantities(speech: Speech) -> int:
    if speech.format is Format.SENML:
        return 3  # what says itself what it is goes before any guess
    return (speech.temperature is not None) + (speech.humidity is not None)


def _tried(speech: Speech, doubts: tuple[str, ...], heard: Sequence[Heard], probe: str) -> Suggestion:
    answers = (speech.decode(one.payload, probe, one.arrived_ms) for one in heard)
    read = sum(bool(items) and not any(isinstance(i, Refusal) for i in items) for items in answers)
    return Suggestion(speech, read, doubts)


def _leaves(form: Format, separator: str, payload: bytes) -> Iterator[tuple[Place, Any]]:
    reader = reader_of(form, separator)
    try:
        held = reader.parse(payload)
    except Unreadable:
        return
    if held is not ABSENT and not _is_senml(held):
        yield from reader.leaves(held)


def _is_senml(held: Any) -> bool:
    first = held[0] if isinstance(held, list) and held else None
    return isinstance(first, dict) and not _SENML_LABELS.isdisjoint(first)


def _guess(form: Format, separator: str, heard: Sequence[Heard]) -> tuple[Speech, tuple[str, ...]] | None:
    spots: dict[Place, _Spot] = {}
    for one in heard:
        for place, value in _leaves(form, separator, one.payload):
            if not place_fault(form, place):
                words = tuple(_WORD.findall(str(place)))
                spots.setdefault(place, _Spot(place, words, [])).values.append(value)
    if form is Format.CSV:
        temperature, humidity, doubts = _by_size(spots.values(), len(heard))
        if temperature is None or humidity is None:
            return None
    else:
        numeric = [s for s in spots.values() if s.numbers]
        temperature, humidity, doubts = _named(numeric, _TEMPERATURE), _named(numeric, _HUMIDITY), []
    if temperature is None and humidity is None:
        return None
    unit_t, unit_h = _units(temperature, humidity, doubts)
    time = _time(spots.values(), heard, doubts)
    t_place, h_place = (None if spot is None else spot.place for spot in (temperature, humidity))
    return Speech(form, t_place, h_place, time, unit_t, unit_h, separator), tuple(doubts)


def _named(spots: Iterable[_Spot], names: tuple[str, ...]) -> _Spot | None:
    def fits(spot: _Spot) -> int:
        words = [word.lower() for word in spot.words]
        if not _OTHER_THINGS.isdisjoint(words):
            return 0
        whole = any(word.startswith(names) for word in words)
        return 2 if whole else int(any(_SHORT.get(word) == names for word in words[-1:]))

    best = max(spots, key=fits, default=None)
    return best if best is not None and fits(best) else None


def _by_size(spots: Iterable[_Spot], lines: int) -> tuple[_Spot | None, _Spot | None, list[str]]:
    """Return the columns whose numbers can be air; a line of another kind, like a heading, is passed over."""
    numeric = []
    for spot in spots:
        inner = [v for v in spot.values if number_in(v) is not None]
        if inner and 2 * len(inner) > min(lines, len(spot.values)):
            # Figures with decimals first: a running number has none.
            whole = 2 * sum("." in value for value in inner) < len(inner)
            numeric.append((whole, spot._replace(values=inner)))
    ordered = [spot for _, spot in sorted(numeric, key=lambda pair: (pair[0], pair[1].place))]
    cold = [s for s in ordered if min(s.numbers) >= COLDEST_C and max(s.numbers) <= WARMEST_C]
    damp = [s for s in ordered if min(s.numbers) >= DRIEST_PCT and max(s.numbers) <= 100]  # noqa: PLR2004  %RH
    temperature = next((s for s in cold if s not in damp or len(damp) > 1), None)
    if temperature is None and len(damp) > 1:
        temperature = damp[0]  # too warm to be °C; `_units` says what that means
    humidity = next((s for s in damp if s is not temperature), None)
    doubt = "which column is which is a guess from the size of the numbers: compare"
    return temperature, humidity, [doubt]


def _units(temperature: _Spot | None, humidity: _Spot | None, doubts: list[str]) -> tuple[str, str]:
    unit_t, unit_h = "C", "%RH"
    if temperature is not None:
        signs = {found.sign for v in temperature.values if isinstance(v, str) and (found := number_in(v))}
        said = "F" in signs or not _FAHRENHEIT.isdisjoint(w.lower() for w in temperature.words)
        if said or ("C" not in signs and min(temperature.numbers) > WARMEST_C):
            unit_t = "F"
            doubts += [] if said else ["°F is a guess from the size of the numbers"]
    if humidity is not None and 0 < max(humidity.numbers) <= 1:
        unit_h = "fraction"
        doubts.append("a fraction is a guess from the size of the numbers")
    return unit_t, unit_h


def _time(spots: Iterable[_Spot], heard: Sequence[Heard], doubts: list[str]) -> Place | None:
    for spot in spots:
        try:
            at_ms = read_time(spot.values[-1])
        except Unreadable:
            continue
        if abs(at_ms - heard[-1].arrived_ms) <= CLOCK_OFF_MS:
            return spot.place
        said = show(spot.values[-1])
        doubts.append(f"its own time ({said}) is over 5 min off this machine's clock: left out")
    return None
