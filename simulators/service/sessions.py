"""Who may ask: sessions and basic authentication (DSP0266, "Authentication")."""

from __future__ import annotations

import base64
import hmac
import secrets
from dataclasses import dataclass

_STRANGER = "stranger"


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
    """An account of a service. Never changed, since many services share one: :meth:`changed` makes another."""

    __slots__ = ("_basic", "_pair", "built_in", "enabled", "revision", "role", "user")

    def __init__(
        self, user: str, password: str, role: str = "Operator", *, enabled: bool = True, built_in: bool = False
    ) -> None:
        """``built_in``: it can't be deleted."""
        self.user = user
        self.role = role
        """Name of its role."""
        self.enabled = enabled
        self.built_in = built_in
        self.revision = 0
        """Counts its changes."""
        self._pair = f"{user}:{password}".encode()
        self._basic = b"Basic " + base64.b64encode(self._pair)

    def matches(self, user: str, password: str) -> bool:
        """Whether these are the account's own, compared in constant time, and it may be used."""
        return hmac.compare_digest(f"{user}:{password}".encode(), self._pair) and self.enabled

    def matches_header(self, authorization: str) -> bool:
        """Whether an Authorization header carries the account (RFC 7617), and it may be used."""
        scheme, _, rest = authorization.partition(" ")
        if scheme.lower() != "basic":
            return False
        return hmac.compare_digest(b"Basic " + rest.strip().encode("latin-1", "replace"), self._basic) and self.enabled

    def changed(self, *, user: str | None, password: str | None, role: str | None, enabled: bool | None) -> Account:
        """The same with what is not None changed."""
        old = self._pair.decode().removeprefix(f"{self.user}:")
        made = Account(
            self.user if user is None else user,
            old if password is None else password,
            self.role if role is None else role,
            enabled=self.enabled if enabled is None else enabled,
            built_in=self.built_in,
        )
        made.revision = self.revision + 1
        return made


class Accounts:
    """The accounts of one service."""

    __slots__ = ("_by_id", "_last")

    def __init__(self, *accounts: Account) -> None:
        self._by_id = {str(number): account for number, account in enumerate(accounts, 1)}
        self._last = len(accounts)

    def ids(self) -> list[str]:
        """Of every one, oldest first."""
        return list(self._by_id)

    def get(self, id_: str) -> Account | None:
        """The account of an id."""
        return self._by_id.get(id_)

    def by_name(self, user: str) -> Account | None:
        """The account of a user name."""
        return next((account for account in self._by_id.values() if account.user == user), None)

    def by_password(self, user: str, password: str) -> Account | None:
        """The account that these open."""
        return next((account for account in self._by_id.values() if account.matches(user, password)), None)

    def by_header(self, authorization: str) -> Account | None:
        """The account that an Authorization header opens."""
        return next((account for account in self._by_id.values() if account.matches_header(authorization)), None)

    def add(self, account: Account) -> str:
        """Keep a further account; returns its id."""
        self._last += 1
        self._by_id[str(self._last)] = account
        return str(self._last)

    def replace(self, id_: str, account: Account) -> None:
        """Put a changed account in place of the old."""
        self._by_id[id_] = account

    def remove(self, id_: str) -> None:
        """Forget an account."""
        del self._by_id[id_]


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
        session = Session(str(self.opened), user, secrets.token_hex(24), now, now, client)
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

    def crowd(self, now: float) -> None:
        """Let strangers take every session that is free."""
        while len(self) < self.limit:
            self.open(_STRANGER, "192.0.2.99", now)

    def disperse(self) -> None:
        """End the strangers' sessions."""
        for session in [s for s in self._by_id.values() if s.user == _STRANGER]:
            self._drop(session)

    def forget(self) -> None:
        """End all, as a reboot does."""
        self._by_id.clear()
        self._by_token.clear()

    def end(self, user: str) -> None:
        """End those of a user."""
        for session in [s for s in self._by_id.values() if s.user == user]:
            self._drop(session)

    def expire(self, now: float) -> None:
        """End those that nobody used for too long."""
        for session in [s for s in self._by_id.values() if now - s.used > self.timeout]:
            self._drop(session)

    def _drop(self, session: Session) -> None:
        del self._by_id[session.id]
        del self._by_token[session.token]
