"""Server-sent events: an incremental parser of the stream, after the WHATWG HTML standard, section 9.2.6.

Bytes in, events out; it does not matter how the bytes are cut. Lines and events are bounded: one that is too big is
dropped whole and counted, and the stream is read on behind it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from msgspec import Struct

MAX_EVENT = 8 * 1024 * 1024
"""Bytes of one event that we take. DSP0266 bounds pushed events to 1 MiB, except metric reports."""
MAX_LINE = MAX_EVENT
MAX_ID = 1024
"""Bytes of an event id that we take, since it is sent back in a header (Last-Event-ID)."""
MAX_RETRY = 3600.0
"""Seconds; a longer reconnection time is cut to this."""

_LINE_END = re.compile(rb"\r\n|\r|\n")
_BOM = b"\xef\xbb\xbf"


class ServerEvent(Struct, frozen=True):
    """One event of a stream."""

    data: str
    """The data lines, joined by line feeds."""
    event: str = "message"
    id: str = ""
    """The last event id told up to and with this event; "" for none."""


class Stream:
    """One stream's bytes, from its start. A new connection needs a new one; give it the ``last_id`` of the old.

    ``events``, ``comments`` (which services send to keep the connection open) and ``dropped`` (events too big to take)
    count since the start. ``retry`` holds the reconnection time that the service asked for, in seconds.
    """

    def __init__(self, last_id: str = "", *, max_line: int = MAX_LINE, max_event: int = MAX_EVENT) -> None:
        self.last_id = last_id
        """For the Last-Event-ID header of the next connection; "" for none."""
        self.retry: float | None = None
        self.events = 0
        self.comments = 0
        self.dropped = 0
        self._max_line = max_line
        self._max_event = max_event
        self._line = bytearray()
        self._overlong = False
        """Whether the line under way is too long: it is skipped to its end."""
        self._swallow_lf = False
        """Whether the last byte was a CR, whose LF may still come."""
        self._begun = False
        self._data: list[str] = []
        self._size = 0
        self._event = ""
        self._id = last_id
        self._spoilt = False
        """Whether something of the event under way was too big."""

    def feed(self, chunk: bytes) -> list[ServerEvent]:
        """The events that ``chunk`` completes. At the end of the stream, what is incomplete is to be forgotten."""
        return [event for line in self._lines(chunk) if (event := self._take(line)) is not None]

    def _lines(self, chunk: bytes) -> Iterator[bytes | None]:
        """The lines that a chunk completes, without their ends; None for one too long."""
        start = 0
        if self._swallow_lf and chunk:
            self._swallow_lf = False
            start = chunk[0] == 0x0A
        for end in _LINE_END.finditer(chunk, start):
            self._keep(chunk[start : end.start()])
            start = end.end()
            yield None if self._overlong else self._whole()
            self._line.clear()
            self._overlong = False
        self._keep(chunk[start:])
        # A CR at the very end of a chunk ends its line at once: waiting for an LF could hold an event back for ever.
        if chunk:
            self._swallow_lf = chunk[-1] == 0x0D

    def _keep(self, piece: bytes) -> None:
        if self._overlong:
            return
        if len(self._line) + len(piece) > self._max_line:
            self._overlong = True
            self._line.clear()
        else:
            self._line += piece

    def _whole(self) -> bytes:
        line = bytes(self._line)
        if self._begun:
            return line
        self._begun = True
        return line.removeprefix(_BOM)

    def _take(self, line: bytes | None) -> ServerEvent | None:
        if line is None:
            self._begun = True
            self._spoilt = True
            return None
        if not line:
            return self._dispatch()
        name, _, value = line.partition(b":")
        if not name:
            self.comments += 1
            return None
        value = value.removeprefix(b" ")
        if name == b"data":
            self._add_data(value)
        elif name == b"event":
            self._event = value.decode("utf-8", "replace")
        elif name == b"id":
            if b"\0" not in value and len(value) <= MAX_ID:
                self._id = value.decode("utf-8", "replace")
        elif name == b"retry" and re.fullmatch(rb"[0-9]+", value):
            self.retry = min(float(value[:20]) / 1000.0, MAX_RETRY)
        return None  # any other field is ignored

    def _add_data(self, value: bytes) -> None:
        self._size += len(value) + 1
        if self._size > self._max_event:
            self._spoilt = True
            self._data.clear()
        elif not self._spoilt:
            self._data.append(value.decode("utf-8", "replace"))

    def _dispatch(self) -> ServerEvent | None:
        """What a blank line does."""
        self.last_id = self._id
        data, event, spoilt = "\n".join(self._data), self._event, self._spoilt
        told = bool(self._data)  # even one empty data line makes an event, none makes nothing
        self._data, self._event, self._size, self._spoilt = [], "", 0, False
        if spoilt:
            self.dropped += 1
            return None
        if not told:
            return None
        self.events += 1
        return ServerEvent(data, event or "message", self.last_id)


def refused(status: int, content_type: str) -> str:
    """Why an answer is no event stream; "" when it is one. 204 asks a client not to come again (section 9.2.3)."""
    if status == 204:
        return "the service wants no further connection (204)"
    if status != 200:
        return f"status {status}"
    kind = content_type.partition(";")[0].strip().lower()
    return "" if kind == "text/event-stream" else f"content type {kind or 'missing'} is not text/event-stream"
