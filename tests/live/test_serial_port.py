"""One serial port, through real pseudo-terminals and sockets.

Known traps of the serial library (each measured with it, version 3.5) and the test that would catch it:

- a read with a timeout gives a fragment ("RH=7" of "RH=75.0"): test_a_fragment_is_never_a_value
- the first line after opening is often half a line: test_the_first_line_after_opening_is_dropped,
  test_what_waited_from_before_the_opening_is_thrown_away
- two programs on one port share its bytes: test_a_port_held_by_another_program_says_so,
  test_our_port_is_locked_against_others
- an unplugged port still calls itself open: test_unplugged_and_plugged_in_again_it_reads_on
- asking an unplugged port for waiting bytes raises a bare OSError, emptying it termios.error, which is no
  OSError: test_every_error_of_a_lost_port_ends_in_a_reopening
- the same probe comes back as another device: test_unplugged_and_plugged_in_again_it_reads_on
- a blocked reader does not end by itself: test_stop_frees_a_blocked_reader
- a network port's other end closes: test_a_network_port_is_opened_again_when_its_other_end_closes (in test_network_port.py)
- silence is no error: test_a_silent_probe_is_no_fault
- opening changes the DTR line, which restarts many boards: test_dtr_is_set_before_the_port_opens
"""

import errno
import fcntl
import os
import queue
import subprocess
import sys
import termios
import threading
from pathlib import Path

import pytest
import serial
from ingest_parts import NOW_MS, next_of, opened, until

from chamberwatch.ingest import serial_port
from chamberwatch.ingest.guard import install_thread_guard
from chamberwatch.ingest.packet import Inbox, Packet
from chamberwatch.ingest.serial_port import PortPlan, SerialPort
from chamberwatch.model import Reason

PACK = b'[{"n":"temperature","u":"Cel","v":12.4}]'


def test_whole_lines_become_packets_in_order(pty_pair, read_port):
    """Each whole line is one packet with its source, probe and arrival; CR LF and LF both end a line."""
    port, inbox = read_port(pty_pair.path)
    assert opened(port)
    pty_pair.say(b"half a line\n" + PACK + b"\r\n\r\n" + PACK + b"\nlast\n")
    source = f"serial:{pty_pair.path}"
    assert [next_of(inbox) for _ in range(3)] == [
        Packet(source, "rear", PACK, NOW_MS), Packet(source, "rear", PACK, NOW_MS), Packet(source, "rear", b"last", NOW_MS),
    ]
    assert port.status() == (True, "", 1)


def test_a_fragment_is_never_a_value(pty_pair, read_port, monkeypatch):
    """A line cut in two by a pause longer than the read timeout comes out whole, once its end is there."""
    reads = count_empty_reads(monkeypatch)
    port, inbox = read_port(pty_pair.path)
    assert opened(port)
    pty_pair.say(b"\nT=12.3 RH=7")
    assert until(lambda: reads["empty after data"] >= 3)
    assert inbox.empty()
    pty_pair.say(b"5.0\r\n")
    assert next_of(inbox).payload == b"T=12.3 RH=75.0"


def count_empty_reads(monkeypatch):
    """Shorten the read timeout and count the reads that end without a byte."""
    monkeypatch.setattr(serial_port, "_READ_TIMEOUT_S", 0.02)
    reads = {"empty": 0, "empty after data": 0, "data": 0}
    real = serial.Serial.read

    def read(self, size=1):
        data = real(self, size)
        if data:
            reads["data"] += 1
        elif size == 1:
            reads["empty"] += 1
            reads["empty after data"] += reads["data"] > 0
        return data

    monkeypatch.setattr(serial.Serial, "read", read)
    return reads


def test_a_silent_probe_is_no_fault(pty_pair, read_port, monkeypatch):
    """A probe that says nothing leaves the port open without complaint; the silence rule has to tell."""
    reads = count_empty_reads(monkeypatch)
    port, inbox = read_port(pty_pair.path)
    assert until(lambda: reads["empty"] >= 10)
    assert port.status() == (True, "", 1)
    assert inbox.empty()


def test_the_first_line_after_opening_is_dropped(pty_pair, read_port):
    """What comes up to the first line end may be half a line ("5.1" of "75.1"), so it is no packet."""
    port, inbox = read_port(pty_pair.path)
    assert opened(port)
    pty_pair.say(b'"v":5.1}]\n' + PACK + b"\n")
    assert next_of(inbox).payload == PACK
    assert inbox.empty()


def test_what_waited_from_before_the_opening_is_thrown_away(pty_pair, read_port):
    """Lines that waited in the kernel's buffer are of unknown age and are not read."""
    pty_pair.say(b"old 1\nold 2\nold 3\n")
    port, inbox = read_port(pty_pair.path)
    assert opened(port)
    pty_pair.say(b"\nnew\n")
    assert next_of(inbox).payload == b"new"


