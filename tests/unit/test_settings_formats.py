"""How a probe writes, in the settings: what may stand there, every fault of it at once, and lines that can be pasted."""

from __future__ import annotations

import os
import re
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chamberwatch.daemon.plans import speeches
from chamberwatch.errors import SettingsError
from chamberwatch.model import Reading
from chamberwatch.settings import load
from chamberwatch.settings.formats import SpeechTable, settings_lines, speech_of
from chamberwatch.wire.speech import Format, Speech

SAMPLE = Path(__file__).parents[2] / "config" / "other-formats.toml"
HOUSE = '[journal]\npath = "x.db"\n[[chamber]]\nname = "cellar"\n[[probe]]\nname = "rear"\nchamber = "cellar"\n'
NOW_MS = 1_793_404_860_000


@pytest.fixture(autouse=True)
def bare_environment(monkeypatch):
    """No variable of a real installation reaches a test."""
    for name in [n for n in os.environ if n.startswith("CHAMBERWATCH_")]:
        monkeypatch.delenv(name)


def loaded(folder, keys, way="mqtt", place='topic = "a"'):
    """Load a house whose only probe has these keys."""
    path = folder / "house.toml"
    path.write_text(f"{HOUSE}[probe.{way}]\n{place}\n{keys}\n", encoding="utf-8")
    return load(path)


def faults(folder, keys):
    """Return the faults of a topic with these keys."""
    with pytest.raises(SettingsError) as refused:
        loaded(folder, keys)
    return [text.removeprefix("  - ") for text in str(refused.value).splitlines()[1:]]


def test_without_a_format_a_probe_speaks_senml(tmp_path):
    """As it always did; said or not said."""
    assert speeches(loaded(tmp_path, "").file) == {}
    assert speeches(loaded(tmp_path, 'format = "senml"').file) == {}


@pytest.mark.parametrize(("way", "place"), [("mqtt", 'topic = "a"'), ("serial", 'port = "/dev/ttyS9"')])
def test_a_port_and_a_topic_take_the_same_keys(tmp_path, way, place):
    """Whatever the probe hangs on."""
    settings = loaded(tmp_path, 'format = "csv"\ntemperature = 2\nhumidity = 3\ntime = 1\nseparator = "\\t"\ntemperature_unit = "F"', way, place)
    assert speeches(settings.file) == {"rear": Speech(Format.CSV, 2, 3, 1, "F", separator="\t")}


def test_the_example_reads_the_lines_it_shows():
    """Each block of the example file reads the line that stands above it."""
    spoken = speeches(load(SAMPLE).file)
    shown = re.findall(r"^# (\{.*\}|bat=.*|\d{4}-.*;.*)$", SAMPLE.read_text(encoding="utf-8"), re.MULTILINE)
    assert list(spoken) == ["rear", "front", "door"]
    readings = [spoken[probe].decode(text.encode(), probe, NOW_MS) for probe, text in zip(spoken, shown, strict=True)]
    assert readings == [
        [Reading("rear", 1_793_471_400_000, 12.4, 75.1, NOW_MS)],
        [Reading("front", NOW_MS, 12.39, 75.1, NOW_MS, timed=False)],
        [Reading("door", 1_793_471_400_000, 12.4, 75.1, NOW_MS)],
    ]


