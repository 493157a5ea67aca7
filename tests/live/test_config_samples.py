"""The files in config/ are read by whom they are meant for, and keep what they promise."""

import re
import tomllib
from itertools import pairwise
from pathlib import Path

import pytest
from ingest_parts import Mosquitto, free_port, until

from chamberwatch.daemon.plans import broker_plan, channel_plans, port_plans, series_plan
from chamberwatch.ingest.broker import BrokerLink
from chamberwatch.ingest.broker_plan import BrokerPlan
from chamberwatch.ingest.packet import Inbox, Packet
from chamberwatch.settings import load

CONFIG = Path(__file__).parents[2] / "config"
EXAMPLES = ("one-serial-probe.toml", "over-mqtt.toml")
TOPIC = "cellar/front"


# -- settings -------------------------------------------------------------------------------------------------


def test_the_serial_example_makes_one_chamber_and_one_port():
    """The serial example is whole: one chamber in the planned air, one probe on a port named by id."""
    settings = load(CONFIG / "one-serial-probe.toml")
    (chamber,) = settings.plan.chambers
    assert (chamber.name, chamber.kind) == ("cellar", "cure-chamber")
    assert (chamber.temperature.low, chamber.temperature.high) == (10.0, 15.0)
    assert (chamber.humidity.low, chamber.humidity.high) == (70.0, 80.0)
    (port,) = port_plans(settings.file)
    assert port.url.startswith("/dev/serial/by-id/")
    assert (port.probe, port.baud, port.dtr) == ("rear", 115_200, True)
    assert broker_plan(settings.file) is None


def test_the_mqtt_example_makes_topics_and_a_channel():
    """The MQTT example is whole: three probes on exact topics, an acknowledge topic, a channel without a secret."""
    settings = load(CONFIG / "over-mqtt.toml")
    plan = broker_plan(settings.file)
    assert dict(plan.topics) == {
        "cellar/rear": "rear", "cellar/front": "front", "salting-fridge/shelf": "shelf",
    }
    assert (plan.host, plan.port, plan.acknowledge_topic) == ("127.0.0.1", 1883, "chamberwatch/on-it")
    assert [(c.name, c.topic) for c in channel_plans(settings.file)] == [("house", "chamberwatch/alarm")]
    assert not port_plans(settings.file)


@pytest.mark.parametrize("name", EXAMPLES)
def test_what_is_switched_off_in_an_example_is_valid_too(name, monkeypatch, tmp_path):
    """Every key that stands behind a # can be switched on as it is: the file still loads, and names its secrets."""
    for secret in ("MAIL", "NEIGHBOUR", "BROKER_PASSWORD", "SERIES_TOKEN", "HEARTBEAT_ADDRESS"):
        monkeypatch.setenv(f"CHAMBERWATCH_{secret}", "http://127.0.0.1:9/" if secret == "HEARTBEAT_ADDRESS" else "json://127.0.0.1:9/")
    text = (CONFIG / name).read_text()
    opened = re.sub(r"^# (?=\[|\[\[|[a-z_]+ = |# )", "", text, flags=re.MULTILINE)
    assert opened.count(" = ") >= text.count(" = ")
    assert tomllib.loads(opened) != tomllib.loads(text)
    everything = tmp_path / name
    everything.write_text(opened)
    settings = load(everything)
    assert "mail" in {c.name for c in channel_plans(settings.file)}
    if name == "over-mqtt.toml":
        assert series_plan(settings.file).bucket == "chamberwatch"
        assert settings.file.broker.credential == "broker-password"


@pytest.mark.parametrize("name", EXAMPLES)
def test_no_example_holds_a_secret(name):
    """Secrets stand in an example by their names only."""
    for line in (CONFIG / name).read_text().splitlines():
        assert not re.search(r"^\s*#*\s*(url|password|token)\s*=\s*\"(?!https?://127)", line), line


# -- the broker's settings ------------------------------------------------------------------------------------


@pytest.fixture
def sample_broker(tmp_path):
    """Start a broker as Debian does, our sample in its folder for local files; only paths and port are adapted."""
    port = free_port()
    folder = tmp_path / "mosquitto"
    (folder / "conf.d").mkdir(parents=True)
    sample = (CONFIG / "mosquitto-chamberwatch.conf").read_text()
    assert sample.count("\nlistener 1883 127.0.0.1\n") == 1
    adapted = sample.replace("\nlistener 1883 127.0.0.1\n", f"\nlistener {port} 127.0.0.1\n")
    (folder / "conf.d" / "chamberwatch.conf").write_text(adapted)
    main = folder / "mosquitto.conf"
    main.write_text(f"user root\npersistence true\npersistence_location {folder}/\ninclude_dir {folder}/conf.d\n")
    broker = Mosquitto(folder, config=main, port=port)
    yield broker.start()
    broker.kill()


def payloads(inbox):
    """Return the payloads that wait in the inbox."""
    return [item.payload for item in list(inbox.queue) if isinstance(item, Packet)]


