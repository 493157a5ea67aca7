"""The watch, whole and real: its own process, terminals or a broker, a mail server, a series server, its commands."""

from __future__ import annotations

import email
import email.policy
import subprocess
import threading
import time
from contextlib import ExitStack
from dataclasses import dataclass

import pytest
from ingest_parts import Mosquitto, PluggedProbe, free_port, until
from notify_parts import MailServer
from series_parts import SeriesServer
from watch_parts import CHAMBER, STOP_S, Daemon, Listener, ServiceManager, line, mqtt_probe, serial_probe

from chamberwatch.journal.outbox import Outbox

pytestmark = pytest.mark.external


# -- two probes on serial lines ------------------------------------------------------------------------------


@pytest.fixture
def ports(tmp_path):
    """Two probes on pseudo-terminals."""
    probes = [PluggedProbe(tmp_path / "by-id", name) for name in ("usb-rear", "usb-front")]
    yield probes
    for probe in probes:
        probe.close()


def plugged(ports):
    """Return the settings of a cellar with these two probes."""
    return CHAMBER + serial_probe("rear", ports[0].path) + serial_probe("front", ports[1].path)


def settle(port):
    """Let the watch drop the line under way: the first after opening may be half a line."""
    port.say(b"\n")


def test_what_two_terminals_say_is_in_the_journal(daemon, ports):
    """Each reading once, garbage refused and counted, and at SIGTERM all is committed, within 10 s, with exit 0."""
    rear, front = ports
    watch = daemon(plugged(ports)).start()
    settle(rear)
    settle(front)
    for i in range(25):
        rear.say(line(12 + i / 100) + b"\n")
        front.say(line(12.5, 74) + b"\r\n")
    rear.say(b"noise\n")
    time.sleep(0.5)  # what a terminal still holds at the end nobody has read yet
    code, took_s = watch.stop()
    assert (code, took_s < STOP_S) == (0, True)
    probes = {p["probe"]: p for p in watch.now()["probes"]}
    assert (probes["rear"]["readings"], probes["front"]["readings"]) == (25, 25)
    assert (probes["rear"]["refused"], probes["front"]["refused"]) == (1, 0)
    assert watch.now()["chambers"][0]["humidity"] == 74.5
    assert "Traceback" not in watch.log.read_text()


def test_a_second_watch_on_one_journal_is_refused(daemon, ports):
    """Exit 75, with the process that holds it; the first one goes on."""
    watch = daemon(plugged(ports)).start()
    told = watch.command("watch", code=75)
    assert f"is held by another watch or replay (process {watch.process.pid})" in told
    assert watch.process.poll() is None
    assert watch.stop()[0] == 0


def test_killed_and_started_again_it_tells_no_alarm_twice(daemon, ports):
    """An alarm stands; after a kill -9 it stands still, was told once, and a moment's absence is no gap."""
    rear, _ = ports
    watch = daemon(plugged(ports)).start()
    settle(rear)
    at_ms = (int(time.time()) - 600) * 1000
    for i in range(6):
        rear.say(line(17.5, 75, at_ms + 10_000 * i) + b"\n")
    alarm = watch.await_event(kind="temperature-high", state="active")
    stored = watch.readings()["rear"]
    watch.kill()
    watch.start()
    (standing,) = [a for a in watch.now()["alarms"] if a["kind"] == "temperature-high"]
    assert standing["id"] == alarm["id"]
    settle(rear)
    for i in range(6, 20):
        rear.say(line(12.0, 75, at_ms + 10_000 * i) + b"\n")
    watch.await_event(kind="temperature-high", state="returned")
    assert len(watch.events(kind="temperature-high", state="active")) == 1
    assert watch.events(kind="monitor-gap") == []
    assert watch.readings()["rear"] > stored
    assert watch.stop()[0] == 0


def test_a_missing_port_keeps_nothing_else_from_being_watched(daemon, ports):
    """The watch starts without it, says so in its log, and reads it once it is plugged in."""
    rear, front = ports
    front.unplug()
    watch = daemon(plugged(ports)).start()
    assert until(lambda: f"no such port: {front.path}" in watch.log.read_text())
    settle(rear)
    rear.say(line(18.5) + b"\n" + line(18.5) + b"\n")
    watch.await_event(kind="temperature-high", probes=["rear"])
    front.plug()

    def heard():
        front.say(line(18.5) + b"\n")
        return watch.events(kind="temperature-high", state="noted", probes=["front", "rear"])

    assert until(heard, 25), watch.log.read_text()
    assert watch.stop()[0] == 0


