"""Looking: now, events, pieces, rules, check, backup; their words, their JSON, their help, their refusals."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys

import pytest
from cli_parts import HOUSE, House

from chamberwatch import __version__
from chamberwatch.cli import main
from chamberwatch.cli.layout import columns
from chamberwatch.cli.main import parser
from chamberwatch.daemon import check_ports, checks, listen
from chamberwatch.journal.lock import hold
from chamberwatch.model import Kind
from chamberwatch.psychrometrics import dew_point_c
from chamberwatch.wire.timestamp import parse_rfc3339

COMMANDS = sorted(next(a for a in parser()._actions if a.dest == "command").choices)


@pytest.fixture
def house(tmp_path, capsys):
    """A house of a cellar and a salting fridge."""
    return House(tmp_path, capsys)


# -- now ----------------------------------------------------------------------------------------------------


def test_now_as_json_has_the_keys_others_read(house):
    """`readings` is the number of that probe's rows; a probe never heard has no time."""
    house.hang("Bresaola 2", hours_ago=8 * 24 + 1)
    house.warm_day()
    now = house.run("now", "--json").json
    assert list(now) == ["at", "chambers", "probes", "alarms", "pieces"]
    assert parse_rfc3339(now["at"]) == pytest.approx(house.now_ms, abs=60_000)
    cellar, fridge = now["chambers"]
    assert (cellar["chamber"], cellar["temperature"], cellar["humidity"]) == ("cellar", 17.0, 75.0)
    assert cellar["dew_point"] == round(dew_point_c(17.0, 75.0), 2)
    assert fridge["temperature"] == 3.0
    rear, shelf = now["probes"]
    assert (rear["probe"], rear["readings"], rear["refused"], rear["repeated"]) == ("rear", 1080, 0, 0)
    assert (shelf["probe"], shelf["readings"]) == ("shelf", 180)
    assert rear["last_at"].endswith("Z")
    (alarm,) = now["alarms"]
    assert (alarm["chamber"], alarm["kind"], alarm["state"]) == ("cellar", "temperature-high", "unacknowledged")
    (piece,) = now["pieces"]
    assert (piece["piece"], piece["chamber"], piece["day"]) == ("Bresaola 2", "cellar", 9)


def test_now_before_anything_is_whole_as_well(house):
    """No reading, no piece: nulls and empty lists, no error."""
    house.hang(hours_ago=1)
    house.run("take-down", "Neck 4")
    now = house.run("now", "--json").json
    assert [(c["temperature"], c["humidity"], c["dew_point"]) for c in now["chambers"]] == [(None, None, None)] * 2
    assert [(p["last_at"], p["readings"]) for p in now["probes"]] == [(None, 0)] * 2
    assert (now["alarms"], now["pieces"]) == ([], [])
    words = house.run("now").words
    assert "cellar: no reading yet" in words
    assert "never heard" in words
    assert words.endswith("no open alarm nothing hangs")


def test_now_in_words(house):
    """The air against the plan, probes, alarms with who is on it, what hangs."""
    house.hang("Bresaola 2")
    house.warm_day()
    lines = house.run("now").out.splitlines()
    assert lines[0].startswith("cellar, ")
    assert lines[1] == "   17.0 °C  planned 10 to 15: 2.0 above"
    assert lines[2] == "      75 %  planned 70 to 80"
    assert lines[3].endswith("dew point")
    said = " ".join(" ".join(lines).split())
    assert re.search(r"! cellar is too warm since \S+( \S+)*, 17.0 °C at worst: nobody is on it \[temperature-high, medium\]", said)
    assert "Bresaola 2 neck cellar, day 2 2150 g green not weighed yet" in said


def test_old_air_is_marked_as_old(house):
    """Nobody takes last night's reading for now's."""
    house.replay([(120 - i / 6, "rear", 12.5, 75.0) for i in range(60)])
    assert "(old!)" in house.run("now").out.splitlines()[0]


