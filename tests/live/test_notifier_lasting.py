"""The notifier's lasting promises: at least once whatever dies, and again until someone is on it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from notify_parts import (
    NOON_MS,
    clock_fixture,  # noqa: F401  a fixture, as the next three
    hook_fixture,  # noqa: F401
    house_fixture,  # noqa: F401
    phone,
    run_fixture,  # noqa: F401
    wait_until,
)

from chamberwatch.notify import ChannelPlan
from chamberwatch.notify.repeat import STILL_SO

# apprise asks for a module that Python 3.13 drops; it does without where there is none.
pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")

# -- at least once, whatever dies -------------------------------------------------------------------------


class Faulty:
    """An outbox whose named calls fail as long as there are failures left."""

    def __init__(self, outbox, faults):
        self._outbox, self._faults = outbox, faults

    def __getattr__(self, name):
        if self._faults.get(name, 0) > 0:
            self._faults[name] -= 1
            raise OSError(f"disk I/O error in {name}")
        return getattr(self._outbox, name)


def test_a_message_taken_but_not_marked_is_not_sent_again_by_the_same_process(house, run, hook):
    """A full disk does not turn one alarm into a hundred messages: it is marked as soon as that is possible."""
    faults = {"sent": 3}
    house.owe("phone", "e1")
    house.owe("phone", "e2")
    notifier = run(phone(hook), outbox=lambda: Faulty(house.outbox(), faults))
    wait_until(house.all_sent)
    wait_until(lambda: notifier.status()["phone"].problem is None)
    assert hook.titles == ["Too dry: e1", "Too dry: e2"]


@pytest.mark.parametrize("call", ["due", "failed", "next_due_ms", "close"])
def test_a_journal_in_trouble_never_ends_a_channel(house, run, hook, call):
    """Whatever call fails, the thread lives, says so, and goes on when the journal does."""
    faults = {call: 2}
    hook.answer = lambda request: 500 if len(hook.tries) < 3 else 200
    house.owe("phone", "e1")
    run(phone(hook), outbox=lambda: Faulty(house.outbox(), faults))
    wait_until(house.all_sent)
    house.owe("phone", "e2")
    wait_until(house.all_sent)


def test_a_journal_that_cannot_be_opened_is_told_and_tried_again(house, run, hook):
    """The status names the outbox; the message goes out once the journal opens."""
    closed = threading.Event()

    def outbox():
        if not closed.is_set():
            raise OSError("unable to open the journal")
        return house.outbox()

    house.owe("phone", "e1")
    notifier = run(phone(hook), outbox=outbox)
    wait_until(lambda: notifier.status()["phone"].problem is not None)
    assert notifier.status()["phone"].problem == "the outbox cannot be used: unable to open the journal"
    closed.set()
    wait_until(house.all_sent)


def test_a_publish_that_breaks_is_a_failure_of_its_channel_only(house, run):
    """A fault of the code behind a channel does not end the channel."""
    calls = []

    def publish(topic, payload, **options):
        calls.append(payload)
        if len(calls) == 1:
            raise RuntimeError("kettle-black")
        return True

    house.owe("lamp", "e1")
    notifier = run(ChannelPlan("lamp", topic="alarms"), publish=publish)
    wait_until(house.all_sent)
    assert len(calls) == 2
    assert notifier.status()["lamp"].failed == 1


CHILD = """
import sys, time
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from notify_parts import House, HandClock
from chamberwatch.notify import ChannelPlan, Notifier, Pace
house = House(Path(sys.argv[2]))
notifier = Notifier([ChannelPlan("phone", sys.argv[3])], house.outbox, HandClock(), pace=Pace(poll_s=0.05))
notifier.start()
print("started", flush=True)
time.sleep(60)
"""


def test_a_killed_process_loses_no_message(house, hook, tmp_path):
    """Killed (SIGKILL) between the service's taking and the mark, the next start tells it again: never none."""
    taken, code = threading.Event(), [None]

    def answer(request):
        taken.set()
        return code[0]

    hook.answer = answer
    house.owe("phone", "e1")
    here = str(Path(__file__).parent)
    command = [sys.executable, "-c", CHILD, here, str(house.path), hook.url + "?rto=30"]
    for reply in (None, 200):
        taken.clear()
        code[0] = reply
        child = subprocess.Popen(command, stdout=subprocess.PIPE)
        try:
            assert taken.wait(20)
            if reply == 200:
                wait_until(house.all_sent)
            else:
                assert house.states() == ["owed"]
        finally:
            os.kill(child.pid, signal.SIGKILL)
            child.communicate(timeout=10)
    assert [request["title"] for request in hook.tries] == ["Too dry: e1"] * 2


# -- repeats ----------------------------------------------------------------------------------------------


