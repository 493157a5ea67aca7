"""Weekend files: ours can be played, and a wrong one is refused with the place and what is taken."""

from __future__ import annotations

import io
from dataclasses import replace
from itertools import pairwise

import pytest

from chamberwatch.model import EventState, Kind, Priority, Reading
from chamberwatch.wire.senml import decode
from simulator.chamber import Plug, Unplug, tell
from simulator.drive import settings
from simulator.errands import Errands
from simulator.faults import Trouble
from simulator.pace import pace_of
from simulator.probes import Line
from simulator.replay_file import write
from simulator.shift import from_time, moved
from simulator.table import day_and_time, moment_ms
from simulator.weekend import WEEKENDS, WeekendError, find, read

START = """
title = "t"
chamber = "larder"
seed = 1
start = 2026-11-06T16:00:00Z
end = 2026-11-06T18:00:00Z
"""
PROBE = '[[probe]]\nname = "rear"\n'
GOOD = START + PROBE
NAMES = sorted(path.stem for path in WEEKENDS.glob("*.toml"))
HOUR_MS = 3_600_000


def _read(tmp_path, text):
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return read(path)


def test_our_weekends_are_there():
    """The default, the quiet and the short weekend exist."""
    assert {"weekend", "quiet", "hour"} <= set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_our_weekends_can_be_read(name):
    """Every file of ours is whole: probes, and for each fault of the cast something that must be told."""
    weekend = read(find(name))
    assert weekend.probes
    assert all(act.must for act in weekend.acts)


def test_the_default_weekend_has_its_cast():
    """Friday to Monday, a compressor, a humidifier, a door and a plug, and three pieces, one entered late."""
    weekend = read(find("weekend"))
    assert day_and_time(weekend.start_ms) == "Fri 16:00"
    assert day_and_time(weekend.end_ms) == "Mon 08:00"
    cast = {act.fault.what for act in weekend.acts}
    assert cast >= {
        Trouble.COMPRESSOR_DEAD,
        Trouble.HUMIDIFIER_EMPTY,
        Trouble.DOOR_AJAR,
        Trouble.UNPLUGGED,
    }
    late = [p.name for p in weekend.pieces if p.told_ms > p.hung_ms >= weekend.start_ms]
    assert len(weekend.pieces) == 3
    assert late == ["Neck 4"]


def test_one_seed_gives_the_same_bytes():
    """The same weekend and seed are byte for byte the same; another seed is another weekend."""
    weekend = read(find("hour"))
    one, again, other = (list(tell(weekend, seed)) for seed in (3, 3, 4))
    assert one == again
    assert one != other


def test_words_are_in_order_and_every_good_line_decodes():
    """Lines come in order of time, ten seconds apart for each probe, and each is the reading it says it is."""
    lines = list(tell(read(find("hour"))))
    assert [w.at_ms for w in lines] == sorted(w.at_ms for w in lines)
    for probe in ("rear", "front"):
        own = [w for w in lines if w.probe == probe]
        assert len(own) == 450
        assert {b.at_ms - a.at_ms for a, b in pairwise(own)} == {10_000}
        for word in own:
            (reading,) = decode(word.data, probe, word.at_ms)
            assert isinstance(reading, Reading)
            assert reading.at_ms == word.at_ms


