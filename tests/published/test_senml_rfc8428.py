"""The example packs of RFC 8428 §5.1, and its rules for names, times, versions and extensions.

Source: Jennings et al., RFC 8428, read in the working group's own copy (repository core-wg/senml-spec,
rfc8428.txt, dated July 2018: the last stage before publication). Packs are given as printed there.
"""

from __future__ import annotations

import json

import pytest

from chamberwatch.model import Reading, Reason, Refusal
from chamberwatch.wire.measured import Unreadable
from chamberwatch.wire.pack import parse, resolve
from chamberwatch.wire.senml import EARLIEST_MS, RELATIVE_BELOW_S, decode
from chamberwatch.wire.timestamp import format_rfc3339, parse_rfc3339

NOW_MS = parse_rfc3339("2026-11-01T12:00:00Z")

DEVICE = "urn:dev:ow:10e2073a01080063"

MULTIPLE_MEASUREMENTS = """[
 {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
 {"u":"lon","v":24.30621}, {"u":"lat","v":60.07965},
 {"t":60,"v":20.3}, {"u":"lon","t":60,"v":24.30622}, {"u":"lat","t":60,"v":60.07965},
 {"t":120,"v":20.7}, {"u":"lon","t":120,"v":24.30623}, {"u":"lat","t":120,"v":60.07966},
 {"u":"%EL","t":150,"v":98},
 {"t":180,"v":21.2}, {"u":"lon","t":180,"v":24.30628}, {"u":"lat","t":180,"v":60.07967}]"""

RESOLVED = """[
 {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067464e+09,"v":20},
 {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067464e+09,"v":24.30621},
 {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067464e+09,"v":60.07965},
 {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067524e+09,"v":20.3},
 {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067524e+09,"v":24.30622},
 {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067524e+09,"v":60.07965},
 {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067584e+09,"v":20.7},
 {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067584e+09,"v":24.30623},
 {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067584e+09,"v":60.07966},
 {"n":"urn:dev:ow:10e2073a01080063","u":"%EL","t":1.320067614e+09,"v":98},
 {"n":"urn:dev:ow:10e2073a01080063","u":"%RH","t":1.320067644e+09,"v":21.2},
 {"n":"urn:dev:ow:10e2073a01080063","u":"lon","t":1.320067644e+09,"v":24.30628},
 {"n":"urn:dev:ow:10e2073a01080063","u":"lat","t":1.320067644e+09,"v":60.07967}]"""

COLLECTION = b"""[
 {"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},
 {"n":"humidity","u":"%RH","v":30},
 {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
 {"n":"humidity","u":"%RH","v":67}]"""


def resolved(text: str) -> list[tuple[object, object, object, object]]:
    """Name, unit, time and value of each record of a pack."""
    records = resolve(parse(text.encode()) or [])
    return [(r.name, r.unit, r.time_s, r.value) for r in records]


def only_refusal(payload: str) -> Refusal:
    """The one thing a payload gives, which must be a refusal."""
    (item,) = decode(payload.encode(), None, NOW_MS)
    assert isinstance(item, Refusal)
    return item


def test_a_single_data_point_resolves() -> None:
    """§5.1.1: one value, approximately now."""
    text = '[ {"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1} ]'
    assert resolved(text) == [(DEVICE, "Cel", 0, 23.1)]


def test_a_base_name_runs_on_and_a_pack_may_say_now() -> None:
    """§5.1.2: voltage and current "now", one base name for both."""
    text = """[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
               {"n":"current","u":"A","v":1.2}]"""
    assert resolved(text) == [(f"{DEVICE}:voltage", "V", 0, 120.1), (f"{DEVICE}:current", "A", 0, 1.2)]


