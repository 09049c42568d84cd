"""What is pushed to us and waits to be read: bounded in number and in bytes."""

from __future__ import annotations

import asyncio
from collections import deque

MAX_BODIES = 128
MAX_BYTES = 4 * 1024 * 1024


class Inbox:
    """Bodies in the order in which they came; one reader."""

    def __init__(self) -> None:
        self._bodies: deque[bytes] = deque()
        self._bytes = 0
        self._filled = asyncio.Event()

    def put(self, body: bytes) -> bool:
        """Take a body in; False where there is no room for it."""
        if len(self._bodies) >= MAX_BODIES or self._bytes + len(body) > MAX_BYTES:
            return False
        self._bodies.append(body)
        self._bytes += len(body)
        self._filled.set()
        return True

    async def get(self) -> bytes:
        """The next one; waits for it."""
        while not self._bodies:
            self._filled.clear()
            await self._filled.wait()
        body = self._bodies.popleft()
        self._bytes -= len(body)
        return body