def test_humidity_just_over_its_limit_does_not_read_as_the_limit(house):
    """80.4 % beside a limit of 80 %."""
    house.replay([(30 - i / 6, "rear", 12.5, 80.4) for i in range(180)])
    assert "80.4 %  planned 70 to 80: 0.4 above" in house.run("now").words.replace("80.4 % planned", "80.4 %  planned")


def test_now_in_the_other_units(tmp_path, capsys):
    """17 °C is 62.6 °F, 2 °C above is 3.6 °F above (°F = 1.8 °C + 32, exact)."""
    house = House(tmp_path, capsys, 'units = "us"\n' + HOUSE)
    house.hang()
    house.run("weigh", "Neck 4", "4lb", "--at", house.ago(1))
    house.warm_day()
    for by in ("config", "journal"):
        said = house.run("now", by=by)
        assert "62.6 °F planned 50 to 59: 3.6 above" in said.words
        assert "62.6 °F at worst" in said.words
        assert "4 lb 11.8 oz green 4 lb 0 oz, 15.6 % of 35 % lost" in said.words
        assert "°C" not in said.out


def test_a_rehearsal_says_so_on_every_screen(tmp_path, capsys):
    """Nobody takes it for the real cellar."""
    house = House(tmp_path, capsys, HOUSE + '[rehearsal]\nclock = "readings"\n')
    house.warm_day()
    for command in ("now", "events", "pieces"):
        assert house.run(command).out.startswith("REHEARSAL: ")


# -- events -------------------------------------------------------------------------------------------------


def test_events_are_json_lines_oldest_first(house):
    """One object a line."""
    house.warm_day()
    house.replay([(20 - i / 6, "rear", 12.0, 90.0) for i in range(120)])
    events = house.run("events", "--json").lines
    assert [e["kind"] for e in events if e["state"] == "active"] == ["temperature-high"]
    assert [e["at"] for e in events] == sorted(e["at"] for e in events)


def test_events_in_words_have_their_day_and_state(house):
    """`Wed 25 Nov 08:22  alarm`, then what was told, set in."""
    house.warm_day()
    text = house.run("events").out
    assert re.match(r"(Mon|Tue|Wed|Thu|Fri|Sat|Sun) [ 1-3]\d [A-Z][a-z]{2} \d\d:\d\d  alarm cellar is too warm", text)
    assert "      As far as I know nothing hangs there.\n" in text
    heads = house.run("events", "--headlines").out
    assert "Check first" not in heads


def test_an_event_of_another_year_says_which(house):
    """A journal is kept for years."""
    lines = [
        f'[{{"bn":"rear/","bt":{1_500_000_000 + 10 * i},"n":"temperature","u":"Cel","v":19}}]' for i in range(200)
    ]
    path = house.folder / "old.jsonl"
    path.write_text("\n".join(lines))
    house.run("replay", path)
    assert "Fri 14 Jul 2017 02:" in house.run("events").out  # 1500000000 is 2017-07-14T02:40:00Z (from memory)


def test_events_can_be_narrowed(house):
    """By kind, chamber, piece and time; a chamber or piece nobody knows is told."""
    house.hang("Bresaola 2")
    house.warm_day()
    assert len(house.run("events", "--json", "--kind", "temperature-high").lines) == 1
    assert house.run("events", "--json", "--kind", "probe-silent").lines == []
    assert len(house.run("events", "--json", "--piece", "bresaola 2").lines) == 1
    assert house.run("events", "--json", "--since", "10min ago").lines == []
    assert house.run("events", "--json", "--until", "2h ago").lines == []
    assert house.run("events", "--chamber", "salting-fridge").out == "nothing has happened\n"
    assert house.refused("events", "--chamber", "attic") == "there is no chamber 'attic'; the chambers are: cellar, salting-fridge"
    assert house.refused("events", "--piece", "Bresola 2") == "there is no piece 'Bresola 2'; did you mean 'Bresaola 2'?"
    assert house.refused("events", "--since", "lately", code=64).startswith("--since: 'lately' is not a time I understand")
    assert "invalid choice: 'hot'" in house.refused("events", "--kind", "hot", code=64)


