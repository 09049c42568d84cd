"""The simulator's certificates, judged by the TLS library's own verification."""

from __future__ import annotations

import datetime
import hashlib
import ipaddress
import socket
import ssl
import threading
import time
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec

from simulators.service.trust import Authority, Credentials

NOW = time.time()


def handshake(credentials: Credentials, client: ssl.SSLContext, name: str) -> bytes:
    """Connect over a socket pair; returns the DER certificate that the client was shown and accepted."""
    ours, theirs = socket.socketpair()
    context = credentials.server_context()

    def serve() -> None:
        with theirs:
            try:
                context.wrap_socket(theirs, server_side=True).close()
            except (ssl.SSLError, OSError):
                return  # the client's side tells

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        with ours, client.wrap_socket(ours, server_hostname=name) as tls:
            shown = tls.getpeercert(binary_form=True)
            assert shown is not None
            assert (tls.version() or "") in ("TLSv1.2", "TLSv1.3")
            return shown
    finally:
        thread.join()


def client_of(authority: Authority) -> ssl.SSLContext:
    context = ssl.create_default_context(cadata=authority.pem.decode())
    # what newer Pythons check by default (RFC 5280): key identifiers, key usage, critical constraints
    context.verify_flags |= ssl.VERIFY_X509_STRICT
    return context


@pytest.mark.parametrize("name", ["127.0.0.1", "localhost"])
def test_a_certificate_is_good_for_its_names_under_strict_verification(name: str) -> None:
    authority = Authority("test CA", NOW)
    credentials = authority.issue("r01-e1-s1")
    shown = handshake(credentials, client_of(authority), name)
    assert credentials.fingerprint == "sha256:" + hashlib.sha256(shown).hexdigest()


def test_another_name_another_ca_and_an_expired_certificate_are_refused() -> None:
    authority = Authority("test CA", NOW)
    good = authority.issue("r01-e1-s1")
    with pytest.raises(ssl.SSLCertVerificationError, match="not valid for"):
        handshake(good, client_of(authority), "example.test")
    with pytest.raises(ssl.SSLCertVerificationError):
        handshake(good, client_of(Authority("other CA", NOW)), "127.0.0.1")
    with pytest.raises(ssl.SSLCertVerificationError, match="expired"):
        handshake(authority.issue("r01-e1-s1", days=-1.0), client_of(authority), "127.0.0.1")


def test_what_stands_in_a_certificate() -> None:
    authority = Authority("test CA", NOW)
    first, second = authority.issue("r01-e1-s1"), authority.issue("r01-e1-s2", "::1")
    key = first.certificate.public_key()
    assert isinstance(key, ec.EllipticCurvePublicKey)
    assert isinstance(key.curve, ec.SECP256R1)
    names = first.certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert names.get_values_for_type(x509.IPAddress) == [ipaddress.ip_address("127.0.0.1")]
    assert names.get_values_for_type(x509.DNSName) == ["localhost"]
    assert first.certificate.serial_number != second.certificate.serial_number
    assert first.fingerprint != second.fingerprint
    assert first.certificate.not_valid_after_utc - first.certificate.not_valid_before_utc > datetime.timedelta(days=1)


def test_no_key_is_left_on_disk(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    Authority("test CA", NOW).issue("r01-e1-s1").server_context()
    assert list(tmp_path.iterdir()) == []