@pytest.mark.parametrize(("keys", "told"), [
    ('format = "xml"', ["probe 1 (rear).mqtt.format: 'xml' will not do; one of: senml, json, key-value, csv"]),
    ('format = "json"',
     ["probe 1 (rear).mqtt: format 'json' needs temperature or humidity or both: a JSON pointer like /temperature or /air/t each"]),
    ('format = "json"\ntemperature = "t"\nhumidity = 3\ntime = "/~at"',
     ['probe 1 (rear).mqtt.temperature: \'t\' will not do: "t" must begin with /, like /temperature or /air/t',
      "probe 1 (rear).mqtt.humidity: 3 will not do: format json takes a JSON pointer like /temperature or /air/t",
      "probe 1 (rear).mqtt.time: '/~at' will not do: \"/~at\": a ~ in a name is written ~0, a / in a name ~1"]),
    ('format = "csv"\ntemperature = "t"\nhumidity = 0',
     ["probe 1 (rear).mqtt.temperature: 't' will not do: format csv takes a column's number, 1 to 1000",
      "probe 1 (rear).mqtt.humidity: 0 will not do: format csv takes a column's number, 1 to 1000"]),
    ('format = "csv"\ntemperature = 1\nhumidity = 1', ["probe 1 (rear).mqtt: temperature and humidity cannot both stand at 1"]),
    ('format = "csv"\ntemperature = 1\nseparator = "::"',
     [r"""probe 1 (rear).mqtt.separator: '::' will not do; allowed: one of "," ";" "|" " " (blanks) "\t" (a tab)"""]),
    ('format = "key-value"\ntemperature = "a b"',
     ["probe 1 (rear).mqtt.temperature: 'a b' will not do: format key-value takes a key's name like t, without blanks , ; & and ="]),
    ('format = "key-value"\ntemperature = "t"\nseparator = ";"',
     ["probe 1 (rear).mqtt.separator: means nothing with format 'key-value'; only csv has columns to part"]),
    ('format = "key-value"\ntemperature = "t"\nhumidity_unit = "fraction"',
     ["probe 1 (rear).mqtt.humidity_unit: means nothing without humidity"]),
    ('format = "key-value"\ntemperature = "t"\nhumidity = "h"\ntemperature_unit = "K"\nhumidity_unit = "%"',
     ["probe 1 (rear).mqtt.temperature_unit: 'K' will not do; one of: C, F",
      "probe 1 (rear).mqtt.humidity_unit: '%' will not do; one of: %RH, fraction"]),
    ('temperature = "/t"',
     [("probe 1 (rear).mqtt.temperature: means nothing with format 'senml', which names its own values and units; "
       "for json, key-value or csv say so: format = …")]),
    ('format = "csv"\ntemperature = 1.5',
     [('probe 1 (rear).mqtt.temperature: 1.5 will not do: with format "json" a JSON pointer like /temperature or /air/t; '
       'with format "key-value" a key\'s name like t, without blanks , ; & and =; '
       'with format "csv" a column\'s number, 1 to 1000')]),
])  # fmt: skip
def test_a_fault_says_where_what_and_what_is_allowed(tmp_path, keys, told):
    """Every fault in one run, each once."""
    assert faults(tmp_path, keys) == told


NAMES = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)
POINTERS = st.lists(NAMES, min_size=1, max_size=3).map(lambda parts: "".join("/" + p.replace("~", "~0").replace("/", "~1") for p in parts))
KEYS = st.from_regex(r"[^\s,;&=]{1,9}", fullmatch=True).filter(lambda s: s.encode("utf-8", "ignore").decode() == s)


@st.composite
def spoken(draw):
    """Ways to speak, of every format but SenML."""
    form = draw(st.sampled_from(list(Format)[1:]))
    places = {Format.JSON: POINTERS, Format.KEY_VALUE: KEYS, Format.CSV: st.integers(1, 1000)}[form]
    temperature, humidity, time = draw(st.lists(places, min_size=3, max_size=3, unique=True))
    separator = draw(st.sampled_from(",;|\t ")) if form is Format.CSV else ","
    units = draw(st.sampled_from(["C", "F"])), draw(st.sampled_from(["%RH", "fraction"]))
    return Speech(form, temperature, humidity, draw(st.sampled_from([None, time])), *units, separator)


@given(spoken())
def test_suggested_lines_mean_what_they_were_made_from(speech):
    """Whatever strange names a probe uses, the lines are TOML and give the same speech back."""
    assert speech_of(SpeechTable(**tomllib.loads("\n".join(settings_lines(speech))))) == speech