# -- pieces -------------------------------------------------------------------------------------------------


def test_pieces_show_where_how_long_and_how_far(house):
    """Those that hang, those that are down, those that are gone."""
    house.hang("Bresaola 2", hours_ago=9 * 24 + 1)
    house.run("weigh", "Bresaola 2", "1830g")
    house.hang("Loin 1", hours_ago=48)
    house.run("take-down", "Loin 1", "--at", house.ago(2))
    house.hang("Neck 4")
    house.run("discard", "Neck 4", "--why", "slime")
    words = house.run("pieces").words
    assert "Bresaola 2 neck cellar, day 10 2150 g green 1830 g, 14.9 % of 35 % lost" in words
    assert "Loin 1 neck down since " in words
    assert "Neck 4 neck discarded" in words
    gone = next(p for p in house.run("pieces", "--json").json if p["piece"] == "Neck 4")
    assert (gone["discarded_why"], gone["chamber"], gone["day"]) == ("slime", None, None)


def test_no_piece_is_said(house):
    """Instead of an empty screen."""
    house.warm_day()
    assert house.run("pieces").out == "no piece is recorded yet\n"
    assert house.run("pieces", "--json").json == []


def test_long_names_are_wrapped_not_run_off_the_screen(house):
    """64 characters are allowed; the terminal has 80 columns, and `run` measures every line."""
    long = "Coppa of the big one from the farm behind the hill, second half"
    house.hang(long)
    house.run("weigh", long, "1830g")
    house.warm_day()
    for command in ("now", "pieces", "events"):
        assert "second half" in house.run(command).words


def test_columns_line_up_as_long_as_they_fit():
    """Aligned on the left; too wide for the terminal, each row is wrapped on its own."""
    assert columns([["a", "bb", "c"], ["aaa", "b", "c"]]) == ["a    bb  c", "aaa  b   c"]
    assert columns([["a" * 50, "b" * 20, "c c c c"], ["a", "b", "c"]]) == [f"{'a' * 50}  {'b' * 20}  c c c\n    c", "a  b  c"]
    assert columns([]) == []


# -- check --------------------------------------------------------------------------------------------------

BARE = HOUSE.replace('mqtt = { topic = "fridge/shelf" }', 'serial = { port = "/dev/ttyS8" }')


@pytest.fixture
def quick_check(monkeypatch):
    """Ports that are not there need no waiting for."""
    monkeypatch.setattr(check_ports, "OPEN_WAIT_S", 0.2)
    monkeypatch.setattr(checks, "BROKER_WAIT_S", 0.3)
    monkeypatch.setattr(checks, "LOW_DISK", 0.0)  # how full this machine is, is not what is tested


def test_check_tells_each_part_and_ends_with_69(tmp_path, capsys, quick_check):
    """What is well, what to look at, what to mend; nothing is left behind in the folder."""
    house = House(tmp_path, capsys, BARE)
    said = house.run("check", code=69)
    lines = said.out.splitlines()
    assert lines[0] == "ok    settings: 2 chambers, 2 probes"
    assert "house.db will be made at the first watch" in said.words
    assert "MEND probe rear: no such port: /dev/ttyS9" in said.words
    assert "look channels: none: what happens is recorded, but nobody is told" in said.words
    assert lines[-1] == "2 to mend"
    assert said.err == ""
    assert [p.name for p in tmp_path.iterdir()] == ["house.toml"]


def test_check_counts_one_as_one(tmp_path, capsys, quick_check):
    """One chamber, one probe."""
    one = BARE[: BARE.index('[[chamber]]\nname = "salting')] + '[[probe]]\nname = "rear"\nchamber = "cellar"\nserial = { port = "/dev/ttyS9" }\n'
    assert House(tmp_path, capsys, one).run("check", code=69).out.startswith("ok    settings: 1 chamber, 1 probe\n")


