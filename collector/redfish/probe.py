"""Looks at one controller step by step, from its name to its clock, and brings home facts.

Nothing is judged here (that is :mod:`collector.redfish.verdicts`), nothing raised that a controller or a network could
cause, and every step has its time limit. Connections are made one after the other: some controllers take only one.
"""

from __future__ import annotations

import asyncio
import os
import socket
import ssl
from collections.abc import Awaitable, Callable, Iterator
from dataclasses import replace
from ipaddress import ip_address
from typing import Any, NamedTuple
from urllib.parse import urlsplit

from collector.model import Outcome, Seconds
from collector.redfish import links
from collector.redfish.bodies import decode
from collector.redfish.certificates import certificate
from collector.redfish.client import Client
from collector.redfish.errors import ControllerError, LoginRefused, TimedOut, Untrusted
from collector.redfish.facts import (
    Certificate,
    Connected,
    Failure,
    Handshake,
    Login,
    Reached,
    Resolved,
    Root,
    Service,
    SessionEnd,
    Trust,
)
from collector.redfish.features import declared
from collector.redfish.names import names
from collector.redfish.recorder import Exchange, Recorder, Timer
from collector.redfish.resources import SERVICE_ROOT, ClockRead
from collector.redfish.service_clock import by_header, by_manager
from collector.redfish.tls import context_for
from collector.redfish.wire import Limits
from collector.settings import ControllerSettings, Credential
from collector.text import plain

Resolve = Callable[[str, int], Awaitable[list[str]]]
"""From host and port to addresses in the order to try; OSError or UnicodeError where there are none."""

MAX_ADDRESSES = 8
MAX_MANAGERS = 4
"""Managers asked for their clock before the Date header is taken instead."""
_COLLECTIONS = ("Chassis", "Systems", "Managers")


async def reach(
    settings: ControllerSettings, *, timer: Timer, limits: Limits | None = None, resolve: Resolve | None = None
) -> Reached:
    """Name resolution, TCP and TLS, each only where the one before it went well. No byte of a request is sent."""
    limits = limits or Limits()
    url = urlsplit(settings.url)
    host, port = url.hostname or "", url.port or (443 if url.scheme == "https" else 80)
    resolved = await _resolve(host, port, limits.connect_timeout, resolve or _by_system, timer)
    if not resolved.addresses:
        return Reached(resolved=resolved)
    connected = await _connect(resolved.addresses, port, limits.connect_timeout, timer)
    if connected.address is None:
        return Reached(resolved=resolved, connected=connected)
    handshake = await _shake_hands(settings, _Place(host, connected.address, port, limits.connect_timeout, timer))
    return Reached(resolved=resolved, connected=connected, handshake=handshake)


async def ask(client: Client, recorder: Recorder, *, now: Callable[[], Seconds], limit: float) -> Service:
    """Log in, read the service root, prove the login, compare clocks. ``recorder``: the client's own transport.

    ``limit``: seconds for the login and the root, and again for what follows, which is given up where it hangs.
    """
    name = client.settings.name
    try:
        async with asyncio.timeout(limit):
            await client.connect(anew=True)
            started, asked = recorder.timer(), now()
            reply = await client.get(SERVICE_ROOT)
            seconds, answered = recorder.timer() - started, now()
        body = decode(reply.body, name, SERVICE_ROOT)
    except TimeoutError:
        detail = f"no login and service root within {limit:g} s"
        return Service(root=Root(failure=Failure.of(TimedOut(name, SERVICE_ROOT, detail))))
    except ControllerError as error:
        if error.resource == SERVICE_ROOT and not isinstance(error, LoginRefused):
            return Service(root=Root(failure=Failure.of(error)))  # the login never got as far as the account
        return Service(login=_login(client, recorder, None, error))
    root = Root(
        version=_text(body.get("RedfishVersion")),
        product=_text(body.get("Product")),
        vendor=_text(body.get("Vendor")),
        declares=declared(body),
        seconds=seconds,
    )
    clock = by_header(reply, asked, answered)
    proof, failure = await _prove(client, body, limit / (len(_COLLECTIONS) + 1))
    if failure is None:
        try:
            async with asyncio.timeout(limit):
                clock = await _manager_clock(client, body, now) or clock
        except TimeoutError:
            pass  # the walk meets it as well, and names it
    return Service(root=root, login=_login(client, recorder, proof, failure), clock=clock)


