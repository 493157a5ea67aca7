"""The short way of reading a pack is the general way, or it stands aside."""

import json

from hypothesis import given, settings
from hypothesis import strategies as st

from chamberwatch.model import Reading
from chamberwatch.wire import senml, usual
from chamberwatch.wire.measured import Unreadable
from chamberwatch.wire.pack import parse, resolve

NOW_MS = 1_793_404_800_000
ODD = st.one_of(
    st.none(), st.booleans(), st.text(max_size=5), st.integers(-(10**6), 10**12), st.floats(allow_nan=True)
)
NAMES = st.sampled_from(["rear/", "rear", "a/b/", "/", "", "re ar/", "x" * 64 + "/", "x" * 65 + "/", "-a/", "é/"])
PACKS = st.tuples(
    st.fixed_dictionaries(
        {
            "bn": st.one_of(NAMES, ODD),
            "bt": st.one_of(st.floats(2.0e8, 8e9), st.integers(2**28 - 2, 7_258_118_402), ODD),
            "n": st.sampled_from(["temperature", "humidity", "x"]),
            "u": st.sampled_from(["Cel", "K", "%RH"]),
            "v": st.one_of(st.floats(-60, 120), st.integers(-50, 100), ODD),
        },
        optional={"t": ODD, "extra": ODD},
    ),
    st.fixed_dictionaries(
        {
            "n": st.sampled_from(["humidity", "temperature"]),
            "u": st.sampled_from(["%RH", "Cel", "%"]),
            "v": st.one_of(st.floats(-5, 110), st.integers(-5, 110), ODD),
        },
        optional={"t": ODD},
    ),
)


def generally(payload, probe):
    """What the general way gives."""
    try:
        return senml._read(resolve(parse(payload)), probe, NOW_MS)
    except Unreadable:
        return None


@settings(max_examples=600, deadline=None)
@given(PACKS, st.sampled_from([None, "rear", "other"]))
def test_the_short_way_gives_what_the_general_way_gives(pack, probe):
    """Whatever it takes, it takes alike; whatever is odd it leaves alone."""
    payload = json.dumps(pack).encode()
    short = usual.read(json.loads(payload), probe, NOW_MS)
    if short is not None:
        assert generally(payload, probe) == [short]


@settings(max_examples=300, deadline=None)
@given(st.integers(2**28, 7_258_118_398), st.floats(-40, 85), st.floats(0, 100))
def test_what_a_probe_usually_sends_takes_the_short_way(bt, temp_c, rh_pct):
    """The default pack is read by it."""
    pack = [
        {"bn": "rear/", "bt": bt, "n": "temperature", "u": "Cel", "v": temp_c},
        {"n": "humidity", "u": "%RH", "v": rh_pct},
    ]
    reading = usual.read(pack, "rear", NOW_MS)

    assert reading == Reading("rear", bt * 1000, round(temp_c, 2), round(rh_pct, 2), NOW_MS)
