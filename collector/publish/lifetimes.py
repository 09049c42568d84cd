"""How connections and tasks begin and end, so that nothing half-begun stays behind."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from contextlib import suppress
from typing import Any

import aiomqtt


async def enter(client: aiomqtt.Client) -> None:
    """Connect. A connect that is cancelled runs to its end first: half a client would stay connected unowned."""
    entering = asyncio.ensure_future(client.__aenter__())
    try:
        await asyncio.shield(entering)
    except asyncio.CancelledError:
        with suppress(aiomqtt.MqttError, OSError, ValueError):
            await entering
            await leave(client)
        raise


async def leave(client: aiomqtt.Client) -> None:
    """Disconnect, if still connected."""
    with suppress(aiomqtt.MqttError, OSError):  # it is lost already, which was recorded
        await client.__aexit__(None, None, None)


async def first_of(*work: Coroutine[Any, Any, None]) -> None:
    """Run side by side until one ends or fails; end the others; raise what it raised."""
    tasks = [asyncio.ensure_future(each) for each in work]
    try:
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
    for task in done:
        task.result()
