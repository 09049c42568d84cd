"""Commands that talk to controllers and then end: which ones they were asked for, and an end that leaves no session."""

from __future__ import annotations

import asyncio
import logging
import os
import signal
import sys
from collections.abc import Callable, Coroutine, Sequence
from difflib import get_close_matches
from typing import Any

from collector.settings import ControllerSettings, Settings, SettingsError
from collector.text import plain

log = logging.getLogger(__name__)

STOPPED = 130
"""Exit code of a command that was interrupted: 128 and the signal's number, as shells have it."""
_SHOWN = 5


def chosen(settings: Settings, names: Sequence[str]) -> tuple[ControllerSettings, ...]:
    """The controllers of those names, each once, in the order of the fleet file; all of them for no name.

    Raises :class:`SettingsError` with a line for each name that is not in the fleet file.
    """
    known = [controller.name for controller in settings.controllers]
    problems = [_unknown(name, known) for name in dict.fromkeys(names) if name not in known]
    if problems:
        raise SettingsError(settings.path, problems)
    return tuple(controller for controller in settings.controllers if not names or controller.name in names)


def _unknown(name: str, known: list[str]) -> str:
    near = get_close_matches(name, known, n=_SHOWN)
    if near:
        return f"no controller {plain(name, 64)!r} in it; near that: {', '.join(near)}"
    some = ", ".join(known[:_SHOWN]) + (", …" if len(known) > _SHOWN else "")
    return f"no controller {plain(name, 64)!r} in it; it has {some}"


def run_to_end(work: Coroutine[Any, Any, int]) -> int:
    """Run to the end; SIGINT and SIGTERM cancel it, so that it can still delete its sessions."""
    with asyncio.Runner(loop_factory=_loop_factory()) as runner:
        return runner.run(_stoppable(work))


async def _stoppable(work: Coroutine[Any, Any, int]) -> int:
    task = asyncio.ensure_future(work)
    asyncio.get_running_loop().set_exception_handler(quietly)
    if os.name != "nt":
        for number in (signal.SIGINT, signal.SIGTERM):
            asyncio.get_running_loop().add_signal_handler(number, task.cancel)
    try:
        return await task
    except asyncio.CancelledError:
        print("sledkeeper: interrupted; sessions were deleted", file=sys.stderr)
        return STOPPED


def quietly(loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
    """For the event loop: a TLS handshake that was given up, whose error its caller has had, is no news; all else is.

    uvloop writes once more to a transport that it has closed itself, and tells of that with a traceback.
    """
    error = context.get("exception")
    if context.get("message") == "Fatal error on SSL protocol" and isinstance(error, RuntimeError):
        log.debug("a TLS handshake was given up: %s", error)
        return
    loop.default_exception_handler(context)


def _loop_factory() -> Callable[[], asyncio.AbstractEventLoop] | None:
    """The faster event loop where there is one."""
    if sys.platform == "win32":
        return None
    import uvloop

    return uvloop.new_event_loop
