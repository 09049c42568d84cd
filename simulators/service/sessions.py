"""Who may ask: sessions and basic authentication (DSP0266, "Authentication")."""

from __future__ import annotations

import base64
import hmac
import secrets
from dataclasses import dataclass


class TableFull(Exception):
    """No further session fits; carries the limit."""

    def __init__(self, limit: int) -> None:
        self.limit = limit
        super().__init__(f"all {limit} sessions are taken")


@dataclass(slots=True)
class Session:
    """One session; ``token`` is the secret, ``id`` is not."""

    id: str
    user: str
    token: str
    created: float
    used: float
    client: str


class Account:
    """The one account of a service."""

    __slots__ = ("_basic", "_pair", "user")

    def __init__(self, user: str, password: str) -> None:
        self.user = user
        self._pair = f"{user}:{password}".encode()
        self._basic = b"Basic " + base64.b64encode(self._pair)

    def matches(self, user: str, password: str) -> bool:
        """Whether these are the account's own, compared in constant time."""
        return hmac.compare_digest(f"{user}:{password}".encode(), self._pair)

    def matches_header(self, authorization: str) -> bool:
        """Whether an Authorization header carries the account (RFC 7617)."""
        scheme, _, rest = authorization.partition(" ")
        if scheme.lower() != "basic":
            return False
        return hmac.compare_digest(b"Basic " + rest.strip().encode("latin-1", "replace"), self._basic)


class SessionTable:
    """The open sessions of one service, ``limit`` at most, each ended after ``timeout`` seconds without use."""

    def __init__(self, limit: int, timeout: float) -> None:
        self.limit = limit
        self.timeout = timeout
        self.opened = 0
        """Sessions ever opened."""
        self._by_id: dict[str, Session] = {}
        self._by_token: dict[str, Session] = {}

    def __len__(self) -> int:
        return len(self._by_id)

    def open(self, user: str, client: str, now: float) -> Session:
        """A new session; raises :class:`TableFull`."""
        self.expire(now)
        if len(self._by_id) >= self.limit:
            raise TableFull(self.limit)
        self.opened += 1
        session = Session(str(self.opened), user, secrets.token_urlsafe(24), now, now, client)
        self._by_id[session.id] = self._by_token[session.token] = session
        return session

    def use(self, token: str, now: float) -> Session | None:
        """The session of a token, its idle time begun anew; None for one that is unknown or over."""
        session = self._by_token.get(token)
        if session is None:
            return None
        if now - session.used > self.timeout:
            self._drop(session)
            return None
        session.used = now
        return session

    def get(self, id_: str, now: float) -> Session | None:
        """The open session of an id."""
        self.expire(now)
        return self._by_id.get(id_)

    def close(self, id_: str) -> bool:
        """End a session; False when there was none."""
        session = self._by_id.get(id_)
        if session is None:
            return False
        self._drop(session)
        return True

    def all(self, now: float) -> list[Session]:
        """Every open session, oldest first."""
        self.expire(now)
        return list(self._by_id.values())

    def forget(self) -> None:
        """End all, as a reboot does."""
        self._by_id.clear()
        self._by_token.clear()

    def expire(self, now: float) -> None:
        """End those that nobody used for too long."""
        for session in [s for s in self._by_id.values() if now - s.used > self.timeout]:
            self._drop(session)

    def _drop(self, session: Session) -> None:
        del self._by_id[session.id]
        del self._by_token[session.token]
