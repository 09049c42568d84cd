"""Whom to trust: one SSL context for all controllers that are trusted in the same way.

A context costs hundreds of kilobytes with the system's authorities loaded; a fleet of ten thousand controllers shares
the two or three that it needs. Host names and IP addresses are matched against the certificate by the ssl module
itself (RFC 9110 4.3.4); it sends no server name indication for an IP address (RFC 6066 3).
"""

from __future__ import annotations

import hashlib
import hmac
import ssl
from functools import lru_cache
from pathlib import Path

from collector.redfish.errors import Untrusted
from collector.settings import ControllerSettings


def context_for(settings: ControllerSettings) -> ssl.SSLContext | None:
    """The shared context for one controller; None where it is reached without TLS.

    Raises :class:`Untrusted` where its CA file holds no certificate.
    """
    if settings.url.startswith("http://"):
        return None
    if settings.fingerprint is not None or settings.insecure:
        return _unchecked()
    try:
        return _checked(settings.ca_file)
    except (OSError, ssl.SSLError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise Untrusted(settings.name, settings.url, f"ca_file can't be used: {reason}") from error


def check_fingerprint(settings: ControllerSettings, certificate: bytes | None) -> None:
    """Compare the DER certificate presented with the pinned one; raises :class:`Untrusted` when it is another.

    A pin replaces every other check, the dates too: it names one certificate.
    """
    if settings.fingerprint is None:
        return
    found = "sha256:" + hashlib.sha256(certificate or b"").hexdigest()
    if certificate is None or not hmac.compare_digest(found, settings.fingerprint):
        detail = f"it presents {found}" if certificate else "it presents no certificate"
        raise Untrusted(settings.name, settings.url, f"{detail}, the fleet file says {settings.fingerprint}")


@lru_cache(maxsize=256)
def _checked(ca_file: Path | None) -> ssl.SSLContext:
    return ssl.create_default_context(cafile=ca_file)


@lru_cache(maxsize=1)
def _unchecked() -> ssl.SSLContext:
    context = ssl.create_default_context()
    context.check_hostname = False
    context.verify_mode = ssl.CERT_NONE
    return context