def test_unplugged_and_plugged_in_again_it_reads_on(pty_pair, read_port):
    """A pulled probe is a status; plugged in again, as another device under the same name, it is read again."""
    port, inbox = read_port(pty_pair.path)
    assert opened(port)
    pty_pair.say(b"\none\n")
    assert next_of(inbox).payload == b"one"
    first = pty_pair.device
    keep_number_taken = os.open(first, os.O_RDWR | os.O_NOCTTY)
    pty_pair.unplug()
    assert until(lambda: "no such port" in port.status().why)
    assert not port.status().open
    pty_pair.plug()
    os.close(keep_number_taken)
    assert pty_pair.device != first
    assert opened(port, times=2)
    pty_pair.say(b"\ntwo\n")
    assert next_of(inbox).payload == b"two"


def test_a_line_cut_off_by_unplugging_is_never_joined_to_the_next(pty_pair, read_port):
    """What stood before the plug was pulled and what comes after it never make one line."""
    port, inbox = read_port(pty_pair.path)
    assert opened(port)
    pty_pair.say(b"\nwhole\nRH=7")
    assert next_of(inbox).payload == b"whole"
    pty_pair.unplug()
    assert until(lambda: not port.status().open)
    pty_pair.plug()
    assert opened(port, times=2)
    pty_pair.say(b"5.0\nnext\n")
    assert next_of(inbox).payload == b"next"


@pytest.mark.parametrize("error", [termios.error(errno.EIO, "gone"), OSError(errno.EIO, "gone")])
@pytest.mark.parametrize("where", ["reset_input_buffer", "in_waiting", "close"])
def test_every_error_of_a_lost_port_ends_in_a_reopening(pty_pair, read_port, monkeypatch, where, error):
    """Whichever call meets the loss, and with whichever exception, the port is opened again and read."""
    real = getattr(serial.Serial, where)
    failed = threading.Event()

    def fail_once(self):
        if not failed.is_set():
            failed.set()
            if where == "close":
                real(self)
            raise error
        return real.fget(self) if isinstance(real, property) else real(self)

    monkeypatch.setattr(serial.Serial, where, property(fail_once) if where == "in_waiting" else fail_once)
    port, inbox = read_port(pty_pair.path)
    if where == "close":
        assert opened(port)
        pty_pair.unplug()
        assert until(failed.is_set)
        pty_pair.plug()
    elif where == "in_waiting":
        assert opened(port)
        pty_pair.say(b"lost\n")
    assert until(failed.is_set)
    assert opened(port, times=1 if where == "reset_input_buffer" else 2)
    pty_pair.say(b"\nfound\n")
    assert next_of(inbox).payload == b"found"


def test_a_port_missing_at_the_start_is_opened_when_it_comes(pty_pair, read_port):
    """No such port at the start is a status that says so and how to look; the port is opened once it is there."""
    pty_pair.unplug()
    port, inbox = read_port(pty_pair.path)
    assert until(lambda: f"no such port: {pty_pair.path}" in port.status().why)
    assert "/dev/serial/by-id" in port.status().why
    assert port.status().opened_count == 0
    pty_pair.plug()
    assert opened(port)
    pty_pair.say(b"\nhello\n")
    assert next_of(inbox).payload == b"hello"


def test_a_port_held_by_another_program_says_so(pty_pair, read_port):
    """A port that another program has locked is left alone, the status says it is held; freed, it is opened."""
    with serial.Serial(str(pty_pair.path), exclusive=True):
        port, _ = read_port(pty_pair.path)
        assert until(lambda: "held by another program" in port.status().why)
    assert opened(port)


def test_our_port_is_locked_against_others(pty_pair, read_port):
    """While we read a port, another program that asks for the lock does not get it."""
    port, _ = read_port(pty_pair.path)
    assert opened(port)
    other = os.open(pty_pair.path, os.O_RDWR | os.O_NOCTTY)
    with pytest.raises(BlockingIOError):
        fcntl.flock(other, fcntl.LOCK_EX | fcntl.LOCK_NB)
    os.close(other)


def test_a_port_without_permission_says_which_group_to_join(pty_pair):
    """A user who may not open the port reads which group to join."""
    Path(pty_pair.device).chmod(0)
    child = """
import os, sys, time
from chamberwatch.ingest.packet import Inbox
from chamberwatch.ingest.serial_port import PortPlan, SerialPort
port = SerialPort(PortPlan("rear", sys.argv[1]), Inbox(), lambda: 0)
if os.getuid() == 0:
    os.setuid(65534)
port.start()
for _ in range(500):
    time.sleep(0.01)
    if port.status().why != "not started":
        break
print(port.status().why)
"""
    # By the device's own path: the child is nobody and may not enter the folder of this test.
    told = subprocess.run(
        [sys.executable, "-c", child, pty_pair.device], capture_output=True, text=True, check=True, timeout=30,
    ).stdout
    assert f"no permission for {pty_pair.device}: join group dialout" in told


