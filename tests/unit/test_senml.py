"""What the decoder makes of good, half good and bad payloads, and what it tells of each."""

from __future__ import annotations

import json
from typing import Any

import pytest

from chamberwatch.model import Reading, Reason, Refusal
from chamberwatch.wire.senml import LATEST_MS, decode, encode

NOW_MS = 1_793_404_860_000
AT_MS = 1_793_404_800_000
LINE = b'[{"bn":"rear/","bt":1793404800,"n":"temperature","u":"Cel","v":12.4},{"n":"humidity","u":"%RH","v":75.1}]'


def temperature(value: Any = 12.4, **fields: Any) -> dict[str, Any]:
    """A temperature record; a field given as ... is left out."""
    record = {"bn": "rear/", "n": "temperature", "u": "Cel", "v": value} | fields
    return {label: item for label, item in record.items() if item is not ...}


def humidity(value: Any = 75.1, **fields: Any) -> dict[str, Any]:
    """A humidity record; a field given as ... is left out."""
    return temperature(value, **({"n": "humidity", "u": "%RH"} | fields))


def read(*records: Any, probe: str | None = "rear") -> list[Reading | Refusal]:
    """Decode records as one pack that has arrived now."""
    return decode(json.dumps(records).encode(), probe, NOW_MS)


def reading(temp_c: float | None, rh_pct: float | None, at_ms: int | None = None, probe: str = "rear") -> Reading:
    """A reading that arrived now, taken at `at_ms` or untimed."""
    return Reading(probe, NOW_MS if at_ms is None else at_ms, temp_c, rh_pct, NOW_MS, at_ms is not None)


def refused(*records: Any, probe: str | None = "rear") -> tuple[Reason, str]:
    """Reason and detail of the only thing a pack gives."""
    (item,) = read(*records, probe=probe)
    assert isinstance(item, Refusal)
    assert (item.probe, item.arrived_ms) == (probe, NOW_MS)
    return item.reason, item.detail


def test_the_default_line() -> None:
    """Base name, base time, temperature and humidity: one timed reading; and it is written the same."""
    wanted = [reading(12.4, 75.1, AT_MS)]
    assert decode(LINE, "rear", NOW_MS) == wanted
    assert decode(LINE, None, NOW_MS) == wanted
    assert encode(wanted) == LINE


def test_a_line_without_time_or_name_is_its_sources_now() -> None:
    """No base name: the probe of the topic or port. No time: its arrival, and the reading says so."""
    assert read(temperature(bn=...), humidity(bn=...)) == [reading(12.4, 75.1)]


@pytest.mark.parametrize(("base", "name"), [
    ("rear/", "temperature"), ("rear", "temperature"), ("rear:", "temperature"), ("", "rear/temperature"),
    (..., "rear/temperature"), ("rear/temperature", ...), ("rear/temper", "ature"),
])  # fmt: skip
def test_ways_to_name_the_probe(base: Any, name: Any) -> None:
    """The probe is what stands before the last slash of the whole name; a base name may lack its slash."""
    assert read(temperature(bn=base, n=name), probe=None) == [reading(12.4, None)]


def test_a_probe_name_may_hold_slashes() -> None:
    """Only the last part is the quantity."""
    assert read(temperature(bn="house/cellar/rear/"), probe=None) == [reading(12.4, None, probe="house/cellar/rear")]


