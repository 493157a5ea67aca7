"""The words for what is wrong with a port or a broker."""

import errno
import socket
import ssl
import termios

import pytest
import serial

from chamberwatch.ingest.faults import say_broker_fault, say_port_fault, say_port_lost, say_refusal

PORT = "/dev/serial/by-id/usb-probe"
ADDRESS = "socket://cellar.lan:4001"


def wrapped(error):
    """As the serial library does it: its own exception, raised while handling `error`, without its number."""
    try:
        try:
            raise error
        except type(error):
            raise serial.SerialException(f"could not open port: {error}")  # noqa: B904  as in the library
    except serial.SerialException as outer:
        return outer


@pytest.mark.parametrize(("error", "words"), [
    (serial.SerialException(errno.ENOENT, "x"), f"no such port: {PORT}"),
    (serial.SerialException(errno.ENOTDIR, "x"), f"no such port: {PORT}"),
    (serial.SerialException(errno.EACCES, "x"), "join group dialout"),
    (serial.SerialException(errno.EPERM, "x"), "join group dialout"),
    (serial.SerialException(errno.EAGAIN, "x"), "held by another program"),
    (serial.SerialException(errno.EBUSY, "x"), "held by another program"),
    (wrapped(termios.error(errno.ENOTTY, "x")), "is not a serial port"),
    (OSError(errno.EIO, "x"), "was the probe unplugged?"),
    (termios.error(errno.EIO, "x"), "was the probe unplugged?"),
    (ValueError("Failed to set custom baud rate (7): no"), "Failed to set custom baud rate (7)"),
    (serial.SerialException("never heard of"), f"{PORT}: never heard of"),
])
def test_every_fault_of_a_port_says_what_and_where(error, words):
    """Each error gives its own words and names the port; one not foreseen keeps its own text."""
    said = say_port_fault(error, PORT)
    assert words in said
    assert PORT in said


@pytest.mark.parametrize(("error", "words"), [
    (wrapped(ConnectionRefusedError(errno.ECONNREFUSED, "x")), "nothing listens at cellar.lan:4001"),
    (wrapped(socket.gaierror(-2, "x")), "no machine called cellar.lan is known"),
    (wrapped(TimeoutError("timed out")), "no answer from cellar.lan:4001"),
    (wrapped(OSError(errno.EHOSTUNREACH, "x")), "cellar.lan:4001 cannot be reached"),
    (serial.SerialException("never heard of"), f"{ADDRESS}: never heard of"),
])
def test_every_fault_of_a_network_port_says_what_and_where(error, words):
    """A port behind a network has a network's faults."""
    assert words in say_port_fault(error, ADDRESS)


def test_a_lost_port_asks_for_the_plug():
    """Whatever the library said, a device that was open and is gone was most likely unplugged."""
    assert say_port_lost(serial.SerialException("x"), PORT) == f"{PORT} went away: was the probe unplugged?"
    assert say_port_lost(serial.SerialException("x"), ADDRESS) == "cellar.lan:4001 closed the connection"


@pytest.mark.parametrize(("error", "words"), [
    (ConnectionRefusedError(errno.ECONNREFUSED, "x"), "nothing listens at cellar.lan:1883"),
    (socket.gaierror(-2, "x"), "no machine called cellar.lan is known"),
    (TimeoutError("x"), "no answer from cellar.lan:1883"),
    (OSError(errno.ENETUNREACH, "x"), "is the network up?"),
    (ssl.SSLError(1, "wrong version number"), "TLS port?"),
    (OSError(errno.EMFILE, "too many files"), "no connection to the broker at cellar.lan:1883: [Errno 24] too many files"),
    (None, "no connection to the broker at cellar.lan:1883"),
])
def test_every_fault_of_a_broker_says_what_and_where(error, words):
    """Each error gives its own words and names the address; one not foreseen keeps its own text."""
    said = say_broker_fault(error, "cellar.lan", 1883)
    assert words in said
    assert "cellar.lan" in said


@pytest.mark.parametrize(("code", "username", "words"), [
    (0x87, None, "wants a user name and password"),
    (0x86, "anna", "refused the password (or the user name 'anna')"),
    (0x87, "anna", "refused the password (or the user name 'anna')"),
    (0x84, None, "does not speak MQTT 5"),
    (0x85, None, "refused the client id 'cellar'"),
    (0x88, None, "not available"),
    (0x89, None, "too busy"),
    (0x8B, None, "shutting down"),
    (0x8E, None, "another program connects with our client id 'cellar'"),
    (0x97, None, "the broker refused: Quota exceeded"),
])
def test_every_refusal_of_a_broker_has_its_words(code, username, words):
    """MQTT 5.0 reason codes (OASIS 2019, tables 3-1 and 3-10, numbers from memory) in plain words; others by name."""
    assert words in say_refusal(code, "Quota exceeded", username=username, client_id="cellar")


def test_the_reason_codes_are_the_standards_own():
    """The numbers agree with the MQTT library's table of the standard (paho-mqtt 2)."""
    from paho.mqtt.packettypes import PacketTypes
    from paho.mqtt.reasoncodes import ReasonCode

    from chamberwatch.ingest import faults

    names = {
        faults.UNSUPPORTED_PROTOCOL: "Unsupported protocol version", faults.CLIENT_ID_REFUSED: "Client identifier not valid",
        faults.BAD_LOGIN: "Bad user name or password", faults.NOT_AUTHORIZED: "Not authorized",
        faults.SERVER_UNAVAILABLE: "Server unavailable", faults.SERVER_BUSY: "Server busy",
    }
    for number, name in names.items():
        assert ReasonCode(PacketTypes.CONNACK, name).value == number
    assert ReasonCode(PacketTypes.DISCONNECT, "Server shutting down").value == faults.SHUTTING_DOWN
    assert ReasonCode(PacketTypes.DISCONNECT, "Session taken over").value == faults.TAKEN_OVER