# -- the service manager -------------------------------------------------------------------------------------


def test_the_service_manager_hears_ready_progress_and_the_end(daemon, ports, tmp_path):
    """READY once it watches, WATCHDOG four times a limit, STOPPING at SIGTERM; STATUS in plain words."""
    manager = ServiceManager(tmp_path)
    watch = daemon(plugged(ports), NOTIFY_SOCKET=str(manager.path), WATCHDOG_USEC="2000000")
    watch.start()
    assert manager.hears("READY=1")
    assert manager.hears("WATCHDOG=1", times=3)
    assert manager.hears("STATUS=2 probes, 0 alarms, 0 waiting")
    assert watch.stop()[0] == 0
    assert manager.hears("STOPPING=1")
    assert [lines[0] for lines in manager.told if lines[0] != "WATCHDOG=1"] == ["READY=1", "STOPPING=1"]
    manager.close()


def test_a_rehearsal_is_refused_in_normal_use_and_the_other_way_round(daemon, ports):
    """Exit 78 either way: a clock of readings must never watch real meat."""
    rehearsed = daemon(plugged(ports) + '[rehearsal]\nclock = "readings"\n')
    assert "[rehearsal] takes time from the readings and must never watch real meat" in rehearsed.command("watch", code=78)
    assert not rehearsed.folder.joinpath("house.db").exists()
    real = daemon(plugged(ports))
    assert "--rehearsal needs a settings file with [rehearsal]" in real.command("watch", "--rehearsal", code=78)


# -- an evening over a broker, with mail, a topic and a series server ------------------------------------------


@dataclass
class Evening:
    """What was to be seen of it, from outside."""

    spoken: int
    readings: dict
    alarms: list
    events: list
    heard: list
    mail: list
    stored: dict
    code: int
    took_s: float
    log: str
    retained: bytes
    still_repeated: list


def _settings(broker, mail, series):
    return f"""{CHAMBER}
{mqtt_probe("rear", 5)}{mqtt_probe("front", 5)}
[broker]
port = {broker.port}
[notify]
acknowledge_topic = "chamberwatch/on-it"
[[notify.channel]]
name = "house"
topic = "chamberwatch/alarm"
[[notify.channel]]
name = "mail"
credential = "mail"
[series]
url = "{series.url}"
org = "home"
bucket = "chambers"
credential = "series"
every = 1
""", {"CHAMBERWATCH_MAIL": mail.url, "CHAMBERWATCH_SERIES": "kettle-black"}


@pytest.fixture(scope="module")
def evening(tmp_path_factory):
    """Live through it once; the tests below look at what came of it."""
    folder = tmp_path_factory.mktemp("evening")
    (folder / "series").mkdir()
    with ExitStack() as parts:
        broker = Mosquitto(folder / "broker").start()
        parts.callback(broker.kill)
        mail = MailServer()
        parts.callback(mail.close)
        series = SeriesServer(folder / "series")
        parts.callback(series.kill)
        listener = Listener(broker.port, "chamberwatch/alarm")
        parts.callback(listener.close)
        config, secrets = _settings(broker, mail, series)
        watch = Daemon(folder, config, **secrets)
        parts.callback(watch.kill)
        yield _live(watch, broker, mail, series, listener)


