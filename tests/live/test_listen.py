"""`check --listen` on real parts: a pseudo-terminal and a broker; a newcomer finds the format, nothing is disturbed."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import threading
import time
from contextlib import contextmanager, suppress

import pytest
from ingest_parts import until
from watch_parts import CHAMBER, ROOT, mqtt_probe, serial_probe

pytestmark = pytest.mark.external

WIDTH = 80


@contextmanager
def speaking(say, *said, every_s=0.1):
    """Let a probe say these things in turn, again and again."""
    ending = threading.Event()

    def speak():
        i = 0
        while not ending.wait(every_s):
            with suppress(BlockingIOError):  # nobody reads any more
                say(said[i % len(said)])
            i += 1

    thread = threading.Thread(target=speak)
    thread.start()
    try:
        yield
    finally:
        ending.set()
        thread.join()


def heard(watch, *options, code=0, probe="rear", for_="1.5s"):
    """Listen; return the words without their line breaks, and the text. No line is too wide for a terminal."""
    text = watch.command("check", "--listen", probe, "--for", for_, *options, code=code)
    told = [part for part in text.splitlines() if not part.startswith(("chamberwatch: ", "    port = "))]
    # A path of this test's folder alone may be wider than a terminal.
    assert [part for part in told if len(part) > WIDTH and " " in part.strip()] == []
    return " ".join(text.split()), text


def paste(watch, text, kind):
    """Do what the advice says: take the probe's line (it is the last of the file) out, put the table at the end."""
    table = re.search(rf"^    \[probe\.{kind}\]\n(    .*\n)+", text, re.MULTILINE)[0]
    kept = [part for part in watch.config.read_text().splitlines() if not part.startswith(f"{kind} = ")]
    watch.config.write_text("\n".join(kept) + "\n" + table)


# -- a serial line ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("said", "format_"), [
    (b'{"air":{"t":12.4,"rh":75.1},"dew_point":8.1}\n', "json"),
    (b"bat=3.1 temp_f=54.3 hum=0.751\r\n", "key-value"),
    (b"17;12,4;75,1\n", "csv"),
])  # fmt: skip
def test_a_newcomer_finds_the_format(daemon, pty_pair, said, format_):
    """What is refused with the usual format is read after the advice was followed to the letter, by the watch too."""
    watch = daemon(CHAMBER + serial_probe("rear", pty_pair.path))
    with speaking(pty_pair.say, said):
        words, text = heard(watch, code=69)
        assert said.decode().strip() in words
        assert "refused: not " in words
        assert "none of what it said could be read as senml" in words
        assert f'format = "{format_}"' in text
        assert "The last line would then be: 12.4 °C, 75.1 %RH" in words
        paste(watch, text, "serial")
        words, _ = heard(watch)
        assert f"as {format_}: listening" in words
        assert "read: 12.4 °C, 75.1 %RH, no time of its own" in words
        assert "refused:" not in words
        assert "ok probe rear:" in " ".join(watch.command("check").split())
        watch.start()
        time.sleep(0.8)  # some lines' time; the end of a watch commits what it has
        assert watch.stop()[0] == 0
    assert watch.readings()["rear"] >= 3
    assert watch.now()["probes"][0]["refused"] == 0


def test_a_port_of_a_running_watch_is_left_alone(daemon, pty_pair):
    """Only one can read a port: it says so, and what to do; the watch goes on."""
    watch = daemon(CHAMBER + serial_probe("rear", pty_pair.path)).start()
    words, _ = heard(watch, code=69)
    assert f"{pty_pair.path} is read by the running watch" in words
    assert "systemctl stop chamberwatch" in words
    pty_pair.say(b'\n[{"n":"temperature","u":"Cel","v":12.4}]\n')
    time.sleep(0.5)  # what a terminal still holds at the end nobody has read yet
    assert watch.stop()[0] == 0
    assert watch.readings() == {"rear": 1}


def test_a_port_that_is_silent_or_missing_is_told(daemon, pty_pair):
    """With what to look at first; never an empty answer."""
    watch = daemon(CHAMBER + serial_probe("rear", pty_pair.path))
    words, _ = heard(watch, code=69)
    assert "nothing came within 1.5 s: is the probe plugged in" in words
    assert "is 115200 baud its speed?" in words
    pty_pair.unplug()
    assert f"probe rear: no such port: {pty_pair.path}" in heard(watch, code=69)[0]


