"""How the collector's contact with a controller stands: the telemetry's own health, beside what it tells."""

from __future__ import annotations

from enum import StrEnum

from msgspec import Struct, structs

from collector.model.words import Seconds


class Login(StrEnum):
    """How requests are authenticated right now."""

    NOT_YET = "not logged in"
    NONE = "none"
    """The fleet file gives no credentials."""
    SESSION = "session"
    BASIC = "basic"
    """With the password in every request: the service has no sessions, or no room for one more."""


class EventsBy(StrEnum):
    """The way by which a controller's own events come."""

    STREAM = "event stream"
    PUSH = "push"
    LOGS = "logs"
    NONE = "none"


class Contact(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What is known of the contact with one controller. Told with a walk, and in between where it changes."""

    login: Login = Login.NOT_YET
    session_since: Seconds | None = None
    """Since when our one session is open; None without one."""
    session_table_full: bool = False
    """Whether the service had no room for a session of ours."""
    refusals: int = 0
    """Refused logins in a row."""
    next_login: Seconds | None = None
    """When a refused login is tried again, at the earliest; None where none was refused."""
    fingerprint: str | None = None
    """Of the certificate that it presented last, ``sha256:…``; None without TLS."""
    expires: Seconds | None = None
    """When that certificate expires (notAfter)."""
    clock_offset: float | None = None
    """Its clock less ours, s; None where it tells no time. Told anew when it moves by more than 2 s."""
    events: EventsBy = EventsBy.NONE
    events_since: Seconds | None = None
    """Since when the stream is open or the subscription stands; None where there is neither."""
    subscription: str | None = None
    """Path of our one subscription at the service."""

    def left(self) -> Contact:
        """What still holds once the collector has taken leave: sessions and subscriptions are deleted then."""
        return structs.replace(
            self,
            login=Login.NOT_YET,
            session_since=None,
            events=EventsBy.NONE,
            events_since=None,
            subscription=None,
            next_login=None,
        )