def _live(watch, broker, mail, series, listener):
    watch.start()
    watch.command("hang", "Bresaola 2", "--chamber", "cellar", "--kind", "round", "--green-weight", "2150g", "--at", "9d ago")
    began_ms = (int(time.time()) - 600) * 1000
    calm = [line(12 + i / 100, 75, began_ms + 5000 * i) for i in range(60)]
    broker.publish_lines("cellar/rear", calm)
    broker.publish_lines("cellar/front", calm)
    # Dry first, as both see it; what one saw alone would wait for the other.
    for probe in ("rear", "front"):
        broker.publish_lines(f"cellar/{probe}", [line(12.5, 50, began_ms + 5000 * (60 + i)) for i in range(8)])
    dry = watch.await_event(kind="humidity-low", state="active")
    broker.publish_lines("cellar/rear", [line(19.5, 50, began_ms + 5000 * (68 + i)) for i in range(8)])
    warm = watch.await_event(kind="temperature-high", state="active")
    assert until(lambda: len(listener.heard) >= 2 and len(mail.got) >= 2, 20), watch.log.read_text()
    watch.command("acknowledge", "cellar", "temperature-high", "--by", "Ines")
    broker.publish("chamberwatch/on-it", b"cellar humidity-low")
    assert until(lambda: watch.alarm_states() == ["acknowledged"] * 2, 20), watch.now()
    outbox = Outbox(watch.folder / "house.db")
    repeated = [e["kind"] for e in (warm, dry) if outbox.alarm_open_unacknowledged(e["id"])]
    outbox.close()
    alarms = watch.now()["alarms"]
    wanted = {"rear": 76, "front": 68}
    assert until(lambda: watch.readings() == wanted, 30), watch.readings()
    assert until(lambda: len(series.air()) >= 144, 30)
    code, took_s = watch.stop()
    return Evening(
        144, watch.readings(), alarms, watch.events(), listener.heard, [_text(m) for m in mail.got], series.air(),
        code, took_s, watch.log.read_text(), broker.retained("chamberwatch/status"), repeated,
    )  # fmt: skip


def _text(envelope):
    message = email.message_from_bytes(envelope.content, policy=email.policy.default)
    return message["subject"], message.get_body(("plain", "html")).get_content()


def test_what_the_broker_brought_is_in_the_journal(evening):
    """Every reading once."""
    assert evening.readings == {"rear": 76, "front": 68}


def test_each_alarm_is_told_once_by_mail_and_once_on_the_topic(evening):
    """Its first line, and against the piece that hangs there."""
    begun = {e["kind"]: e for e in evening.events if e["state"] == "active"}
    assert set(begun) == {"temperature-high", "humidity-low"}
    for event in begun.values():
        headline = event["text"].splitlines()[0]
        assert event["pieces"] == ["Bresaola 2"]
        assert [m["id"] for m in evening.heard].count(event["id"]) == 1
        assert [m["text"] for m in evening.heard].count(event["text"]) == 1
        mailed = [body for subject, body in evening.mail if headline in subject]
        assert len(mailed) == 1
        assert "Bresaola 2 (day 9)" in mailed[0]
    assert (len(evening.heard), len(evening.mail)) == (2, 2)


def test_somebody_on_it_by_command_or_by_topic_ends_the_repeats(evening):
    """Both alarms stand, each with who is on it; no channel may repeat them."""
    assert {(a["kind"], a["state"], a["acknowledged_by"]) for a in evening.alarms} == {
        ("temperature-high", "acknowledged", "Ines"),
        ("humidity-low", "acknowledged", "MQTT"),
    }
    assert evening.still_repeated == []


def test_every_reading_is_on_the_series_server(evening):
    """Read back from it: both probes' temperatures and humidities."""
    assert len(evening.stored) == evening.spoken
    assert {probe for _, probe in evening.stored} == {"rear", "front"}
    assert sorted(t for t, _ in evening.stored.values())[-4:] == [19.5] * 4


def test_at_the_end_it_goes_quietly_and_says_that_it_is_gone(evening):
    """Exit 0 within 10 s, "offline" retained for whoever watches the watch, no secret in its log."""
    assert evening.code == 0
    assert evening.took_s < STOP_S
    assert evening.retained.strip() == b"offline"
    assert "kettle-black" not in evening.log
    assert "Traceback" not in evening.log


# -- a broker that is not as it should be ----------------------------------------------------------------------


def test_a_broker_down_at_the_start_is_waited_for(daemon, tmp_path):
    """The watch is ready without it, tells nothing wrong, and reads on as soon as it is there."""
    port = free_port()
    watch = daemon(f"{CHAMBER}{mqtt_probe('rear')}[broker]\nport = {port}\n").start()
    assert until(lambda: f"127.0.0.1:{port}" in watch.log.read_text())
    broker = Mosquitto(tmp_path / "broker", port=port).start()
    try:
        assert until(lambda: broker.retained("chamberwatch/status") == b"online", 25), watch.log.read_text()
        broker.publish_lines("cellar/rear", [line(19.5), line(19.5)])
        watch.await_event(kind="temperature-high", state="active")
        assert watch.stop()[0] == 0
    finally:
        broker.kill()