def test_a_file_that_is_no_port_says_so(tmp_path, read_port):
    """A path to a plain file is told as that."""
    file = tmp_path / "notes.txt"
    file.write_text("no port")
    port, _ = read_port(file)
    assert until(lambda: port.status().why == f"{file} is not a serial port")


def test_an_endless_line_is_refused_and_the_next_one_read(pty_pair, read_port):
    """A line beyond the limit becomes one refusal that says how much was dropped; the next line is whole."""
    port, inbox = read_port(pty_pair.path)
    assert opened(port)
    pty_pair.say(b"\n")
    for _ in range(3):
        pty_pair.say(b"x" * 1000)
    pty_pair.say(b"\nnext\n")
    refused = next_of(inbox)
    assert (refused.problem, refused.probe) == (Reason.TOO_LONG, "rear")
    assert refused.payload == b"3000 bytes without a line end"
    assert next_of(inbox) == Packet(f"serial:{pty_pair.path}", "rear", b"next", NOW_MS)


def test_any_noise_leaves_the_port_reading(pty_pair, read_port):
    """Bytes of every value, zeros and high bits included, end no thread; the next line is read."""
    port, inbox = read_port(pty_pair.path)
    assert opened(port)
    pty_pair.say(b"\n" + bytes(b for b in range(256) if b != 0x0A) + b"\nnext\n")
    assert len(next_of(inbox).payload) in (254, 255)
    assert next_of(inbox).payload == b"next"
    assert port.status() == (True, "", 1)


def test_a_full_inbox_makes_the_port_wait_and_loses_nothing(pty_pair, read_port):
    """While the watch loop is behind, the port waits; what it read meanwhile comes after, whole and in order."""
    inbox = Inbox(2)
    port, _ = read_port(pty_pair.path, inbox)
    assert opened(port)
    pty_pair.say(b"\n" + b"".join(b"line %d\n" % n for n in range(100)))
    assert until(inbox.full)
    assert [next_of(inbox).payload for _ in range(100)] == [b"line %d" % n for n in range(100)]


def test_a_port_that_waits_for_the_inbox_still_stops(pty_pair, read_port):
    """A full inbox does not hold up the shutdown."""
    inbox = Inbox(1)
    port, _ = read_port(pty_pair.path, inbox)
    assert opened(port)
    pty_pair.say(b"\none\ntwo\n")
    assert until(inbox.full)
    assert port.stop(5.0)
    assert port.status() == (False, "stopped", 1)


def test_a_stop_in_the_middle_loses_nothing_that_was_read(pty_pair, read_port):
    """Lines that were read together with the one during which the stop came are handed over all the same."""

    class StopsAtTheFirst(Inbox):
        def put(self, item, block=True, timeout=None):
            super().put(item, block, timeout)
            port._stopping.set()

    inbox = StopsAtTheFirst(100)
    port, _ = read_port(pty_pair.path, inbox)
    assert opened(port)
    pty_pair.say(b"\none\ntwo\nthree\n")
    assert [next_of(inbox).payload for _ in range(3)] == [b"one", b"two", b"three"]


def test_stop_frees_a_blocked_reader(pty_pair, monkeypatch):
    """Stopping wakes a reader that waits for bytes; it need not wait for the read to time out."""
    monkeypatch.setattr(serial_port, "_READ_TIMEOUT_S", 3600.0)
    port = SerialPort(PortPlan("rear", str(pty_pair.path)), Inbox(), lambda: NOW_MS)
    port.start()
    assert opened(port)
    assert port.stop(10.0)


def test_stop_before_start_is_harmless(pty_pair):
    """A port that was never started can be stopped."""
    assert SerialPort(PortPlan("rear", str(pty_pair.path)), Inbox(), lambda: NOW_MS).stop()


@pytest.mark.parametrize("level", [True, False])
def test_dtr_is_set_before_the_port_opens(pty_pair, read_port, monkeypatch, level):
    """The DTR line has the planned level from the first moment, so that a board that restarts on it does not."""
    seen = []
    real = serial.Serial.open

    def spy(self):
        seen.append((self.dtr, self.is_open))
        real(self)

    monkeypatch.setattr(serial.Serial, "open", spy)
    port, _ = read_port(pty_pair.path, dtr=level)
    assert opened(port)
    assert seen == [(level, False)]


def test_a_fault_of_our_own_is_not_taken_for_an_unplugged_probe(pty_pair):
    """An error in our own code ends the thread in the open, where the guard sees it; it is not retried for ever."""

    class Broken(queue.Queue):
        def put(self, item, block=True, timeout=None):
            raise RuntimeError("a bug")

    deaths = []
    restore = install_thread_guard(deaths.append)
    try:
        port = SerialPort(PortPlan("rear", str(pty_pair.path)), Broken(), lambda: NOW_MS)
        port.start()
        assert opened(port)
        pty_pair.say(b"\nline\n")
        assert until(lambda: deaths) == ["thread 'serial rear' died: RuntimeError: a bug"]
    finally:
        restore()
