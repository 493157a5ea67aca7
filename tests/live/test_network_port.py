"""A probe behind a network port (`socket://`), through real sockets."""

import itertools
import os
import socket

import pytest
from ingest_parts import free_port, next_of, opened, until

from chamberwatch.ingest import serial_port


@pytest.fixture
def far_end():
    """Return a listening socket that stands for a board with a network port."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(10)
        yield server


def url_of(server):
    """Return the URL of a network port there."""
    return f"socket://127.0.0.1:{server.getsockname()[1]}"


def test_a_network_port_is_opened_again_when_its_other_end_closes(far_end, read_port):
    """A closed connection is a lost port: a status, then a new opening; half a line of the old one is dropped."""
    port, inbox = read_port(url_of(far_end))
    for n in (1, 2):
        board, _ = far_end.accept()
        with board:
            assert opened(port, times=n)
            board.sendall(b"half\nline %d\nRH=7" % n)
            assert next_of(inbox).payload == b"line %d" % n
    assert until(lambda: "closed the connection" in port.status().why or port.status().opened_count > 2)


def test_a_network_port_notices_a_board_that_lost_power(far_end, read_port, monkeypatch):
    """The kernel is told to test a silent connection: a board without power closes nothing."""
    kept = []
    real = serial_port._keep_alive

    def spy(fd):
        real(fd)
        with socket.socket(fileno=os.dup(fd)) as twin:
            kept.append(twin.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE))
            kept.append(twin.getsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPIDLE))

    monkeypatch.setattr(serial_port, "_keep_alive", spy)
    port, _ = read_port(url_of(far_end))
    assert opened(port)
    assert kept == [1, 60]


def test_a_network_port_where_nothing_listens_says_so(read_port):
    """A refused connection is told with its address."""
    number = free_port()
    port, _ = read_port(f"socket://127.0.0.1:{number}")
    assert until(lambda: port.status().why == f"nothing listens at 127.0.0.1:{number}")


def test_the_pauses_grow_until_a_byte_was_read(far_end, read_port, monkeypatch):
    """A port that opens and is lost at once, over and over, is tried more and more seldom."""
    begun = []

    def counting():
        begun.append(1)
        return itertools.repeat(0.01)

    monkeypatch.setattr(serial_port, "backoff_s", counting)
    port, inbox = read_port(url_of(far_end))
    for _ in range(3):
        far_end.accept()[0].close()
    assert until(lambda: port.status().opened_count >= 3)
    assert len(begun) == 1
    board, _ = far_end.accept()
    with board:
        assert opened(port, times=4)
        board.sendall(b"\nline\n")
        assert next_of(inbox).payload == b"line"
    assert len(begun) > 1