def test_several_probes_and_times_come_in_the_packs_order() -> None:
    """One reading for each probe and time, temperature and humidity joined wherever they stand."""
    pack = [
        temperature(bn="a/", bt=AT_MS // 1000, t=10),
        temperature(11, bn=..., t=0),
        humidity(bn=..., t=10),
        humidity(71, bn="b/", t=0),
    ]
    assert read(*pack, probe=None) == [
        reading(12.4, 75.1, AT_MS + 10_000, "a"),
        reading(11.0, None, AT_MS, "a"),
        reading(None, 71.0, AT_MS, "b"),
    ]


def test_a_quantity_given_twice_for_one_time_is_not_lost() -> None:
    """Two temperatures of one time are two readings; the humidity joins the later one."""
    assert read(temperature(12), temperature(13), humidity()) == [reading(12.0, None), reading(13.0, 75.1)]


def test_untimed_and_timed_values_of_one_moment_stay_apart() -> None:
    """A time that was told and a time that was guessed are not one time."""
    assert read(temperature(bt=NOW_MS // 1000), humidity(bt=0)) == [reading(12.4, None, NOW_MS), reading(None, 75.1)]


def test_values_are_rounded_to_what_the_journal_keeps() -> None:
    """0.01 is the resolution, after the base value is added and kelvins are turned into degrees."""
    assert read(temperature(285.55, u="K"), humidity(75.126)) == [reading(12.4, 75.13)]
    assert read(temperature(0.104, bv=12.3)) == [reading(12.4, None)]
    assert str(read(temperature(-0.001))[0].temp_c) == "0.0"  # type: ignore[union-attr]


def test_a_base_unit_serves_records_without_their_own() -> None:
    """`bu` is the unit until a record names another."""
    assert read(temperature(bu="Cel", u=...), humidity()) == [reading(12.4, 75.1)]


def test_a_good_value_stands_beside_a_bad_one() -> None:
    """Nothing good is lost: the temperature becomes a reading, the humidity a refusal."""
    detail = "999 %RH; a probe measures 0 to 100 %RH"
    assert read(temperature(), humidity(999)) == [
        reading(12.4, None),
        Refusal("rear", Reason.OUT_OF_RANGE, detail, NOW_MS),
    ]


def test_other_quantities_are_ignored() -> None:
    """A battery's voltage beside the air is nobody's fault, whatever its value and unit."""
    assert read(temperature(), {"n": "battery", "u": "V", "v": 3.1}, {"n": "door", "vb": True}, humidity()) == [
        reading(12.4, 75.1)
    ]


def test_a_pack_of_nothing_of_ours_is_told() -> None:
    """Neither temperature nor humidity: one refusal that says what was there instead."""
    assert refused({"n": "battery", "v": 3}, {"n": "Temperature", "u": "Cel", "v": 12}) == (
        Reason.NO_QUANTITY,
        'it names "battery", "Temperature"',
    )
    assert refused({"bn": "rear/"}) == (Reason.NO_QUANTITY, "it names nothing")


@pytest.mark.parametrize("value", [12.4, -40, 85])
def test_temperatures_a_probe_can_measure_are_taken(value: float) -> None:
    """-40 to 85 °C, both ends included."""
    assert read(temperature(value)) == [reading(float(value), None)]


@pytest.mark.parametrize(("record", "reason", "detail"), [
    (temperature(-127), Reason.OUT_OF_RANGE, "-127 Cel; a probe measures -40 to 85 °C"),
    (temperature(85.01), Reason.OUT_OF_RANGE, "85.01 Cel; a probe measures -40 to 85 °C"),
    (temperature(12, u="K"), Reason.OUT_OF_RANGE, "12 K; a probe measures -40 to 85 °C"),
    (temperature(1e300, bv=1e300), Reason.NOT_A_NUMBER, "temperature is 2e+300"),
    (humidity(-0.01), Reason.OUT_OF_RANGE, "-0.01 %RH; a probe measures 0 to 100 %RH"),
    (temperature(u=...), Reason.WRONG_UNIT, 'no unit; temperature is taken in "Cel" or "K"'),
    (temperature(u=None), Reason.WRONG_UNIT, 'no unit; temperature is taken in "Cel" or "K"'),
    (temperature(u="%RH"), Reason.WRONG_UNIT, 'unit "%RH"; temperature is taken in "Cel" or "K"'),
    (temperature(u="C"), Reason.WRONG_UNIT,
     'unit "C", which means coulomb in SenML; temperature is taken in "Cel" or "K"'),
    (temperature(u="F"), Reason.WRONG_UNIT,
     'unit "F", which means farad in SenML; temperature is taken in "Cel" or "K"'),
    (temperature(u=["Cel"]), Reason.WRONG_UNIT, 'unit an array; temperature is taken in "Cel" or "K"'),
    (humidity(0.751, u="%"), Reason.WRONG_UNIT,
     'unit "%", which means a ratio from 0 to 1 in SenML; humidity is taken in "%RH"'),
    (humidity(0.751, u="/"), Reason.WRONG_UNIT,
     'unit "/", which means a ratio from 0 to 1 in SenML; humidity is taken in "%RH"'),
    (humidity(None), Reason.NO_VALUE, 'humidity has no value "v", or it is null'),
    (humidity(...), Reason.NO_VALUE, 'humidity has no value "v", or it is null'),
    (humidity(..., s=3), Reason.NO_VALUE, 'humidity has no value "v", or it is null'),
    (humidity(..., vs="dry"), Reason.NOT_A_NUMBER, 'humidity is "dry"'),
    (humidity(..., vb=False), Reason.NOT_A_NUMBER, "humidity is false"),
    (humidity(v=True), Reason.NOT_A_NUMBER, "humidity is true"),
    (humidity("75.1"), Reason.NOT_A_NUMBER, 'humidity is "75.1"'),
    (humidity({}), Reason.NOT_A_NUMBER, "humidity is an object"),
    (humidity(float("nan")), Reason.NOT_A_NUMBER, "humidity is NaN"),
    (humidity(float("-inf")), Reason.NOT_A_NUMBER, "humidity is -Infinity"),
    (humidity(10**400), Reason.NOT_A_NUMBER, "humidity is 1" + 39 * "0"),
    (temperature(bn="front/"), Reason.WRONG_PROBE, 'it names "front", but came where "rear" speaks'),
    (temperature(n=7), Reason.BAD_NAME, "a name is a string, not 7"),
    (temperature(bn=..., n=...), Reason.BAD_NAME,
     'the record has no name; write "n":"temperature" or "n":"humidity"'),
    (temperature(bn="re ar/"), Reason.BAD_NAME,
     '"re ar/temperature"; a name has A-Z a-z 0-9 - : . / _ and begins with a letter or digit'),
    (temperature(bn="\ud800/"), Reason.BAD_NAME,
     '"\\ud800/temperature"; a name has A-Z a-z 0-9 - : . / _ and begins with a letter or digit'),
    (temperature(bn="r" * 65 + "/"), Reason.BAD_NAME,
     f'probe name of 65 characters; at most 64 are taken: "{"r" * 40}..."'),
    (temperature(bn="r" * 128), Reason.BAD_NAME,
     f'name of 139 characters; at most 128 are taken: "{"r" * 40}..."'),
    (temperature(t="now"), Reason.BAD_TIME, '"t" must be a number of seconds'),
    (temperature(t=None), Reason.BAD_TIME, '"t" must be a number of seconds'),
    (temperature(t=float("nan")), Reason.BAD_TIME, '"t" must be a number of seconds'),
    (temperature(t=LATEST_MS // 1000), Reason.BAD_TIME, "7258118400 s; a time lies within 1978-07-04 and 2200"),
    (temperature(bt=AT_MS), Reason.BAD_TIME, "1.7934048e+12 s; a time lies within 1978-07-04 and 2200"),
    (temperature(t=-1.6e9), Reason.BAD_TIME, "-1600000000 s; a time lies within 1978-07-04 and 2200"),
    (temperature(bn=7), Reason.BAD_NAME, '"bn" must be a string, not 7'),
    (temperature(bt="now"), Reason.BAD_TIME, '"bt" must be a number of seconds, not "now"'),
    (temperature(bt=True), Reason.BAD_TIME, '"bt" must be a number of seconds, not true'),
    (temperature(bu=7), Reason.WRONG_UNIT, '"bu" must be a string, not 7'),
    (temperature(bv="1"), Reason.NOT_A_NUMBER, '"bv" must be a number, not "1"'),
    (temperature(bver=11), Reason.VERSION, '"bver" is 11; understood are 1 to 10'),
    (temperature(seal_=1), Reason.MUST_UNDERSTAND, 'field "seal_"'),
    ("temperature", Reason.NOT_A_PACK, 'a record is an object {...}; this one is "temperature"'),
    ([[]], Reason.NOT_A_PACK, "a record is an object {...}; this one is an array"),
    ({}, Reason.BAD_NAME, 'the record has no name; write "n":"temperature" or "n":"humidity"'),
])  # fmt: skip
def test_a_bad_record_is_told(record: Any, reason: Reason, detail: str) -> None:
    """Each fault has its own reason, and the detail says what came and what is taken."""
    assert refused(record) == (reason, detail)


@pytest.mark.parametrize(("payload", "reason", "detail"), [
    (b"\xff\xfe[]", Reason.NOT_TEXT, "byte 0xff at position 1 of 4"),
    (b'[{"v":\xf8}]', Reason.NOT_TEXT, "byte 0xf8 at position 7 of 9"),
    (b'[{"bn":"rear/","n":"tempe', Reason.NOT_JSON,
     'it ends too early, after 25 characters: [{"bn":"rear/","n":"tempe'),
    (b"[", Reason.NOT_JSON, "it ends too early, after 1 characters: ["),
    (b"T=12.4 RH=75.1", Reason.NOT_JSON, "wrong at character 1 of 14: T=12.4 RH=75.1"),
    (LINE + LINE, Reason.NOT_JSON,
     'wrong at character 106 of 210: [{"bn":"rear/","bt":1793404800,"n":"temp...'),
    (b"[" * 60_000, Reason.NOT_JSON, f"brackets too deep in {'[' * 40}..."),
    (b"[" + b"9" * 5_000 + b"]", Reason.NOT_JSON, f"a number too long in [{'9' * 39}..."),
    (b"\x00", Reason.NOT_JSON, "wrong at character 1 of 1: \\u0000"),
    (b"{}", Reason.NOT_A_PACK, "a pack is an array [...] of records; this is an object"),
    (b"12.4", Reason.NOT_A_PACK, "a pack is an array [...] of records; this is 12.4"),
    (b"null", Reason.NOT_A_PACK, "a pack is an array [...] of records; this is null"),
    (b"[]", Reason.NOT_A_PACK, "the array is empty"),
    (b"[" + b" " * 65_535 + b"]", Reason.TOO_LONG, "65537 bytes; at most 65536 are taken"),
])  # fmt: skip
def test_a_payload_that_is_no_pack_is_told(payload: bytes, reason: Reason, detail: str) -> None:
    """Noise, half lines and other JSON are refused once, with the place where reading ended."""
    assert decode(payload, "rear", NOW_MS) == [Refusal("rear", reason, detail, NOW_MS)]


def test_a_fault_of_the_pack_refuses_all_of_it_once() -> None:
    """What stands around a broken base, or under a rule not understood, is not trusted."""
    for fault in (humidity(bt="now"), humidity(bver=11), humidity(seal_=1), 7):
        (item,) = read(temperature(), fault, humidity())
        assert isinstance(item, Refusal)


def test_without_a_source_a_record_must_name_its_probe() -> None:
    """In a replay file nobody else knows whose value it is."""
    reason, detail = refused(temperature(bn=...), probe=None)
    assert (reason, detail) == (Reason.NO_PROBE, 'a base name must say whose it is, like "bn":"rear/"')


def test_without_a_source_a_refusal_carries_the_named_probe() -> None:
    """So that a replay counts it for the right probe."""
    (item,) = read(temperature(999), probe=None)
    assert isinstance(item, Refusal)
    assert item.probe == "rear"


@pytest.mark.parametrize("payload", [b"", b" ", b"\r\n", b"\t \n", b"\xef\xbb\xbf"])
def test_a_blank_payload_says_nothing(payload: bytes) -> None:
    """An empty line, or the empty message that deletes a retained one, is neither reading nor refusal."""
    assert decode(payload, "rear", NOW_MS) == []


def test_a_byte_order_mark_is_ignored() -> None:
    """A replay file saved by a text editor may begin with one."""
    assert decode(b"\xef\xbb\xbf" + LINE, "rear", NOW_MS) == [reading(12.4, 75.1, AT_MS)]


def test_of_a_key_given_twice_the_last_counts() -> None:
    """As Python's JSON reads it; said in the file's head."""
    assert decode(b'[{"n":"temperature","u":"Cel","v":12,"v":13}]', "rear", NOW_MS) == [reading(13.0, None)]


def test_one_line_carries_several_readings() -> None:
    """Base fields are written when they change, and only then."""
    readings = [reading(12.4, 75.1, AT_MS), reading(12.5, None, AT_MS + 10_050), reading(None, 70.0, AT_MS + 10_050, "front")]
    assert encode(readings) == (
        b'[{"bn":"rear/","bt":1793404800,"n":"temperature","u":"Cel","v":12.4},{"n":"humidity","u":"%RH","v":75.1},'
        b'{"bt":1793404810.05,"n":"temperature","u":"Cel","v":12.5},{"bn":"front/","n":"humidity","u":"%RH","v":70.0}]'
    )


def test_an_untimed_reading_is_written_without_its_time() -> None:
    """Its base time returns to zero after a timed one, and is left out when nothing was timed."""
    assert encode([reading(12.4, None)]) == b'[{"bn":"rear/","n":"temperature","u":"Cel","v":12.4}]'
    assert b'"bt":0,' in encode([reading(12.4, None, AT_MS), reading(12.4, None)])


@pytest.mark.parametrize(("readings", "why"), [
    ([], "no readings to write"),
    ([reading(None, None)], "neither temperature nor humidity"),
    ([reading(float("nan"), None)], "JSON compliant"),
    ([reading(12.0, None, 1_000)], "time 1000 ms"),
    ([reading(12.0, None, LATEST_MS)], "time 7258118400000 ms"),
    ([reading(12.0, None, probe="")], 'probe ""'),
    ([reading(12.0, None, probe="a b")], 'probe "a b"'),
    ([reading(12.0, None, probe="r" * 65)], "1 to 64 characters"),
])  # fmt: skip
def test_what_senml_cannot_carry_is_not_written(readings: list[Reading], why: str) -> None:
    """The writer refuses what the reader would refuse, and says what is wrong."""
    with pytest.raises(ValueError, match=why):
        encode(readings)
