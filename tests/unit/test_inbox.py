"""The queue between the adapters and the watch loop."""

import queue
import threading

import pytest

from chamberwatch.ingest.packet import Inbox, Packet


def packet(n):
    """Return the n-th packet."""
    return Packet("serial:/dev/x", "rear", b"%d" % n, n)


def test_a_serial_port_waits_for_room():
    """`put` waits while the bound is reached, gives up after its timeout, and goes on once there is room."""
    inbox = Inbox(2)
    inbox.put(packet(0))
    inbox.put(packet(1))
    with pytest.raises(queue.Full):
        inbox.put(packet(2), timeout=0.01)
    assert inbox.get() == packet(0)
    inbox.put(packet(2), timeout=5)
    assert [inbox.get(), inbox.get()] == [packet(1), packet(2)]


def test_a_broker_never_waits():
    """`put_nowait` goes past the bound, keeps the order, and serial ports then wait for all of it to be taken."""
    inbox = Inbox(2)
    for n in range(11_520):
        inbox.put_nowait(packet(n))
    with pytest.raises(queue.Full):
        inbox.put(packet(-1), timeout=0.01)
    assert [inbox.get_nowait().arrived_ms for _ in range(11_520)] == list(range(11_520))


def test_a_waiting_taker_is_woken():
    """Whoever waits for an item gets one that came by `put_nowait`."""
    inbox = Inbox(1)
    taken = []
    taker = threading.Thread(target=lambda: taken.append(inbox.get(timeout=20)))
    taker.start()
    inbox.put_nowait(packet(7))
    taker.join(20)
    assert taken == [packet(7)]


def test_everything_taken_is_accounted_for():
    """`join` ends when every item put by either way was reported done."""
    inbox = Inbox(5)
    inbox.put(packet(1))
    inbox.put_nowait(packet(2))
    for _ in range(2):
        inbox.get()
        inbox.task_done()
    inbox.join()
    assert inbox.unfinished_tasks == 0
