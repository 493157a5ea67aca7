"""A thread that dies takes the process with it, instead of leaving half a monitor that looks whole."""

import logging
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from ingest_parts import until

from chamberwatch.ingest.guard import install_thread_guard

ROOT = Path(__file__).parents[2]

MONITOR = """
import logging, sys, time
from chamberwatch.ingest.broker import BrokerLink
from chamberwatch.ingest.broker_plan import BrokerPlan
from chamberwatch.ingest.guard import install_thread_guard
from chamberwatch.ingest.packet import Inbox

class Buggy(BrokerLink):
    def _on_message(self, client, data, message):
        raise ZeroDivisionError("a bug in a callback")

logging.basicConfig(level=logging.INFO)
install_thread_guard()
link = Buggy(BrokerPlan(port=int(sys.argv[1]), topics={"cellar/front": "front"}), Inbox(), lambda: 0)
link.start()
while not link.status().connected:
    time.sleep(0.01)
print("ready", flush=True)
time.sleep(60)
"""


@pytest.mark.external
def test_a_dead_network_thread_ends_the_process(mosquitto):
    """A callback that raises ends the network thread; the guard ends the process with 70 and a traceback."""
    broker = mosquitto()
    with subprocess.Popen(
        [sys.executable, "-c", MONITOR, str(broker.port)], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as monitor:
        assert monitor.stdout.readline() == "ready\n"
        broker.publish("cellar/front", b"12.4")
        _, told = monitor.communicate(timeout=30)
    assert monitor.returncode == 70
    assert "chamberwatch stops: thread 'paho-mqtt-client-chamberwatch' died: ZeroDivisionError: a bug in a callback" in told
    assert "Traceback" in told


@pytest.mark.parametrize("error", [ValueError("broken"), SystemExit(3)])
def test_any_end_by_an_exception_is_told_once_and_logged(caplog, error):
    """Any thread, any exception, also a SystemExit that Python ignores in threads: told once, with its traceback."""
    deaths = []
    restore = install_thread_guard(deaths.append)

    def work():
        raise error

    try:
        thread = threading.Thread(target=work, name="worker")
        thread.start()
        thread.join(10)
        assert until(lambda: deaths) == [f"thread 'worker' died: {type(error).__name__}: {error}"]
        assert [r.levelno for r in caplog.records] == [logging.CRITICAL]
        assert caplog.records[0].exc_info
    finally:
        restore()


def test_the_former_hook_comes_back():
    """What `install_thread_guard` returns puts things back as they were."""
    before = threading.excepthook
    restore = install_thread_guard(lambda _why: None)
    assert threading.excepthook is not before
    restore()
    assert threading.excepthook is before
