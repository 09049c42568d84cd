"""Everything that can befall a talk with a controller.

::

    ControllerError
    ├── Unreachable      no connection: refused, reset, no route, name not found
    ├── TimedOut         no answer in time
    ├── Untrusted        the certificate is not the one expected; nothing was sent
    ├── LoginRefused     the account, or the session made with it, is not let in
    ├── ForeignOrigin    a link or redirect leads away from the controller; not followed
    ├── HttpStatus       an answer with a status that is no success
    └── Malformed        an answer that is not what the standard lets a service send
        ├── BrokenHttp   not HTTP/1.1
        ├── Truncated    the answer ended before its end
        ├── TooBig       more bytes than we take
        ├── TooDeep      JSON nested deeper than we take
        └── NotJson      not a JSON object

Each says which controller, which resource, what happened and what to do next, in one line that is safe to show.
Misuse by our own code is a ``ValueError`` or ``RuntimeError`` instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from collector.model import DefectKind, Outcome
from collector.text import plain


class ControllerError(Exception):
    """Root of the tree. ``resource`` is a path (or an origin where it is about the connection as a whole)."""

    outcome: Outcome = Outcome.MALFORMED
    """How a round ends that fails with this."""
    defect: DefectKind | None = None
    """What it makes of one resource; None where it is about the controller as a whole."""
    what: ClassVar[str] = "failed"
    advice: ClassVar[str] = "see the log of the controller"

    def __init__(self, controller: str, resource: str, detail: str = "", advice: str | None = None) -> None:
        self.controller = controller
        self.resource = plain(resource)
        self.detail = plain(detail)
        self.next_step = self.advice if advice is None else advice
        super().__init__(controller, resource, detail)

    @property
    def happened(self) -> str:
        """What happened, without the place and the advice."""
        return f"{self.what}: {self.detail}" if self.detail else self.what

    @property
    def line(self) -> str:
        """The message without the controller's name, for where that stands beside it."""
        return f"{self.resource}: {self.happened}; {self.next_step}"

    def __str__(self) -> str:
        return f"{self.controller}: {self.line}"


class Unreachable(ControllerError):
    """No connection, or one that broke before an answer began."""

    outcome = Outcome.UNREACHABLE
    what = "no connection"
    advice = "check that the controller has power and network, and that the fleet file has its right address"


class TimedOut(ControllerError):
    """No connection or no whole answer within the time given."""

    outcome = Outcome.TIMED_OUT
    what = "no answer in time"
    advice = "check whether the controller is overloaded or hung; a longer collector.deadline gives it more time"


class Untrusted(ControllerError):
    """The certificate is not the one that the fleet file lets us trust."""

    outcome = Outcome.UNTRUSTED
    what = "certificate not trusted"
    advice = "check that it is the right machine, then the ca_file or fingerprint of this controller in the fleet file"


class LoginRefused(ControllerError):
    """The service does not let us in: wrong account, locked account, or none given where one is asked for."""

    outcome = Outcome.LOGIN_REFUSED
    what = "login refused"
    advice = "check the account on the controller and its entry under [credentials] in the fleet file"


class ForeignOrigin(ControllerError):
    """A link or redirect leads to another scheme, host or port."""

    defect = DefectKind.FOREIGN_LINK
    what = "leads to another origin"
    advice = "links out of a controller are never followed; have its address or firmware corrected"


class Malformed(ControllerError):
    """An answer that is not what the standard lets a service send."""

    defect = DefectKind.HTTP_ERROR
    what = "malformed answer"
    advice = "check that a Redfish service answers at this address, and its firmware"


class BrokenHttp(Malformed):
    """Bytes that are not an HTTP/1.1 response."""

    what = "not HTTP/1.1"


class Truncated(Malformed):
    """The connection ended, or the compressed stream did, before the answer did."""

    what = "answer cut short"


class TooBig(Malformed):
    """More bytes, or more resources, than we take."""

    defect = DefectKind.TOO_BIG
    what = "too big"


class TooDeep(Malformed):
    """JSON nested deeper than we take."""

    defect = DefectKind.TOO_DEEP
    what = "nested too deeply"


class NotJson(Malformed):
    """A body that is not one JSON object in UTF-8."""

    defect = DefectKind.NOT_JSON
    what = "not a JSON object"


class HttpStatus(ControllerError):
    """A status that is no success. ``keys`` holds the message keys told, e.g. ``SessionLimitExceeded``."""

    what = "HTTP status"
    advice = "see the message of the controller"

    def __init__(
        self,
        controller: str,
        resource: str,
        status: int,
        message: str = "",
        *,
        keys: Sequence[str] = (),
        retry_after: str | None = None,
    ) -> None:
        self.status = status
        self.message = plain(message)
        self.keys = tuple(keys)
        self.retry_after = retry_after
        """The Retry-After header as told: seconds or a date (RFC 9110 10.2.3)."""
        super().__init__(controller, resource, f"{status} {self.message}".rstrip(), _STATUS_ADVICE.get(status))
        self.outcome = _outcome_of(status)
        self.defect = DefectKind.DANGLING_LINK if status in (404, 410) else DefectKind.HTTP_ERROR

    @property
    def temporary(self) -> bool:
        """Whether asking again later may well succeed."""
        return self.status in _TEMPORARY


_TEMPORARY = frozenset({408, 429, 500, 502, 503, 504})
_STATUS_ADVICE = {
    401: LoginRefused.advice,
    403: "give the account of this controller the right to read",
    404: "have the link that leads here corrected, or wait for the next walk if the part was taken out",
    429: "the controller asks for patience; poll it less often if this goes on",
    503: "the controller asks for patience; look whether it restarts or updates",
}


def _outcome_of(status: int) -> Outcome:
    if status in (401, 403):
        return Outcome.LOGIN_REFUSED
    return Outcome.UNAVAILABLE if status in _TEMPORARY else Outcome.MALFORMED
