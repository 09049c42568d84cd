"""What a certificate says, whoever presents it: parsed for people, never for trust (the ssl module decides that)."""

from __future__ import annotations

import hashlib
import warnings

from cryptography import x509
from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm

from collector.redfish.facts import Certificate
from collector.text import plain

MAX_NAMES = 20


def certificate(der: bytes) -> Certificate:
    """The facts of a certificate in DER form; one that can't be read says why in ``unread``."""
    fingerprint = "sha256:" + hashlib.sha256(der).hexdigest()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # the library's remarks on odd old certificates are not for our users
            return _parsed(der, fingerprint)
    except (ValueError, TypeError, x509.DuplicateExtension, UnsupportedAlgorithm) as error:
        return Certificate(fingerprint=fingerprint, unread=plain(str(error) or type(error).__name__))


def _parsed(der: bytes, fingerprint: str) -> Certificate:
    told = x509.load_der_x509_certificate(der)
    return Certificate(
        fingerprint=fingerprint,
        subject=plain(told.subject.rfc4514_string()),
        issuer=plain(told.issuer.rfc4514_string()),
        names=_names(told),
        not_before=told.not_valid_before_utc.timestamp(),
        not_after=told.not_valid_after_utc.timestamp(),
        self_signed=_signed_itself(told),
    )


def _names(told: x509.Certificate) -> tuple[str, ...]:
    try:
        alternative = told.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return ()
    names = [*alternative.get_values_for_type(x509.DNSName)]
    names += [str(address) for address in alternative.get_values_for_type(x509.IPAddress)]
    return tuple(plain(name, 80) for name in names[:MAX_NAMES])


def _signed_itself(told: x509.Certificate) -> bool:
    if told.subject != told.issuer:
        return False
    try:
        told.verify_directly_issued_by(told)
    except (InvalidSignature, ValueError, TypeError, UnsupportedAlgorithm):
        return False
    return True