def test_a_plug_is_pulled_once_and_put_back_once(tmp_path):
    """Between unplug and plug the probe is silent and the other goes on; each edge is told once."""
    fault = '[[fault]]\nwhat="unplugged"\nprobe="rear"\nfrom="Fri 16:30"\nto="Fri 17:00"\n'
    words = list(tell(_read(tmp_path, GOOD + '[[probe]]\nname = "front"\n' + fault)))
    edges = [w for w in words if not isinstance(w, Line)]
    start_ms = words[0].at_ms
    assert edges == [Unplug(start_ms + HOUR_MS // 2, "rear"), Plug(start_ms + HOUR_MS, "rear")]
    silent = [w for w in words if start_ms + HOUR_MS // 2 <= w.at_ms < start_ms + HOUR_MS]
    assert {w.probe for w in silent if isinstance(w, Line)} == {"front"}


def test_a_replay_file_holds_every_line(tmp_path):
    """The file decodes to one reading a line and probe and time; noise stays in it, one line each."""
    fault = '[[fault]]\nwhat="half lines"\nprobe="rear"\nfrom="Fri 16:30"\nto="Fri 17:00"\nhow_far=0.5\n'
    words = list(tell(_read(tmp_path, GOOD + fault)))
    out = io.BytesIO()
    assert write(words, out) == 720
    lines = out.getvalue().split(b"\n")
    assert lines.pop() == b""
    assert len(lines) == 720
    readings = [r for line in lines for r in decode(line, None, 0) if isinstance(r, Reading)]
    assert len(readings) >= sum(w.good for w in words)
    assert {r.probe for r in readings} == {"rear"}


def test_moved_to_now_everything_happens_that_much_later():
    """A weekend moved in time tells the same values at times that much later, door and plug included."""
    weekend = read(find("hour"))
    by_ms = 7 * 24 * HOUR_MS
    then, now = list(tell(weekend)), list(tell(moved(weekend, by_ms)))
    assert [w.at_ms + by_ms for w in then] == [w.at_ms for w in now]
    values = [decode(w.data, w.probe, 0)[0][2:4] for w in then]
    assert values == [decode(w.data, w.probe, 0)[0][2:4] for w in now]


def test_begun_in_its_middle_a_pulled_plug_is_told_first():
    """From a later time only what comes then is told, and first that a probe is unplugged already."""
    line = Line(50, "rear", b"\n", good=True)
    words = [Line(5, "front", b"\n", good=True), Unplug(10, "front"), Unplug(20, "rear"), Plug(30, "rear"), line]
    assert list(from_time(words, 40)) == [Unplug(40, "front"), line]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("title = ", "not TOML"),
        (PROBE, "start is missing"),
        (START, "there is no probe"),
        (GOOD + PROBE, "two probes have one name"),
        (START.replace("2026-11-06T18", "2026-11-06T15") + PROBE, "end is not after start"),
        (START.replace("16:00:00Z", "16:00:00") + PROBE, "start = .* needs an offset"),
        (START.replace("seed = 1", 'seed = "x"') + PROBE, "seed = 'x' should be a whole number"),
        (START.replace("seed = 1", "seed = true") + PROBE, "seed = True should be a whole number"),
        (START + "every = 7\n" + PROBE, "every = 7 should be 5 to 60 s"),
        (START + 'plant = "cave"\n' + PROBE, "plant 'cave' is not one of fridge"),
        (START + "colour = 1\n" + PROBE, "colour is not a key that is known here"),
        (GOOD + "shine = 1.0\n", "probe rear: 'shine' is not one of temp_lag_s"),
        (GOOD + 'temp_lag_s = "slow"\n', "probe 1: temp_lag_s = 'slow' should be a number"),
        (GOOD + '[[fault]]\nwhat = "mice"\nfrom = "Fri 16:10"\nto = "Fri 16:20"\n', "'mice' is not one of compressor"),
        (GOOD + '[[fault]]\nwhat = "door ajar"\nfrom = "Fri 16.10"\nto = "Fri 16:20"\n', 'fault 1: from = .* like "Sat'),
        (GOOD + '[[fault]]\nwhat = "door ajar"\nfrom = "Sat 16:10"\nto = "Sat 16:20"\n', "not within the weekend"),
        (GOOD + '[[fault]]\nwhat = "door ajar"\nto = "Fri 16:20"\n', "fault 1: from is missing"),
        (
            GOOD + '[[fault]]\nwhat = "frozen"\nprobe = "top"\nfrom = "Fri 16:10"\nto = "Fri 16:20"\n',
            "there is no probe 'top'",
        ),
        (GOOD + '[[never]]\nkind = "fire"\n', "kind 'fire' is not one of temperature-high"),
        (GOOD + '[[weigh]]\npiece = "Loin 1"\nweight = "1kg"\nat = "Fri 16:10"\n', "there is no piece 'Loin 1'"),
        (GOOD + '[[visit]]\nat = "Fri 16:10"\nminutes = 2\nwhy = "x"\nwho = "y"\n', "visit 1: who is not a key"),
    ],
)
def test_a_wrong_file_is_refused_with_place_and_remedy(tmp_path, text, says):
    """Each mistake is told with the file, where it stands and what would be taken."""
    with pytest.raises(WeekendError, match=says) as caught:
        _read(tmp_path, text)
    assert str(caught.value).startswith("mine.toml: ")


def test_an_unknown_weekend_names_those_that_are_known():
    """A weekend that is neither ours nor a file is refused with the list of ours."""
    with pytest.raises(WeekendError, match=r"no weekend 'moon'; known: hour, quiet, weekend"):
        find("moon")


def test_moments_are_the_first_of_the_weekend():
    """A weekday and time mean the first such moment at or after the start, never one before it."""
    start_ms = moment_ms("Fri 16:00", 0)
    assert day_and_time(start_ms) == "Fri 16:00"
    assert moment_ms("Fri 16:00", start_ms) == start_ms
    assert moment_ms("Fri 15:59", start_ms) == start_ms + 7 * 24 * HOUR_MS - 60_000
    assert moment_ms("Sat 23:40", start_ms) == start_ms + 31 * HOUR_MS + 40 * 60_000
    for wrong in ("sat 23:40", "Sat 24:00", "23:40", 1.5, True):
        with pytest.raises(ValueError, match="should be like"):
            moment_ms(wrong, start_ms)


def test_expectations_carry_kind_window_and_priority(tmp_path):
    """What must be told is read with its defaults: active, from the fault's start to the weekend's end."""
    fault = '[[fault]]\nwhat="door ajar"\nfrom="Fri 16:30"\nto="Fri 17:00"\n'
    must = '[[fault.must]]\nkind="humidity-low"\n[[fault.must]]\nkind="temperature-high"\nstate="noted"\npriority="high"\n'
    (act,) = _read(tmp_path, GOOD + fault + must).acts
    first, second = act.must
    assert (first.kind, first.state, first.priority) == (Kind.HUMIDITY_LOW, EventState.ACTIVE, None)
    assert (day_and_time(first.from_ms), day_and_time(first.to_ms)) == ("Fri 16:30", "Fri 18:00")
    assert (second.state, second.priority) == (EventState.NOTED, Priority.HIGH)


def test_errands_come_once_in_the_order_of_telling():
    """The owner's commands are due at their telling, each once, the late piece with the time of its hanging."""
    weekend = read(find("weekend"))
    errands = Errands(weekend)
    assert list(errands.due(weekend.start_ms)) == []
    first = list(errands.due(weekend.start_ms + HOUR_MS))
    assert [e.command[:2] for e in first] == [("hang", "Bresaola 2"), ("hang", "Loin 1")]
    rest = list(errands.due(weekend.end_ms))
    assert [(*e.command[:2], e.command[-2:]) for e in rest] == [
        ("hang", "Neck 4", ("--at", "2024-11-08T18:30:00Z")),
        ("weigh", "Loin 1", ("--at", "2024-11-10T10:10:00Z")),
    ]
    assert rest[0].words == "Neck 4 hangs since 2024-11-08 Fri 18:30"
    assert rest[1].words == "Loin 1 weighed 1478g on Sun 10:10"
    assert list(errands.due(weekend.end_ms)) == []


def test_the_settings_made_are_toml_with_a_port_a_probe(tmp_path):
    """The monitor's settings name the chamber, the rehearsal clock and each probe's symlink."""
    import tomllib

    weekend = replace(read(find("hour")), chamber="cupboard")
    made = tomllib.loads(settings(weekend, tmp_path))
    assert made["rehearsal"] == {"clock": "readings"}
    assert [c["name"] for c in made["chamber"]] == ["cupboard"]
    assert [p["serial"]["port"] for p in made["probe"]] == [f"{tmp_path}/port-rear", f"{tmp_path}/port-front"]


@pytest.mark.parametrize("text", ["0", "-1", "nan", "1e9", "fast", ""])
def test_a_pace_that_is_none_is_refused(text):
    """A pace is "max" or a sensible number; anything else is told so."""
    with pytest.raises(ValueError, match="a pace"):
        pace_of(text)


def test_a_pace_decides_how_much_goes_out_at_once():
    """At full speed half a minute goes out at once; at the wall clock's pace a fifth of a second."""
    assert (pace_of("max").slice_ms, pace_of("1").slice_ms, pace_of("3600").slice_ms) == (30_000, 200, 30_000)