def test_noise_is_shown_harmlessly_and_a_flood_is_counted(daemon, pty_pair):
    """What a terminal would act on is escaped; more than a screen or two is not printed."""
    watch = daemon(CHAMBER + serial_probe("rear", pty_pair.path))
    with speaking(pty_pair.say, b"\x1b[2J\xff\x07\n" * 30):
        words, text = heard(watch, code=69)
    assert "\\x1b[2J\\xff\\x07" in words
    assert "\x1b" not in text
    assert "more comes; from here on it is only counted" in words
    assert "No format I know reads it. If it looks like noise: is the probe plugged in" in words
    assert int(re.search(r"(\d+) lines: 0 read, \1 refused", words)[1]) > 60
    os.set_blocking(pty_pair._board, False)
    with speaking(pty_pair.say, b"x" * 30_000):
        words, _ = heard(watch, code=69)
    assert "65536 bytes without a line end: another baud, or no line ends?" in words


def test_interrupted_it_still_sums_up(daemon, pty_pair):
    """Ctrl-C ends the listening; what was heard is told, and the code is that of what was heard."""
    watch = daemon(CHAMBER + serial_probe("rear", pty_pair.path))
    argv = watch._argv("check", "--listen", "rear", "--for", "10min")
    listening = subprocess.Popen(argv, stdout=subprocess.PIPE, text=True, cwd=ROOT, env=watch.environment)
    try:
        with speaking(pty_pair.say, b'[{"n":"humidity","u":"%RH","v":75.1}]\n'):
            assert any("read: 75.1 %RH" in part for part in listening.stdout)
        listening.send_signal(signal.SIGINT)
        rest = listening.communicate(timeout=20)[0]
    finally:
        listening.kill()
    assert re.search(r"\n\d+ lines?: \d+ read, 0 refused\n$", rest)
    assert listening.returncode == 0


# -- a topic ---------------------------------------------------------------------------------------------------


def test_a_topic_is_heard_beside_the_watch(daemon, mosquitto):
    """A session of its own: the watch misses nothing, its status stays, and nothing is published."""
    broker = mosquitto()
    watch = daemon(f"{CHAMBER}[broker]\nport = {broker.port}\n{mqtt_probe('rear')}").start()
    with speaking(lambda said: broker.publish("cellar/rear", said), b'{"Temperature":12.4,"relHumidity":75.1}'):
        words, text = heard(watch, code=69)
        assert f"rear, topic cellar/rear at 127.0.0.1:{broker.port}, as senml" in words
        assert until(lambda: watch.now()["probes"][0]["refused"] >= 3)
        assert broker.retained("chamberwatch/status") == b"online"
        assert watch.stop()[0] == 0
        paste(watch, text, "mqtt")
        words, _ = heard(watch)
        assert "read: 12.4 °C, 75.1 %RH" in words
        watch.start()
        assert until(lambda: watch.readings().get("rear", 0) >= 3)


def test_a_kept_message_is_told_as_one(daemon, mosquitto):
    """The watch passes over it if it has no time: whoever wonders why sees it here."""
    broker = mosquitto()
    broker.publish("cellar/rear", b'{"hello":"there"}', "-r")
    watch = daemon(f"{CHAMBER}[broker]\nport = {broker.port}\n{mqtt_probe('rear')}")
    words, _ = heard(watch, code=69)
    assert "kept: by the broker from before" in words
    assert '"/hello" is "there"' in words


def test_a_topic_nobody_speaks_on_and_a_broker_that_is_not_there(daemon, mosquitto):
    """Each told as what it is."""
    broker = mosquitto()
    watch = daemon(f"{CHAMBER}[broker]\nport = {broker.port}\n{mqtt_probe('rear')}")
    assert f"does the probe publish to 127.0.0.1:{broker.port}, on this exact topic" in heard(watch, code=69)[0]
    broker.kill()
    assert f"probe rear: nothing listens at 127.0.0.1:{broker.port}" in heard(watch, code=69)[0]
