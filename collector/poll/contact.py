"""Notes how the contact with one controller stands, and says when that is news."""

from __future__ import annotations

from msgspec import structs

from collector.model import Contact, EventsBy, Login, Seconds
from collector.poll.events import Events
from collector.redfish.certificates import certificate
from collector.redfish.client import Client
from collector.redfish.session import Way

CLOCK_GRAIN = 2.0
"""Seconds by which a clock's offset must move to be told between two walks: a Date header tells whole seconds."""


class ContactNote:
    """What was told last of one controller's contact. ``now`` is passed in; nothing here costs more than a look."""

    def __init__(self, client: Client, events: Events | None) -> None:
        self._client = client
        self._events = events
        self._told: Contact | None = None
        self._logins = 0
        self._since: Seconds | None = None
        self._presented: bytes | None = None
        self._fingerprint: str | None = None
        self._expires: Seconds | None = None
        self._offset: float | None = None

    def news(
        self,
        now: Seconds,
        *,
        clock_offset: float | None = None,
        refusals: int = 0,
        next_login: Seconds | None = None,
    ) -> Contact | None:
        """How it stands, where that differs from what was told last. ``clock_offset``: None where not read."""
        self._look_at_certificate()
        client = self._client
        if client.logins != self._logins or client.way is not Way.SESSION:
            self._logins = client.logins
            self._since = now if client.way is Way.SESSION else None
        if clock_offset is not None and (self._offset is None or abs(clock_offset - self._offset) > CLOCK_GRAIN):
            self._offset = clock_offset
        contact = Contact(
            login=Login(client.way.value),
            session_since=self._since,
            session_table_full=client.crowded is not None,
            refusals=refusals,
            next_login=next_login,
            fingerprint=self._fingerprint,
            expires=self._expires,
            clock_offset=self._offset,
        )
        if self._events is not None:
            contact = structs.replace(
                contact,
                events=EventsBy(self._events.way.kind.value),
                events_since=self._events.open_since,
                subscription=self._events.subscription,
            )
        if contact == self._told:
            return None
        self._told = contact
        return contact

    def _look_at_certificate(self) -> None:
        presented = self._client.certificate
        if presented is not None and presented is not self._presented:
            same = presented == self._presented
            self._presented = presented
            if not same:
                facts = certificate(presented)
                self._fingerprint, self._expires = facts.fingerprint, facts.not_after