def session_end(exchanges: list[Exchange]) -> SessionEnd | None:
    """What became of the session; None where none was made. To be called after the client was closed."""
    if not any(one.method == "POST" and one.status in (200, 201, 204) for one in exchanges):
        return None
    ends = [one for one in exchanges if one.method == "DELETE"]
    return SessionEnd(deleted_status=ends[-1].status if ends else None, sent=bool(ends))


# Name and TCP


async def _by_system(host: str, port: int) -> list[str]:
    """As the collector does when it connects."""
    return list(await names().addresses(host))


async def _resolve(host: str, port: int, limit: float, resolve: Resolve, timer: Timer) -> Resolved:
    try:
        ip_address(host.partition("%")[0])
    except ValueError:
        pass
    else:
        return Resolved(host=host, literal=True, addresses=(host,))
    started = timer()
    try:
        async with asyncio.timeout(limit):
            addresses = await resolve(host, port)
    except TimeoutError:
        return Resolved(host=host, literal=False, seconds=timer() - started, timed_out=True)
    except (OSError, UnicodeError) as error:  # UnicodeError: a name that can't be one, such as an empty label
        return Resolved(host=host, literal=False, seconds=timer() - started, error=_words(error))
    return Resolved(
        host=host,
        literal=False,
        addresses=tuple(addresses[:MAX_ADDRESSES]),
        seconds=timer() - started,
        error="" if addresses else "no address",
    )


async def _connect(addresses: tuple[str, ...], port: int, limit: float, timer: Timer) -> Connected:
    """The first address that takes a connection; all of them share the time, as they do when the collector connects."""
    refused: list[tuple[str, str]] = []
    deadline = asyncio.get_running_loop().time() + limit
    for address in addresses:
        started = timer()
        try:
            async with asyncio.timeout_at(deadline):
                held = await _Held.open(address, port)
        except TimeoutError:
            return Connected(port=port, refused=(*refused, (address, "no answer")), timed_out=True)
        except OSError as error:
            refused.append((address, _words(error)))
            continue
        seconds = timer() - started
        await held.aclose()
        return Connected(port=port, address=address, seconds=seconds, refused=tuple(refused))
    return Connected(port=port, refused=tuple(refused))


class _Held(asyncio.Protocol):
    """A connection that says nothing."""

    def __init__(self) -> None:
        self._lost = asyncio.get_running_loop().create_future()

    @classmethod
    async def open(cls, address: str, port: int, tls: ssl.SSLContext | None = None, host: str | None = None) -> _Held:
        made = await asyncio.get_running_loop().create_connection(cls, address, port, ssl=tls, server_hostname=host)
        held = made[1]
        held.transport = made[0]
        return held

    transport: asyncio.Transport

    def connection_lost(self, exc: Exception | None) -> None:
        if not self._lost.done():
            self._lost.set_result(None)

    async def aclose(self) -> None:
        """Take leave; at most a second of it."""
        self.transport.close()
        await asyncio.wait((self._lost,), timeout=1.0)
        self.transport.abort()


# TLS


def _trust(settings: ControllerSettings) -> Trust:
    if settings.url.startswith("http://"):
        return Trust.NO_TLS
    if settings.insecure:
        return Trust.UNCHECKED
    if settings.fingerprint is not None:
        return Trust.PIN
    return Trust.SYSTEM if settings.ca_file is None else Trust.CA_FILE


class _Place(NamedTuple):
    """Where to shake hands, and how long that may take."""

    host: str
    address: str
    port: int
    limit: float
    timer: Timer


async def _shake_hands(settings: ControllerSettings, at: _Place) -> Handshake:
    """A handshake as the collector would have it; where that distrusts the certificate, another one to look at it."""
    told = Handshake(
        trust=_trust(settings),
        host=at.host,
        pinned=settings.fingerprint,
        ca_file=str(settings.ca_file) if settings.ca_file is not None else None,
    )
    if told.trust is Trust.NO_TLS:
        return told
    unchecked = context_for(replace(settings, insecure=True, ca_file=None, fingerprint=None))
    try:
        context = context_for(settings)
    except Untrusted as error:
        seen = await _handshake(told, unchecked, at)
        return _with(seen, ca_error=error.detail)
    done = await _handshake(told, context, at)
    if not done.verify_code:
        return done
    seen = await _handshake(told, unchecked, at)
    return _with(seen, error="", verify_code=done.verify_code, verify_message=done.verify_message, seconds=done.seconds)