def test_check_leaves_the_ports_of_a_running_watch_alone(tmp_path, capsys, quick_check):
    """It says that they are read, and by whom the journal is held."""
    house = House(tmp_path, capsys, BARE)
    house.warm_day()
    with hold(house.journal):
        said = house.run("check")
    assert "look probe rear: /dev/ttyS9 is read by the running watch; see `now`" in said.words
    assert "whole; a watch is running" in said.words
    assert said.out.splitlines()[-1] == "all well"


def test_check_tells_of_a_broker_that_is_not_there(tmp_path, capsys, quick_check):
    """With its address; topics that need it are named, too."""
    topic = '[[notify.channel]]\nname = "house"\ntopic = "chamberwatch/alarm"\n'
    house = House(tmp_path, capsys, HOUSE + '[broker]\nhost = "127.0.0.1"\nport = 1\n' + topic)
    said = house.run("check", code=69)
    assert re.search(r"MEND broker: [^:]*127\.0\.0\.1:1\b", said.words)


def test_check_tells_of_a_damaged_journal(tmp_path, capsys, quick_check):
    """A file that is no database, a folder, a path to nowhere."""
    house = House(tmp_path, capsys, BARE)
    house.journal.write_bytes(b"not a database, no " * 100)
    assert "MEND journal: " in (said := house.run("check", code=69)).words
    assert "is damaged" in said.words
    nowhere = House(tmp_path, capsys, BARE.replace("house.db", "nowhere/house.db"))
    assert "MEND journal: there is no folder" in nowhere.run("check", code=69).words
    (tmp_path / "dir.db").mkdir()
    folder = House(tmp_path, capsys, BARE.replace("house.db", "dir.db"))
    assert "is a folder or a device, not a file" in folder.run("check", code=69).words


def test_check_tells_of_an_authority_that_is_not_there(tmp_path, capsys, quick_check):
    """And goes on to the other parts."""
    house = House(tmp_path, capsys, HOUSE + '[broker]\ntls_ca = "ca.pem"\n')
    said = house.run("check", code=69)
    assert "MEND broker: broker tls_ca" in said.words
    assert "look channels: none" in said.words


def test_check_tells_of_a_series_server_that_does_not_answer(tmp_path, capsys, quick_check):
    """Readings wait in the journal meanwhile."""
    house = House(tmp_path, capsys, BARE + '[series]\nurl = "http://127.0.0.1:1"\n')
    assert "MEND series: http://127.0.0.1:1 does not answer" in house.run("check", code=69).words


# -- backup, rules, help ------------------------------------------------------------------------------------


def test_a_backup_is_a_journal(house):
    """It can be looked at like the first; another is not overwritten by chance; the journal never is."""
    house.hang("Bresaola 2")
    target = house.folder / "copy.db"
    assert house.run("backup", target).words.startswith(f"the journal is copied to {target} (")
    assert main(["pieces", "--journal", str(target), "--json"]) == 0
    assert json.loads(house.capsys.readouterr().out)[0]["piece"] == "Bresaola 2"
    assert "exists already" in house.refused("backup", target, code=74)
    house.run("backup", target, "--replace")
    assert "is the journal itself" in house.refused("backup", house.journal, "--replace", code=74)
    assert "there is no folder" in house.refused("backup", house.folder / "nowhere" / "copy.db", code=74)


def test_rules_name_every_kind_with_unit_and_source(house):
    """In words and as JSON; with the same options as any command."""
    said = house.run("rules")
    entries = house.run("rules", "--json", by="journal").json
    assert [e["kind"] for e in entries] == [str(k) for k in Kind]
    for entry in entries:
        assert f"\n{entry['kind']}\n" in "\n" + said.out
        assert entry["unit"]
        assert entry["source"]
    assert "Page 1954" in said.words


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_and_takes_the_two_options(command, capsys):
    """--help ends with 0 and fits the terminal; --config and --journal are there."""
    with pytest.raises(SystemExit) as ended:
        main([command, "--help"])
    said = capsys.readouterr().out
    assert ended.value.code == 0
    assert "--config C" in said
    assert "--journal J" in said
    assert max(map(len, said.splitlines())) <= 80


