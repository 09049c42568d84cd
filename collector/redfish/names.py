"""Addresses of host names, so that a name server that never answers holds up nobody else.

The system's resolver blocks a thread for as long as it likes, and the event loop's own pool has few of them. So each
name is looked up in a thread of its own, once for all who wait for it, and no more than :data:`MOST` at once; the
threads end with the process, whatever they wait for. Bounding the wait is the caller's.
"""

from __future__ import annotations

import asyncio
import socket
import threading
from collections.abc import Callable, Sequence
from ipaddress import ip_address

MOST = 256
"""Look-ups at once; a thread that waits costs some tens of kilobytes."""

Lookup = Callable[[str], Sequence[str]]


def by_system(host: str) -> list[str]:
    """The addresses that the system's resolver has for a name, the best first. Raises OSError."""
    found = socket.getaddrinfo(host, None, type=socket.SOCK_STREAM)
    return list(dict.fromkeys(str(address[0]) for *_, address in found))


class Names:
    """Looks names up for one event loop."""

    def __init__(self, lookup: Lookup = by_system, most: int = MOST) -> None:
        self._lookup = lookup
        self._under_way: dict[str, asyncio.Future[Sequence[str]]] = {}
        self._room = asyncio.Semaphore(most)

    async def addresses(self, host: str) -> Sequence[str]:
        """One address or more; an address stands for itself. Raises OSError where the name has none."""
        try:
            ip_address(host.partition("%")[0])
        except ValueError:
            pass
        else:
            return (host,)
        found = self._under_way.get(host)
        if found is None:
            await self._room.acquire()
            found = self._under_way.get(host)
            if found is not None:
                self._room.release()
            else:
                found = self._begin(host)
        return await asyncio.shield(found)

    def _begin(self, host: str) -> asyncio.Future[Sequence[str]]:
        loop = asyncio.get_running_loop()
        future: asyncio.Future[Sequence[str]] = loop.create_future()
        self._under_way[host] = future

        def end(told: Sequence[str] | None, error: Exception | None) -> None:
            del self._under_way[host]
            self._room.release()
            if error is not None:
                future.set_exception(error)
                future.exception()  # looked at: those who asked may have stopped waiting
            else:
                future.set_result(told or ())

        def look_up() -> None:
            told, failure = None, None
            try:
                told = self._lookup(host)
            except Exception as error:  # noqa: BLE001 - raised where the answer is awaited
                failure = error
            try:
                loop.call_soon_threadsafe(end, told, failure)
            except RuntimeError:
                return  # the loop is closed: nobody waits any more

        threading.Thread(target=look_up, name=f"name {host}", daemon=True).start()
        return future


_OF_LOOP: tuple[asyncio.AbstractEventLoop, Names] | None = None


def names() -> Names:
    """Those of the running event loop."""
    global _OF_LOOP
    loop = asyncio.get_running_loop()
    if _OF_LOOP is None or _OF_LOOP[0] is not loop:
        _OF_LOOP = (loop, Names())
    return _OF_LOOP[1]