def waits_for(house, notifier, repeat):
    """Wait until the repeat of that number is owed and nothing else is."""
    wait_until(lambda: house.rows("repeat, state")[-1] == (repeat, "owed"))
    notifier.wake()


def test_an_urgent_alarm_is_told_again_until_someone_is_on_it(house, run, hook, clock):
    """After 5, 15, 30 min and hourly, with the words that nobody has answered; silence once someone has."""
    house.owe("phone", "hot", priority="high", body="Compressor silent.")
    notifier = run(phone(hook))
    for repeat, gap_min in enumerate((5, 10, 15, 60), start=1):
        waits_for(house, notifier, repeat)
        clock.forward(minutes=gap_min - 0.01)
        notifier.wake()
        assert len(hook.got) == repeat
        clock.forward(minutes=0.01)
        wait_until(lambda n=repeat: len(hook.got) == n + 1)
    assert [r["message"] for r in hook.got] == ["Compressor silent."] + [f"{STILL_SO}\nCompressor silent."] * 4
    waits_for(house, notifier, 5)
    house.acknowledge()
    clock.forward(minutes=60)
    wait_until(lambda: notifier.status()["phone"].dropped == 1)
    assert house.states()[-1] == "dropped"
    assert len(hook.got) == 5


def test_an_alarm_that_has_returned_is_not_told_again(house, run, hook, clock):
    """Back to normal: the repeat that was due is dropped, with the reason beside it."""
    house.owe("phone", "hot", priority="high")
    notifier = run(phone(hook))
    waits_for(house, notifier, 1)
    house.end_alarm()
    clock.forward(minutes=5)
    wait_until(lambda: house.rows("state, why")[-1] == ("dropped", "acknowledged, quiet or returned meanwhile"))
    assert len(hook.got) == 1


def test_an_alarm_that_became_urgent_is_told_again(house, run, hook, clock):
    """Raised to urgent counts like a new urgent alarm: its message repeats, the first one's does not."""
    house.owe("phone", "warm", priority="medium")
    notifier = run(phone(hook))
    wait_until(house.all_sent)
    clock.forward(minutes=20)
    house.owe("phone", "hot", priority="high", state="noted", note="raised", at_ms=clock.ms)
    notifier.wake()
    waits_for(house, notifier, 1)
    clock.forward(minutes=5)
    wait_until(lambda: len(hook.got) == 3)
    assert hook.titles == ["Too dry: warm", "Too dry: hot", "Too dry: hot"]


def test_what_is_not_urgent_is_told_once(house, run, hook):
    """A medium alarm, a return and a note leave nothing owed behind them."""
    house.owe("phone", "a", priority="medium")
    house.owe("phone", "b", priority="high", state="returned")
    house.owe("phone", "c", priority="high", state="noted", note="still")
    run(phone(hook))
    wait_until(house.all_sent)
    assert len(house.states()) == 3


def test_repeats_missed_in_an_outage_do_not_come_in_a_bunch(house, run, hook, clock):
    """A channel down for three hours tells the first message and then keeps the plan from there."""
    hook.answer = lambda request: 503 if clock.ms == NOON_MS else 200
    house.owe("phone", "hot", priority="high")
    notifier = run(phone(hook))
    wait_until(lambda: notifier.status()["phone"].failed >= 1)
    clock.forward(minutes=180)
    waits_for(house, notifier, 1)
    assert len(hook.got) == 1
    assert house.rows("due_ms")[-1] == (NOON_MS + 185 * 60_000,)


def test_the_message_of_an_alarm_that_returned_during_an_outage_is_still_told(house, run, hook, clock):
    """What happened is told, even if it is over: the owner learns of it once."""
    hook.answer = lambda request: 503 if clock.ms == NOON_MS else 200
    house.owe("phone", "hot", priority="high")
    notifier = run(phone(hook))
    wait_until(lambda: notifier.status()["phone"].failed >= 1)
    house.end_alarm()
    house.owe("phone", "cool", state="returned", priority="high")
    clock.forward(minutes=30)
    wait_until(house.all_sent)
    assert hook.titles == ["Too dry: hot", "Too dry: cool"]


def test_repeats_survive_a_crash_between_sending_and_marking(house, run, hook, clock):
    """The next repeat is owed before the last is marked, so no crash can end the chain."""
    faults = {"sent": 10**6}
    house.owe("phone", "hot", priority="high")
    first = run(phone(hook), outbox=lambda: Faulty(house.outbox(), faults))
    wait_until(lambda: len(house.states()) == 2)
    assert first.stop(10)
    assert house.rows("repeat, state") == [(0, "owed"), (1, "owed")]
    run(phone(hook))
    wait_until(lambda: house.states()[0] == "sent")
    assert house.rows("repeat, state") == [(0, "sent"), (1, "owed")]
    assert hook.titles == ["Too dry: hot"] * 2