@pytest.mark.external
def test_the_broker_sample_keeps_the_queue_through_a_power_cut(sample_broker):
    """With the sample, SIGKILL of the broker loses at most the last 50 of 1,500 messages that wait for us.

    A broker by its defaults holds 1,000 messages and writes them down every 30 minutes: it would lose them all,
    and our subscriptions too.
    """
    plan = BrokerPlan(port=sample_broker.port, topics={TOPIC: "front"}, receive_maximum=2000)
    link = BrokerLink(plan, Inbox(), lambda: 0)
    link.start()
    assert until(lambda: link.status().connected)
    assert link.stop()
    sent = [b"%d" % n for n in range(1500)]
    sample_broker.publish_lines(TOPIC, sent)
    sample_broker.restart(kill=True)
    inbox = Inbox()
    link = BrokerLink(plan, inbox, lambda: 0)
    link.start()
    try:
        assert until(lambda: len(payloads(inbox)) >= 1450)
        kept = payloads(inbox)
        assert kept == sent[:len(kept)]
        assert inbox.queue[0].kept
    finally:
        link.stop()


@pytest.mark.external
def test_the_broker_sample_has_nothing_the_broker_complains_of(sample_broker):
    """The broker reads the sample without an error or a warning (but the one about our running it as root)."""
    told = [line for line in sample_broker.log.read_text().splitlines() if re.search("error|warning", line, re.IGNORECASE)]
    assert [line for line in told if "run as root" not in line] == []


@pytest.mark.external
def test_the_lines_switched_off_in_the_broker_sample_are_known_to_the_broker(sample_broker):
    """The listener for the network that stands behind # signs is accepted once switched on and its files exist."""
    sample_broker.stop()
    conf = sample_broker.folder / "conf.d" / "chamberwatch.conf"
    text = conf.read_text()
    opened = re.sub(r"^#(?=[a-z_]+ )", "", text, flags=re.MULTILINE)
    opened = opened.replace("\nlistener 8883\n", f"\nlistener {free_port()} 127.0.0.1\n")
    opened = opened.replace("_file /etc/mosquitto/", f"_file {sample_broker.folder}/")
    # Certificates are tested in test_broker_tls.py.
    opened = re.sub(r"^(cert|key)file .*$", "", opened, flags=re.MULTILINE)
    for file in ("passwords", "access"):
        (sample_broker.folder / file).touch(0o600)
        assert f"_file {sample_broker.folder}/{file}\n" in opened
    assert len(re.findall("^listener ", opened, re.MULTILINE)) == 2
    conf.write_text(opened)
    sample_broker.start()


def test_every_line_of_the_broker_sample_has_its_reason():
    """Above each setting stands a comment: why it is not the default."""
    lines = (CONFIG / "mosquitto-chamberwatch.conf").read_text().splitlines()
    for above, line in pairwise(lines):
        if line and not line.startswith("#"):
            assert above.startswith("# "), line


# -- the rule for USB names -----------------------------------------------------------------------------------

# udev(7) as in systemd 252, from memory: a rule is a comma-separated list of KEY or KEY{attribute}, an operator, "value".
TOKEN = re.compile(r'([A-Z]+)(\{[A-Za-z0-9_/.-]+\})?(==|!=|=|\+=)"([^"]*)"')
MATCH_KEYS = {"SUBSYSTEM", "SUBSYSTEMS", "ENV"}
ASSIGN_KEYS = {"GOTO", "LABEL", "GROUP", "MODE", "SYMLINK", "ENV"}


def rules():
    """Yield each rule, those switched off too, as its tokens (None: not understood) and its line."""
    for line in (CONFIG / "99-chamberwatch.rules").read_text().splitlines():
        if line and not line.startswith("# "):
            parts = [part.strip() for part in line.removeprefix("#").split(", ")]
            if not line.startswith("# ") and parts[0]:
                yield [TOKEN.fullmatch(part) for part in parts], line


def test_every_rule_for_usb_names_is_well_formed():
    """Each rule, those switched off too, is made of known keys, each with an operator that fits it."""
    seen = 0
    for tokens, line in rules():
        assert all(tokens), line
        for key, _, operator, _ in (token.groups() for token in tokens):
            assert key in (MATCH_KEYS if operator in ("==", "!=") else ASSIGN_KEYS), line
            seen += 1
    assert seen >= 12


def test_every_jump_of_the_rules_lands():
    """Each GOTO has its LABEL further down, as udev demands."""
    flat = [token.groups() for tokens, _ in rules() for token in tokens]
    for at, (key, _, _, value) in enumerate(flat):
        if key == "GOTO":
            assert ("LABEL", None, "=", value) in flat[at:]


def test_the_rules_give_the_group_and_a_name_that_stays():
    """A USB serial port belongs to group dialout and has names by what it is and by where it is plugged in."""
    flat = {(key, value) for tokens, _ in rules() for key, _, _, value in (token.groups() for token in tokens)}
    assert {("GROUP", "dialout"), ("MODE", "0660")} <= flat
    names = [value for key, value in flat if key == "SYMLINK"]
    assert any("by-id" in n for n in names)
    assert any("by-socket" in n for n in names)