def test_seconds_before_a_base_time_are_taken_from_it() -> None:
    """§5.1.2: Tue Jun 8 18:01:16.001 UTC 2010 and the five seconds before; a unit overrides the base unit."""
    text = """[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
                "n":"voltage","u":"V","v":120.1},
               {"n":"current","t":-5,"v":1.2}, {"n":"current","t":-4,"v":1.3}, {"n":"current","t":-3,"v":1.4},
               {"n":"current","t":-2,"v":1.5}, {"n":"current","t":-1,"v":1.6}, {"n":"current","v":1.7}]"""
    rows = resolved(text)
    assert [unit for _, unit, _, _ in rows] == ["V"] + 6 * ["A"]
    assert [value for *_, value in rows] == [120.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7]
    times = [format_rfc3339(round(1000 * float(str(time_s)))) for _, _, time_s, _ in rows]
    assert times[0] == times[-1] == "2010-06-08T18:01:16.001Z"
    assert times[1] == "2010-06-08T18:01:11.001Z"


def test_a_stream_counts_from_its_base_time() -> None:
    """§5.1.2: humidity each ten seconds from 2011-10-31T13:24:24Z, one base unit."""
    values = [21.3, 21.4, 21.4, 21.5, 21.5, 21.5, 21.6, 21.7]
    later = "".join(f',{{"t":{10 * (i + 1)},"v":{v}}}' for i, v in enumerate(values))
    first = '{"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":21.2}'
    start_s = parse_rfc3339("2011-10-31T13:24:24Z") // 1000
    wanted = [(DEVICE, "%RH", start_s + 10 * i, v) for i, v in enumerate([21.2, *values])]
    assert resolved(f"[{first}{later}]") == wanted


def test_multiple_measurements_resolve_as_printed() -> None:
    """§5.1.3's pack is §5.1.4's pack, resolved."""
    wanted = [(r["n"], r["u"], r["t"], r["v"]) for r in json.loads(RESOLVED)]
    assert resolved(MULTIPLE_MEASUREMENTS) == wanted
    assert resolved(RESOLVED) == wanted


def test_values_of_other_types_are_kept_as_sent() -> None:
    """§5.1.5: text, truth and data beside a number."""
    text = """[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
               {"n":"label","vs":"Machine Room"}, {"n":"open","vb":false}, {"n":"nfv-reader","vd":"aGkgCg"}]"""
    assert [value for *_, value in resolved(text)] == [23.1, "Machine Room", False, "aGkgCg"]


def test_a_collection_of_two_devices_is_two_readings() -> None:
    """§5.1.6: the second base name comes with the first base time, Mon Oct 31 16:27:09 UTC 2011."""
    at_ms = parse_rfc3339("2011-10-31T16:27:09Z")
    assert decode(COLLECTION, None, NOW_MS) == [
        Reading("2001:db8::2", at_ms, 25.2, 30.0, NOW_MS),
        Reading("2001:db8::1", at_ms, 12.3, 67.0, NOW_MS),
    ]


def test_a_record_of_base_fields_alone_measures_nothing() -> None:
    """§5.1.7: a first record that only sets the base name."""
    text = '[{"bn":"urn:dev:ow:10e2073a01080063:"},{"n":"temp","u":"Cel","v":23.1}]'
    assert resolved(text) == [(f"{DEVICE}:temp", "Cel", 0, 23.1)]


def test_part_of_a_second_after_the_base_time_is_kept() -> None:
    """§5.1.7: 100 ms in the future of the base time."""
    text = """[{"bt":1.320078429e+09,"bu":"/","n":"2001:db8::3","v":0.5}, {"n":"2001:db8::3","t":0.1,"v":0}]"""
    assert [time_s for _, _, time_s, _ in resolved(text)] == [1320078429, pytest.approx(1320078429.1, abs=1e-6)]


@pytest.mark.parametrize("name", ["rear/temperature", "2001:db8::2/temperature", "A-Z:a.z_0/9/temperature"])
def test_names_of_the_allowed_characters_are_taken(name: str) -> None:
    """§4.5.1: letters, digits and - : . / _, a letter or digit first."""
    (item,) = decode(json.dumps([{"n": name, "u": "Cel", "v": 12}]).encode(), None, NOW_MS)
    assert isinstance(item, Reading)


