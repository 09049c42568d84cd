"""What probing a controller found, as plain facts: no judgement, no I/O, nothing secret.

:mod:`collector.redfish.probe` gathers them, :mod:`collector.redfish.verdicts` says what they mean.
"""

from __future__ import annotations

from enum import StrEnum

from msgspec import Struct

from collector.model import Outcome, Seconds
from collector.redfish.errors import ControllerError
from collector.redfish.resources import ClockRead
from collector.redfish.session import Way


class Trust(StrEnum):
    """What the fleet file says to trust a controller by."""

    SYSTEM = "the system's authorities"
    CA_FILE = "ca_file"
    PIN = "fingerprint"
    UNCHECKED = "insecure = true"
    NO_TLS = "http"


class Failure(Struct, frozen=True, kw_only=True):
    """An error of :mod:`collector.redfish.errors`, kept."""

    kind: str
    """Name of its class."""
    outcome: Outcome
    resource: str
    happened: str
    to_do: str

    @classmethod
    def of(cls, error: ControllerError) -> Failure:
        """What is kept of an error."""
        return cls(
            kind=type(error).__name__,
            outcome=error.outcome,
            resource=error.resource,
            happened=error.happened,
            to_do=error.next_step,
        )


class Resolved(Struct, frozen=True, kw_only=True):
    """Name resolution."""

    host: str
    literal: bool
    """Whether the fleet file gives an address, so that there was nothing to resolve."""
    addresses: tuple[str, ...] = ()
    seconds: float = 0.0
    error: str = ""
    timed_out: bool = False


class Connected(Struct, frozen=True, kw_only=True):
    """TCP connections: the addresses that failed, up to the first that did not."""

    port: int
    address: str | None = None
    """That answered; None where none did."""
    seconds: float = 0.0
    refused: tuple[tuple[str, str], ...] = ()
    """(address, what the system said) of those tried before it."""
    timed_out: bool = False
    """Whether the time ran out on the last one."""


class Certificate(Struct, frozen=True, kw_only=True):
    """What a controller's certificate says of itself: untrusted text, made safe to show."""

    fingerprint: str
    """``sha256:`` and 64 hexadecimal digits of the DER form."""
    subject: str = ""
    issuer: str = ""
    names: tuple[str, ...] = ()
    """Host names and addresses of its subjectAltName."""
    not_before: Seconds | None = None
    not_after: Seconds | None = None
    self_signed: bool = False
    """Whether its own key signed it."""
    unread: str = ""
    """Why it can't be read, with all of the above unknown."""


class Handshake(Struct, frozen=True, kw_only=True):
    """TLS, with the trust that the fleet file configures."""

    trust: Trust
    host: str
    protocol: str | None = None
    """E.g. ``TLSv1.3``; None where no handshake came about."""
    certificate: Certificate | None = None
    """As presented, also where it was not trusted."""
    pinned: str | None = None
    ca_file: str | None = None
    ca_error: str = ""
    """Why the ca_file can't be used."""
    verify_code: int = 0
    """Of OpenSSL (x509_vfy.h); 0 where the chain and the name were found good, or were not to be checked."""
    verify_message: str = ""
    error: str = ""
    """Why there was no handshake at all: a TLS alert, no TLS, a connection cut."""
    timed_out: bool = False
    seconds: float = 0.0

    @property
    def trusted(self) -> bool:
        """Whether the collector would send a request to whom it met."""
        if self.trust is Trust.NO_TLS:
            return True
        if self.certificate is None or self.error or self.ca_error or self.verify_code:
            return False
        return self.trust is not Trust.PIN or self.certificate.fingerprint == self.pinned


class Reached(Struct, frozen=True, kw_only=True):
    """The way to a controller, as far as it was gone."""

    resolved: Resolved
    connected: Connected | None = None
    handshake: Handshake | None = None

    @property
    def good(self) -> bool:
        """Whether requests may be sent."""
        return self.handshake is not None and self.handshake.trusted


class Login(Struct, frozen=True, kw_only=True):
    """Authentication."""

    username: str | None
    """None where the fleet file gives no credentials."""
    way: Way
    proof: str | None = None
    """The resource that was read to see whether the login is good for anything."""
    failure: Failure | None = None
    session_status: int | None = None
    """What the POST of a session was answered with."""
    over_http: bool = False
    """Whether the password went over the wire in the clear."""
    password_mode: int | None = None
    """Permission bits of the password's file, where others than its owner may do anything with it."""
    password_file: str | None = None


class SessionEnd(Struct, frozen=True, kw_only=True):
    """What became of the session in the end."""

    deleted_status: int | None = None
    """What the DELETE was answered with; None where none was sent, or no answer came."""
    sent: bool = False


class Root(Struct, frozen=True, kw_only=True):
    """The service root."""

    version: str | None = None
    product: str | None = None
    vendor: str | None = None
    declares: tuple[str, ...] = ()
    """Protocol features, as :func:`collector.redfish.features.declared` spells them."""
    failure: Failure | None = None
    seconds: float = 0.0


class Service(Struct, frozen=True, kw_only=True):
    """What was learned by asking; None: not asked for, or no answer to be judged by itself."""

    root: Root | None = None
    login: Login | None = None
    clock: ClockRead | None = None