async def _handshake(told: Handshake, context: ssl.SSLContext | None, at: _Place) -> Handshake:
    started = at.timer()
    try:
        async with asyncio.timeout(at.limit):
            held = await _Held.open(at.address, at.port, context, at.host.partition("%")[0])
    except TimeoutError:
        return _with(told, timed_out=True, error="no answer in time", seconds=at.timer() - started)
    except ssl.SSLCertVerificationError as error:
        message = error.verify_message or str(error)
        return _with(told, verify_code=error.verify_code, verify_message=message, seconds=at.timer() - started)
    except ssl.SSLError as error:
        return _with(told, error=error.reason or str(error), seconds=at.timer() - started)
    except OSError as error:
        return _with(told, error=_words(error), seconds=at.timer() - started)
    seconds = at.timer() - started
    tls: ssl.SSLObject = held.transport.get_extra_info("ssl_object")
    protocol, presented = tls.version(), tls.getpeercert(binary_form=True)
    await held.aclose()
    return _with(told, protocol=protocol, certificate=_facts_of(presented), seconds=seconds)


def _facts_of(presented: bytes | None) -> Certificate | None:
    return certificate(presented) if presented else None


def _with(told: Handshake, **more: Any) -> Handshake:
    fields = {name: getattr(told, name) for name in told.__struct_fields__}
    return Handshake(**(fields | more))


# Login


def _login(client: Client, recorder: Recorder, proof: str | None, failure: ControllerError | None) -> Login:
    credential = client.settings.credential
    file, mode = _file_of(credential)
    posts = [one.status for one in recorder.exchanges if one.method == "POST"]
    return Login(
        username=credential.username if credential is not None else None,
        way=client.way,
        proof=proof,
        failure=Failure.of(failure) if failure is not None else None,
        session_status=posts[-1] if posts else None,
        over_http=credential is not None and client.settings.url.startswith("http://"),
        password_mode=mode,
        password_file=file,
    )


def _file_of(credential: Credential | None) -> tuple[str | None, int | None]:
    """The password's file, and its permission bits where they let in others than its owner."""
    if credential is None or credential.password_file is None or os.name == "nt":
        return None, None
    try:
        mode = credential.password_file.stat().st_mode & 0o777
    except OSError:  # it was read a moment ago; gone by now, nobody reads it
        return None, None
    return str(credential.password_file), mode if mode & 0o077 else None


async def _prove(client: Client, root: dict[str, Any], patience: float) -> tuple[str | None, ControllerError | None]:
    """Read something that needs the login. Failures that are not about the login are left for the walk to name."""
    for path in _linked(client, [root.get(name) for name in _COLLECTIONS]):
        try:
            await client.get(path, timeout=patience)
        except ControllerError as error:
            if error.outcome is Outcome.LOGIN_REFUSED:
                return path, error
            continue
        return path, None
    return None, None


def _linked(client: Client, holders: list[object]) -> Iterator[str]:
    """Where some ``{"@odata.id": …}`` lead, as far as they can be followed."""
    for holder in holders:
        try:
            yield links.target(holder.get("@odata.id") if isinstance(holder, dict) else None, client.settings.url).path
        except links.BadLink:
            continue  # the walk names it


# Clock


async def _manager_clock(client: Client, root: dict[str, Any], now: Callable[[], Seconds]) -> ClockRead | None:
    """``DateTime`` of the manager that provides the service, else of the first that tells it."""
    told = root.get("Links")
    managers = list(_linked(client, [told.get("ManagerProvidingService") if isinstance(told, dict) else None]))
    try:
        for path in _linked(client, [root.get("Managers")]):
            collection = decode((await client.get(path)).body, client.settings.name, path)
            members = collection.get("Members")
            managers += _linked(client, members[:MAX_MANAGERS] if isinstance(members, list) else [])
        for path in list(dict.fromkeys(managers))[:MAX_MANAGERS]:
            before = now()
            body = decode((await client.get(path)).body, client.settings.name, path)
            after = now()
            if (read := by_manager(path, body, before, after)) is not None:
                return read
    except ControllerError:
        return None  # the walk comes past here as well, and names it
    return None


def _text(told: object) -> str | None:
    return plain(told, 80) if isinstance(told, str) and told else None


def _words(error: OSError | UnicodeError) -> str:
    """The system's words, without the address, which stands beside them."""
    if isinstance(error, socket.gaierror):
        return plain((error.strerror or str(error)).lower())
    number = getattr(error, "errno", None)
    if isinstance(error, OSError) and number is not None and number > 0:
        return os.strerror(number).lower()
    return plain(str(error) or type(error).__name__)