def test_a_wrong_password_is_told_in_the_log_and_by_check(daemon, tmp_path):
    """In words that say what to mend; the watch goes on trying; the password itself is nowhere."""
    (tmp_path / "access").write_text("watch:kettle-black\n")
    subprocess.run(["mosquitto_passwd", "-U", str(tmp_path / "access")], check=True, timeout=20)
    broker = Mosquitto(tmp_path / "broker", [f"password_file {tmp_path / 'access'}"], anonymous=False).start()
    try:
        config = f'{CHAMBER}{mqtt_probe("rear")}[broker]\nport = {broker.port}\nusername = "watch"\ncredential = "broker"\n'
        wrong = daemon(config, CHAMBERWATCH_BROKER="pot-white").start()
        assert until(lambda: "password" in wrong.log.read_text()), wrong.log.read_text()
        told = wrong.command("check", code=69)
        assert "MEND  broker: " in told
        assert "password" in told
        assert wrong.stop()[0] == 0
        assert "pot-white" not in told + wrong.log.read_text()
        right = daemon(config, CHAMBERWATCH_BROKER="kettle-black")
        assert f"ok    broker: 127.0.0.1:{broker.port} takes us in" in right.command("check")
    finally:
        broker.kill()


# -- check, on real parts --------------------------------------------------------------------------------------


class Speaker:
    """A probe that says one line again and again, until closed."""

    def __init__(self, probe, said):
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._speak, args=(probe, said))
        self._thread.start()

    def _speak(self, probe, said):
        while not self._ending.wait(0.1):
            probe.say(said)

    def close(self):
        """Fall silent."""
        self._ending.set()
        self._thread.join()


@pytest.mark.parametrize(
    ("said", "code", "told"),
    [
        (line(12.4, 75.1) + b"\n", 0, "ok    probe rear: {port} opens, and it speaks: 12.4 °C 75 %RH"),
        (b"T=12.4 H=75.1\n", 69, "MEND  probe rear: {port} opens, but what it says is refused: not whole JSON"),
    ],
)
def test_check_listens_to_a_probe(daemon, ports, said, code, told):
    """It says what it heard, or why that is no reading."""
    rear, _ = ports
    watch = daemon(CHAMBER + serial_probe("rear", rear.path))
    speaker = Speaker(rear, said)
    try:
        words = " ".join(watch.command("check", code=code).split())
    finally:
        speaker.close()
    assert " ".join(told.format(port=rear.path).split()) in words


def test_check_tells_of_a_probe_that_says_nothing(daemon, ports):
    """No fault yet: its plug, its speed; after twice its interval."""
    watch = daemon(CHAMBER + serial_probe("rear", ports[0].path))
    words = " ".join(watch.command("check").split())
    assert f"look probe rear: {ports[0].path} opens, but no whole line came within 3 s (baud 115200? plugged in?)" in words


def test_a_test_message_goes_out_on_every_channel(daemon, tmp_path):
    """`check --send-test`: the mail server and the topic get one; without it they get none."""
    broker, mail = Mosquitto(tmp_path / "broker").start(), MailServer()
    listener = Listener(broker.port, "chamberwatch/alarm")
    try:
        channels = (
            '[[notify.channel]]\nname = "mail"\ncredential = "mail"\n'
            '[[notify.channel]]\nname = "house"\ntopic = "chamberwatch/alarm"\n'
        )
        watch = daemon(f"{CHAMBER}{mqtt_probe('rear')}[broker]\nport = {broker.port}\n{channels}", CHAMBERWATCH_MAIL=mail.url)
        assert "ok    channel mail: looks right (--send-test tries it)" in watch.command("check")
        assert (mail.got, listener.heard) == ([], [])
        said = watch.command("check", "--send-test")
        assert "ok    channel mail: the test message was taken" in said
        assert "ok    channel house: the test message was taken" in said
        assert until(lambda: listener.heard)
        assert "only a test" in listener.heard[0]["text"]
        assert [_text(m)[0] for m in mail.got] == ["Test message"]
    finally:
        listener.close()
        mail.close()
        broker.kill()
