"""The broker connection over TLS, against a real mosquitto with certificates made here by openssl.

Each refusal that the TLS library gives is told in words that name the remedy, and none of them is final: the
link comes up by itself once the cause is gone.
"""

import gc
import shutil
import ssl
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from ingest_parts import until

from chamberwatch.errors import SettingsError
from chamberwatch.ingest.broker import BrokerLink
from chamberwatch.ingest.broker_plan import BrokerPlan, connect_later, make_client
from chamberwatch.ingest.packet import Inbox, Packet

pytestmark = [
    pytest.mark.external,
    # The MQTT library leaves the socket of a failed handshake to the garbage collector, which closes it (checked:
    # 200 failures leave no descriptor open).
    pytest.mark.filterwarnings("ignore:Exception ignored in. <ssl.SSLSocket:pytest.PytestUnraisableExceptionWarning"),
]

AUTHORITY_CONF = """
[ca]
default_ca = own
[own]
database = {folder}/index.txt
new_certs_dir = {folder}
rand_serial = yes
default_md = sha256
policy = any
copy_extensions = copy
unique_subject = no
[any]
commonName = supplied
"""


class Authority:
    """A certificate authority of our own in one folder."""

    def __init__(self, folder):
        folder.mkdir()
        self.folder = folder
        self.certificate = folder / "authority.pem"
        (folder / "index.txt").touch()
        (folder / "ca.conf").write_text(AUTHORITY_CONF.format(folder=folder))
        self._openssl(
            "req", "-x509", *self._new_key("authority"), "-days", "30", "-subj", "/CN=Cellar authority", "-out", self.certificate,
        )

    def _openssl(self, *args):
        done = subprocess.run([shutil.which("openssl"), *map(str, args)], capture_output=True, text=True, timeout=60, check=False)
        assert done.returncode == 0, done.stderr

    def _new_key(self, name):
        return ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-keyout", self.folder / f"{name}.key"]

    def certify(self, start=timedelta(days=-2), end=timedelta(days=9)):
        """Make out a certificate to `localhost`, valid from now + `start` to now + `end`."""
        asked, given = self.folder / "broker.csr", self.folder / "broker.pem"
        self._openssl(
            "req", *self._new_key("broker"), "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost", "-out", asked,
        )
        dates = [(datetime.now(UTC) + span).strftime("%Y%m%d%H%M%SZ") for span in (start, end)]
        self._openssl(
            "ca", "-batch", "-config", self.folder / "ca.conf", "-cert", self.certificate, "-keyfile", self.folder / "authority.key",
            "-startdate", dates[0], "-enddate", dates[1], "-in", asked, "-out", given, "-notext",
        )

    def settings(self):
        """Return the broker's settings that use the certificate."""
        return [f"certfile {self.folder}/broker.pem", f"keyfile {self.folder}/broker.key"]


@pytest.fixture
def authority(tmp_path):
    """Return a certificate authority of our own."""
    return Authority(tmp_path / "authority")


@pytest.fixture
def link_over_tls():
    """Return a factory that starts a link with TLS; all are stopped at the end."""
    links = []

    def start(port, certificate, host="localhost", client_id="tls"):
        plan = BrokerPlan(host=host, port=port, tls_ca=certificate, client_id=client_id, topics={"cellar/front": "front"})
        inbox = Inbox()
        link = BrokerLink(plan, inbox, lambda: 0)
        links.append(link)
        link.start()
        return link, inbox

    yield start
    for link in links:
        assert link.stop()