@pytest.mark.parametrize("name", ["-r/temperature", "/temperature", "a b/temperature", "å/temperature", "a\n/temperature"])
def test_names_of_other_characters_are_refused(name: str) -> None:
    """§4.5.1: nothing else, and not first."""
    assert only_refusal(json.dumps([{"n": name, "u": "Cel", "v": 12}])).reason is Reason.BAD_NAME


def test_relative_time_ends_at_two_to_the_28() -> None:
    """§4.5.3: the smallest absolute time is 1978-07-04 21:24:16 UTC; a second less is relative to now."""
    text = '[{"n":"a/temperature","u":"Cel","v":12,"t":%d}]'
    (absolute,) = decode((text % RELATIVE_BELOW_S).encode(), None, NOW_MS)
    (relative,) = decode((text % (RELATIVE_BELOW_S - 1)).encode(), None, NOW_MS)
    assert absolute == Reading("a", EARLIEST_MS, 12.0, None, NOW_MS)
    assert format_rfc3339(EARLIEST_MS) == "1978-07-04T21:24:16Z"
    assert relative == Reading("a", NOW_MS + EARLIEST_MS - 1000, 12.0, None, NOW_MS)


@pytest.mark.parametrize(("base_s", "time_s", "at"), [
    (0, -5, "2026-11-01T11:59:55Z"),
    (-60, 1.5, "2026-11-01T11:59:01.500Z"),
    (1_320_000_000, 67_464, "2011-10-31T13:24:24Z"),
])  # fmt: skip
def test_the_sum_of_both_times_decides(base_s: float, time_s: float, at: str) -> None:
    """§4.5.3: base time and time are added, then read as relative or absolute."""
    pack = [{"bt": base_s, "n": "a/temperature", "u": "Cel", "v": 12, "t": time_s}]
    (item,) = decode(json.dumps(pack).encode(), None, NOW_MS)
    assert item == Reading("a", parse_rfc3339(at), 12.0, None, NOW_MS)


def test_time_zero_means_now() -> None:
    """§4.5.3: zero says that the sensor does not know the time."""
    (item,) = decode(b'[{"n":"a/temperature","u":"Cel","v":12,"t":0}]', None, NOW_MS)
    assert item == Reading("a", NOW_MS, 12.0, None, NOW_MS, timed=False)


def test_a_base_value_is_added() -> None:
    """§4.5.4: base value and value are added."""
    (item,) = decode(b'[{"bv":12,"n":"a/temperature","u":"Cel","v":0.34}]', None, NOW_MS)
    assert item == Reading("a", NOW_MS, 12.34, None, NOW_MS, timed=False)


@pytest.mark.parametrize(("version", "taken"), [(1, True), (5, True), (10, True), (11, False), (0, False), (1.5, False), ("10", False)])
def test_a_later_version_is_not_used(version: object, taken: bool) -> None:
    """§4.4: version 10 is understood; a larger one must not be used; it is a positive integer (§4.1)."""
    payload = json.dumps([{"bver": version, "n": "a/temperature", "u": "Cel", "v": 12}]).encode()
    (item,) = decode(payload, None, NOW_MS)
    assert isinstance(item, Reading) is taken
    assert taken or (isinstance(item, Refusal) and item.reason is Reason.VERSION)


def test_unknown_fields_are_ignored_unless_they_end_in_an_underscore() -> None:
    """§4.4: an unknown field is ignored; one whose label ends in "_" is an error."""
    (item,) = decode(b'[{"n":"a/temperature","u":"Cel","v":12,"colour":"red"}]', None, NOW_MS)
    assert isinstance(item, Reading)
    with pytest.raises(Unreadable) as caught:
        resolve([{"n": "a/temperature", "u": "Cel", "v": 12, "colour_": "red"}])
    assert caught.value.reason is Reason.MUST_UNDERSTAND
