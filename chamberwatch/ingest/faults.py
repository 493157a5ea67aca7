"""Why a port or a broker cannot be used, in words that say what to do about it (pure).

Rules for this file: an error in, one line out; never a password; an error not foreseen here still gives its
own text, so that nothing is hidden behind "something went wrong".
"""

from __future__ import annotations

import errno
import socket
import ssl
import termios
from collections.abc import Iterator

_NO_PORT = "no such port: {url} (is the probe plugged in? `ls -l /dev/serial/by-id` lists what is)"
_FORBIDDEN = "no permission for {url}: join group dialout (`sudo usermod -aG dialout $USER`) and log in again"
_HELD = "{url} is held by another program: only one can read a port, so close the other"
_NO_SERIAL = "{url} is not a serial port"
_DEAD = "{url} does not answer: was the probe unplugged?"
_PORT_FAULTS = {
    errno.ENOENT: _NO_PORT,
    errno.ENOTDIR: _NO_PORT,
    errno.EACCES: _FORBIDDEN,
    errno.EPERM: _FORBIDDEN,
    errno.EAGAIN: _HELD,
    errno.EBUSY: _HELD,
    errno.ENOTTY: _NO_SERIAL,
    errno.EINVAL: _NO_SERIAL,
    errno.EISDIR: _NO_SERIAL,
    errno.EIO: _DEAD,
    errno.ENXIO: _DEAD,
    errno.ENODEV: _DEAD,
}
_UNREACHABLE = {errno.EHOSTUNREACH, errno.ENETUNREACH, errno.ENETDOWN, errno.EHOSTDOWN}

# MQTT 5.0 (OASIS Standard, 2019), tables 3-1 and 3-10: reason codes of CONNACK and DISCONNECT. From memory.
UNSUPPORTED_PROTOCOL, CLIENT_ID_REFUSED, BAD_LOGIN, NOT_AUTHORIZED = 0x84, 0x85, 0x86, 0x87
SERVER_UNAVAILABLE, SERVER_BUSY, SHUTTING_DOWN, TAKEN_OVER = 0x88, 0x89, 0x8B, 0x8E


def _chain(error: BaseException) -> Iterator[BaseException]:
    seen: BaseException | None = error
    while seen is not None:
        yield seen
        seen = seen.__cause__ or seen.__context__


def _number_of(error: BaseException) -> int | None:
    # The serial library wraps what it caught, often without its number; and termios.error is no OSError.
    for link in _chain(error):
        if isinstance(link, OSError) and link.errno is not None:
            return link.errno
        if isinstance(link, termios.error) and link.args:
            return int(link.args[0])
    return None


def say_port_fault(error: BaseException, url: str) -> str:
    """Say why the serial port `url` cannot be opened."""
    if "://" in url:
        return _say_network_fault(error, url.partition("://")[2]) or f"{url}: {error}"
    number = _number_of(error)
    fault = _PORT_FAULTS.get(number) if number is not None else None
    return fault.format(url=url) if fault else f"{url}: {error}"


def say_port_lost(error: BaseException, url: str) -> str:
    """Say why the serial port `url`, which was open, is no longer."""
    if "://" in url:
        address = url.partition("://")[2]
        return _say_network_fault(error, address) or f"{address} closed the connection"
    return f"{url} went away: was the probe unplugged?"


def say_broker_fault(error: BaseException | None, host: str, port: int) -> str:
    """Say why no connection to the broker at `host`:`port` comes about."""
    address = f"{host}:{port}"
    if isinstance(error, ssl.SSLCertVerificationError):
        return _say_certificate_fault(error, host)
    if isinstance(error, ssl.SSLError):
        return f"{address} does not speak TLS as expected ({error}): is that the broker's TLS port?"
    known = _say_network_fault(error, address) if error is not None else None
    return known or f"no connection to the broker at {address}" + (f": {error}" if error is not None else "")


def _say_network_fault(error: BaseException, address: str) -> str | None:
    if any(isinstance(link, socket.gaierror) for link in _chain(error)):
        host = address.rpartition(":")[0] or address
        return f"no machine called {host} is known: check the name and the network"
    if any(isinstance(link, TimeoutError) for link in _chain(error)):
        return f"no answer from {address}: is that machine on, and the address right?"
    number = _number_of(error)
    if number == errno.ECONNREFUSED:
        return f"nothing listens at {address}"
    if number in _UNREACHABLE:
        return f"{address} cannot be reached: is the network up?"
    return None


def _say_certificate_fault(error: ssl.SSLCertVerificationError, host: str) -> str:
    said = error.verify_message
    if "not yet valid" in said:
        return "the broker's certificate is not valid yet: is this machine's clock right?"
    if "expired" in said:
        return "the broker's certificate has expired: renew it (or is this machine's clock wrong?)"
    if "mismatch" in said or "not valid for" in said:
        return f"the broker's certificate is made out to another name than {host!r}: use that name"
    return f"the broker's certificate is not trusted ({said}): is tls_ca the authority that signed it?"


def say_refusal(code: int, name: str, *, username: str | None, client_id: str) -> str:
    """Say why the broker refused or ended the connection: MQTT 5.0 reason `code`, `name` as a fallback."""
    if code in (BAD_LOGIN, NOT_AUTHORIZED):
        if username is None:
            return "the broker wants a user name and password"
        return f"the broker refused the password (or the user name {username!r})"
    return {
        UNSUPPORTED_PROTOCOL: "the broker does not speak MQTT 5",
        CLIENT_ID_REFUSED: f"the broker refused the client id {client_id!r}",
        SERVER_UNAVAILABLE: "the broker says it is not available",
        SERVER_BUSY: "the broker says it is too busy",
        SHUTTING_DOWN: "the broker is shutting down",
        TAKEN_OVER: f"another program connects with our client id {client_id!r}: each must have its own",
    }.get(code, f"the broker refused: {name}")
