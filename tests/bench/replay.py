"""A server that answers GETs from memory, as fast as Python can: so that a bench measures the client.

``python -m tests.bench.replay BODIES CHAIN PORTS``: BODIES is a JSON object path -> body text; prints the ports.
"""

from __future__ import annotations

import asyncio
import json
import ssl
import sys
from pathlib import Path

import uvloop


class Replay(asyncio.Protocol):
    """One connection: whole requests in, canned responses out, in order."""

    def __init__(self, responses: dict[bytes, bytes]) -> None:
        self._responses = responses
        self._pending = b""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = transport

    def data_received(self, data: bytes) -> None:
        self._pending += data
        while b"\r\n\r\n" in self._pending:
            head, _, self._pending = self._pending.partition(b"\r\n\r\n")
            answer = self._responses.get(head.split(b" ", 2)[1], NOT_FOUND)
            self._transport.write(answer)  # type: ignore[attr-defined]


NOT_FOUND = b"HTTP/1.1 404 Not Found\r\nContent-Length: 2\r\nContent-Type: application/json\r\n\r\n{}"


def response(body: str) -> bytes:
    """A whole response with the headers that a service usually sends."""
    payload = body.encode()
    head = (
        "HTTP/1.1 200 OK\r\nContent-Type: application/json; charset=utf-8\r\nOData-Version: 4.0\r\n"
        f"Cache-Control: no-cache\r\nContent-Length: {len(payload)}\r\n\r\n"
    )
    return head.encode() + payload


async def serve(bodies: Path, chain: Path, ports: int) -> None:
    """Listen on so many free ports, print them, stay until ended."""
    responses = {path.encode(): response(body) for path, body in json.loads(bodies.read_text()).items()}
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(chain)
    loop = asyncio.get_running_loop()
    servers = [await loop.create_server(lambda: Replay(responses), "127.0.0.1", 0, ssl=context) for _ in range(ports)]
    print(json.dumps([server.sockets[0].getsockname()[1] for server in servers]), flush=True)
    await asyncio.Event().wait()


if __name__ == "__main__":
    uvloop.run(serve(Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3])))
