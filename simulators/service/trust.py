"""The simulator's own certificate authority, and certificates for its services. Good for loopback only."""

from __future__ import annotations

import ssl
import tempfile
from datetime import UTC, datetime
from ipaddress import ip_address
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

_DAY = 86_400.0


class Authority:
    """A certificate authority whose private key never leaves memory. EC P-256 throughout (RFC 5480)."""

    def __init__(self, name: str, now: float, days: float = 90.0) -> None:
        """``now``: epoch seconds from an hour before which it is valid, for ``days``."""
        self._now = now
        self._days = days
        self._key = ec.generate_private_key(ec.SECP256R1())
        self._name = _name(name)
        public = self._key.public_key()
        self._key_id = x509.SubjectKeyIdentifier.from_public_key(public)
        self.certificate = (
            self._draft(self._name, public, days)
            .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
            .add_extension(_usage(sign_certificates=True), critical=True)
            .add_extension(self._key_id, critical=False)
            .sign(self._key, hashes.SHA256())
        )

    @property
    def pem(self) -> bytes:
        """The certificate that clients must trust, as PEM."""
        return self.certificate.public_bytes(serialization.Encoding.PEM)

    def issue(self, name: str, host: str = "127.0.0.1", *, days: float | None = None) -> Credentials:
        """A new key and a certificate for a service called ``name`` at ``host`` and localhost.

        ``days``: validity from now, the authority's own by default; negative: already expired.
        """
        key = ec.generate_private_key(ec.SECP256R1())
        names = [x509.IPAddress(ip_address(host)), x509.DNSName("localhost")]
        certificate = (
            self._draft(_name(name), key.public_key(), self._days if days is None else days)
            .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
            .add_extension(_usage(sign_certificates=False), critical=True)
            .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
            .add_extension(x509.SubjectAlternativeName(names), critical=False)
            .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
            .add_extension(x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(self._key_id), critical=False)
            .sign(self._key, hashes.SHA256())
        )
        return Credentials(key, certificate)

    def _draft(self, subject: x509.Name, key: ec.EllipticCurvePublicKey, days: float) -> x509.CertificateBuilder:
        end = self._now + days * _DAY
        start = min(self._now, end) - 3600.0
        return (
            x509.CertificateBuilder()
            .subject_name(subject)
            .issuer_name(self._name)
            .public_key(key)
            .serial_number(x509.random_serial_number())
            .not_valid_before(datetime.fromtimestamp(start, UTC))
            .not_valid_after(datetime.fromtimestamp(end, UTC))
        )


class Credentials:
    """A service's private key and certificate."""

    def __init__(self, key: ec.EllipticCurvePrivateKey, certificate: x509.Certificate) -> None:
        self._key = key
        self.certificate = certificate

    @property
    def fingerprint(self) -> str:
        """``sha256:`` and 64 lower-case hexadecimal digits of the DER certificate."""
        return "sha256:" + self.certificate.fingerprint(hashes.SHA256()).hex()

    def server_context(self) -> ssl.SSLContext:
        """A TLS 1.2+ server side for this certificate, without session cache or tickets, to keep it small."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        context.options |= ssl.OP_NO_TICKET | ssl.OP_NO_RENEGOTIATION
        context.num_tickets = 0
        context.set_alpn_protocols(["http/1.1"])
        self.load_into(context)
        return context

    def load_into(self, context: ssl.SSLContext) -> None:
        """Let a server side show this certificate from the next connection on."""
        pem = self.certificate.public_bytes(serialization.Encoding.PEM) + self._key.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )
        # the ssl module takes a key only from a file; this one is ours alone and is gone at once
        with tempfile.NamedTemporaryFile() as file:
            Path(file.name).write_bytes(pem)
            context.load_cert_chain(file.name)


def _name(common: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, common)])


def _usage(*, sign_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not sign_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=sign_certificates,
        crl_sign=sign_certificates,
        encipher_only=False,
        decipher_only=False,
    )
