"""Work side by side, ended together."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from typing import Any


async def first_of(*work: Coroutine[Any, Any, Any]) -> None:
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