def test_a_certificate_made_out_to_the_name_is_accepted(mosquitto, authority, link_over_tls):
    """With the right authority and name the link comes up, messages come, and a forced reconnect works over TLS too."""
    authority.certify()
    broker = mosquitto(authority.settings())
    link, inbox = link_over_tls(broker.port, authority.certificate)
    assert until(lambda: link.status().connected)
    assert link.publish("cellar/front", b"one")
    taken = []
    until(lambda: taken.append(inbox.get(timeout=5)) or isinstance(taken[-1], Packet))
    assert taken[-1].payload == b"one"
    link.reconnect()
    assert until(lambda: link.status().connected_count == 2)
    until(lambda: taken.append(inbox.get(timeout=5)) or isinstance(taken[-1], Packet))
    assert taken[-1].payload == b"one"


def test_a_certificate_for_another_name_is_told(mosquitto, authority, link_over_tls):
    """An address instead of the name the certificate was made for is refused, with what to use instead."""
    authority.certify()
    broker = mosquitto(authority.settings())
    link, _ = link_over_tls(broker.port, authority.certificate, host="127.0.0.1")
    assert until(lambda: "made out to another name than '127.0.0.1'" in link.status().why)


def test_a_certificate_of_a_stranger_is_told(mosquitto, authority, link_over_tls, tmp_path):
    """A certificate that another authority signed is refused, and the setting to look at is named."""
    authority.certify()
    broker = mosquitto(authority.settings())
    link, _ = link_over_tls(broker.port, Authority(tmp_path / "stranger").certificate)
    assert until(lambda: "is tls_ca the authority that signed it?" in link.status().why)


def test_a_certificate_not_valid_yet_asks_for_the_clock_and_heals(mosquitto, authority, link_over_tls):
    """A board whose clock is behind finds no certificate valid yet; it is told so and connects once that has passed."""
    authority.certify(start=timedelta(days=3))
    broker = mosquitto(authority.settings())
    link, _ = link_over_tls(broker.port, authority.certificate)
    assert until(lambda: link.status().why == "the broker's certificate is not valid yet: is this machine's clock right?")
    authority.certify()
    broker.restart()
    assert until(lambda: link.status().connected)


def test_a_certificate_that_has_expired_is_told(mosquitto, authority, link_over_tls):
    """An expired certificate is told as that."""
    authority.certify(start=timedelta(days=-9), end=timedelta(days=-1))
    broker = mosquitto(authority.settings())
    link, _ = link_over_tls(broker.port, authority.certificate)
    assert until(lambda: "has expired" in link.status().why)


def descriptors():
    """Return how many files and sockets this process has open."""
    return len(list(Path("/proc/self/fd").iterdir()))


def test_refused_certificates_leave_no_descriptors_open(mosquitto, authority):
    """A board whose clock is wrong tries for hours: 200 failed handshakes leave nothing behind."""
    authority.certify(start=timedelta(days=3))
    broker = mosquitto(authority.settings())
    plan = BrokerPlan(host="localhost", port=broker.port, tls_ca=authority.certificate)
    client = make_client(plan)
    connect_later(client, plan)
    before = descriptors()
    for _ in range(200):
        with pytest.raises(ssl.SSLCertVerificationError):
            client.reconnect()
    gc.collect()
    assert descriptors() <= before


def test_a_port_without_tls_is_told(mosquitto, authority, link_over_tls):
    """TLS towards a plain port is told in words that name the port."""
    authority.certify()
    broker = mosquitto()
    link, _ = link_over_tls(broker.port, authority.certificate)
    words = ("does not speak TLS as expected", "closed the connection", "no connection to the broker")
    assert until(lambda: any(w in link.status().why for w in words))
    assert f"localhost:{broker.port}" in link.status().why


@pytest.mark.parametrize("content", [None, "no certificate"])
def test_a_missing_or_empty_authority_file_is_a_fault_of_the_settings(tmp_path, content):
    """A tls_ca file that is not there or holds no certificate is refused at once, with its path."""
    file = tmp_path / "authority.pem"
    if content is not None:
        file.write_text(content)
    with pytest.raises(SettingsError, match=r"broker tls_ca '.*authority\.pem' cannot be used"):
        BrokerLink(BrokerPlan(tls_ca=file), Inbox(), lambda: 0)