def test_the_whole_help_names_commands_and_exit_codes(capsys):
    """Also the version."""
    with pytest.raises(SystemExit) as ended:
        main(["--help"])
    said = capsys.readouterr().out
    assert ended.value.code == 0
    assert [c for c in COMMANDS if not re.search(rf"^    {c}\s", said, re.MULTILINE)] == []
    assert "exit codes: 0 done" in said
    with pytest.raises(SystemExit):
        main(["--version"])
    assert capsys.readouterr().out == f"chamberwatch {__version__}\n"


def test_a_command_line_nobody_understands_is_64(house, capsys):
    """What is wrong, and where help is; no command at all likewise."""
    assert main([]) == 64
    assert "the following arguments are required: COMMAND" in capsys.readouterr().err
    assert main(["wach"]) == 64
    assert "invalid choice: 'wach'" in capsys.readouterr().err
    told = house.refused("now", "--jsn", code=64)
    assert told == "unrecognized arguments: --jsn\ntry: chamberwatch --help"


# -- when things go wrong around it ---------------------------------------------------------------------------


def test_a_missing_journal_is_66(house):
    """Whoever only looks makes none."""
    for command in ("now", "events", "pieces"):
        told = house.refused(command, code=66)
        assert told == f"{house.journal}: there is no journal here yet; `watch` or `replay` makes it"
    assert not house.journal.exists()


def test_a_file_that_is_no_journal_is_74(house):
    """Told as that, not as a traceback."""
    house.journal.write_bytes(b"not a database, no " * 100)
    assert "is damaged or is no SQLite database" in house.refused("now", code=74)


def test_a_fault_of_our_own_is_70_and_says_so(house, monkeypatch):
    """With the traceback that whoever mends it needs."""
    house.warm_day()
    monkeypatch.setattr("chamberwatch.cli.views.now_document", _broken)
    said = house.run("now", "--json", code=70)
    assert "chamberwatch: a fault of our own (ZeroDivisionError); please report it" in said.err
    assert "Traceback" in said.err


def _broken(*args):
    raise ZeroDivisionError


def test_a_pager_that_closes_early_is_no_fault(house):
    """`chamberwatch events | head -1`."""
    house.warm_day()
    command = f"{sys.executable} -m chamberwatch events --json --config {house.config} | head -c 1"
    done = subprocess.run(["bash", "-o", "pipefail", "-c", command], capture_output=True, text=True, timeout=60, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, "{", "")


def test_a_terminal_without_our_signs_gets_its_answer_all_the_same(house):
    """An old locale has no °: a question mark stands for it."""
    house.warm_day()
    done = subprocess.run(
        [sys.executable, "-m", "chamberwatch", "now", "--config", str(house.config)],
        capture_output=True, timeout=60, check=False, env=os.environ | {"PYTHONIOENCODING": "ascii"},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert b"17.0 ?C" in done.stdout


# -- check --listen -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("argv", "told"), [
    (["--listen", "attic"], "no probe is called 'attic'; the settings have: rear, shelf"),
    (["--for", "10s"], "it needs --listen PROBE"),
    (["--listen", "rear", "--send-test"], "give one of them"),
    (["--listen", "rear", "--for", "90"], "90 has no unit"),
    (["--listen", "rear", "--for", "2h"], "at most 1h at a time"),
])  # fmt: skip
def test_a_listening_that_cannot_be_is_64(tmp_path, capsys, argv, told):
    """Said at once, before anything is opened."""
    assert told in House(tmp_path, capsys).refused("check", *argv, code=64)


def test_listening_to_a_port_that_is_not_there_is_69(tmp_path, capsys, monkeypatch):
    """With what to look at."""
    monkeypatch.setattr(listen, "OPEN_WAIT_S", 0.2)
    said = House(tmp_path, capsys).run("check", "--listen", "rear", "--for", "1s", code=69)
    assert said.out == "rear, /dev/ttyS9 (115200 baud), as senml: listening for 1 s (Ctrl-C ends it)\n"
    assert "probe rear: no such port: /dev/ttyS9" in said.err
