"""What a collector remembers outside its process, beside the store: its secret, and the sessions it has open.

Both are small files in the state directory, for the collector's user alone; whoever holds the directory's lock may use
them. The secret makes the addresses and marks of our event subscriptions, so that they are found again after a restart.
The notes of sessions are written at once: before a login that one is about to be made, and what came of it before the
answer is used. So a kill at any moment leaves a note of what is open, or of when something was opened.
"""

from __future__ import annotations

import contextlib
import hmac
import logging
import os
import secrets
import time
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from types import TracebackType
from typing import Self

import msgspec

from collector.redfish.left_over import Intent, LeftOver

log = logging.getLogger(__name__)

SECRET = "events.key"  # noqa: S105 - a file's name
NOTES = "sessions.notes"
_SECRET_BYTES = 32
_SPARE_LINES = 1000
"""Lines of notes beyond three a controller at which the file is written anew."""


class MemoryUnusable(Exception):
    """The files can't be used; the text says why and what to do."""


class _Note(msgspec.Struct, omit_defaults=True):
    controller: str
    session: LeftOver | None = None
    intent: float | None = None
    """When another session was about to be made; of what came of it the next line tells."""


class Memory:
    """The files of one state directory, made where they are missing. Raises :class:`MemoryUnusable`."""

    def __init__(self, state_dir: Path, now: Callable[[], float] = time.time) -> None:
        self._now = now
        self._notes_path = state_dir / NOTES
        try:
            state_dir.mkdir(parents=True, exist_ok=True)
            self.secret = _secret(state_dir / SECRET)
            self._open, self._intents = _read(self._notes_path)
            self._file = self._rewritten()
        except OSError as error:
            told = f"{error.filename or state_dir}: {error.strerror or error}; let the collector's user write there"
            raise MemoryUnusable(told) from error
        self._lines = len(self._open)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, traceback: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the notes; harmless when repeated."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1

    def notes(self, controller: str) -> Notes:
        """Where the open session of one controller is noted."""
        return Notes(self, controller)

    def recall(self, controller: str) -> LeftOver | None:
        """The session of a controller that is open, or was when the process before this one ended."""
        return self._open.get(controller)

    def intent(self, controller: str) -> Intent | None:
        """When the process before this one was about to make a session of which it noted no more."""
        return self._intents.get(controller)

    def intend(self, controller: str) -> Intent:
        """Write down that a session is about to be made."""
        intent = self._intents[controller] = Intent(self._now())
        self._write(controller)
        return intent

    def note(self, controller: str, session: LeftOver | None) -> None:
        """Write down what is open now."""
        if session is None:
            self._open.pop(controller, None)
        else:
            self._open[controller] = session
        self._intents.pop(controller, None)
        self._write(controller)

    def _write(self, controller: str) -> None:
        self._lines += 1
        try:
            if self._lines > 3 * len(self._open.keys() | self._intents.keys()) + _SPARE_LINES:
                fresh = self._rewritten()
                os.close(self._file)
                self._file, self._lines = fresh, len(self._open)
            else:
                os.write(self._file, self._line(controller))
        except OSError as error:  # a full disk must not keep us from logging in
            log.warning("%s can't be written (%s): a kill now may leave sessions open", self._notes_path, error)

    def _line(self, controller: str) -> bytes:
        intent = self._intents.get(controller)
        note = _Note(controller, self._open.get(controller), None if intent is None else intent.time)
        return msgspec.json.encode(note) + b"\n"

    def _rewritten(self) -> int:
        """The notes without what is over; gives the file, open for adding to it."""
        fresh = self._notes_path.with_name(NOTES + ".new")
        lines = [self._line(name) for name in sorted(self._open.keys() | self._intents.keys())]
        with contextlib.suppress(FileNotFoundError):
            fresh.unlink()
        file = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND, 0o600)
        try:
            os.write(file, b"".join(lines))
            fresh.replace(self._notes_path)
        except BaseException:
            os.close(file)
            raise
        return file


class Notes:
    """The note of one controller's session; see :class:`collector.redfish.left_over.SessionNotes`."""

    def __init__(self, memory: Memory, controller: str) -> None:
        self._memory = memory
        self._controller = controller

    def recall(self) -> LeftOver | None:
        """The session that an earlier process left."""
        return self._memory.recall(self._controller)

    def intent(self) -> Intent | None:
        """When an earlier process was about to make a session of which it noted no more."""
        return self._memory.intent(self._controller)

    def intend(self) -> Intent:
        """A session is about to be made."""
        return self._memory.intend(self._controller)

    def note(self, session: LeftOver | None) -> None:
        """This session is open now; None when it is deleted."""
        self._memory.note(self._controller, session)


def derived(secret: bytes, purpose: str, controller: str) -> str:
    """40 hexadecimal digits that only who knows the secret can tell: one for each purpose and controller."""
    return hmac.new(secret, f"{purpose}\0{controller}".encode(), sha256).hexdigest()[:40]


def _secret(path: Path) -> bytes:
    """The secret in a file; a missing or damaged one is made anew: our subscriptions are then made anew as well."""
    try:
        told = path.read_bytes()
    except FileNotFoundError:
        told = b""
    if len(told) == _SECRET_BYTES:
        return told
    fresh = path.with_name(path.name + ".new")
    with contextlib.suppress(FileNotFoundError):
        fresh.unlink()
    made = secrets.token_bytes(_SECRET_BYTES)
    file = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        os.write(file, made)
        os.fsync(file)
    finally:
        os.close(file)
    fresh.replace(path)
    return made


def _read(path: Path) -> tuple[dict[str, LeftOver], dict[str, Intent]]:
    """What is open, and what was about to be, of every controller; a line that was cut off by a kill says nothing."""
    try:
        lines = path.read_bytes().splitlines()
    except FileNotFoundError:
        return {}, {}
    last: dict[str, _Note] = {}
    for line in lines:
        try:
            note = msgspec.json.decode(line, type=_Note)
        except msgspec.MsgspecError:
            continue
        last[note.controller] = note
    return (
        {name: note.session for name, note in last.items() if note.session is not None},
        {name: Intent(note.intent) for name, note in last.items() if note.intent is not None},
    )
