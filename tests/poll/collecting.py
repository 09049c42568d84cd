"""A collector as a process of its own, without the command line: ``python -m tests.poll.collecting CONFIG STATE``.

Prints a line for every update: the controller's name, and ``walk``, ``round``, ``events`` or ``learnt``. SIGTERM ends
it in order.
"""

from __future__ import annotations

import asyncio
import signal
import sys
import time
from pathlib import Path

from collector.model import Update
from collector.poll.fleet import Fleet
from collector.poll.memory import Memory
from collector.settings import load
from collector.store.reader import Reader
from collector.store.writer import Writer


async def collect(config: Path, state: Path) -> None:
    """Until cancelled."""
    settings = load(config)
    async with Writer(state, settings.store, now=time.time) as writer:
        writer.controllers(settings.controllers)
        with Reader(state) as reader:
            heard = reader.heard()

        async def tell(update: Update) -> None:
            await writer.put(update)
            kind = "walk" if update.inventory is not None else "round" if update.round is not None else "events"
            if kind == "events" and update.learnt is not None:
                kind = "learnt"
            print(update.controller, kind, flush=True)

        with Memory(state) as memory:
            await Fleet(settings, tell, memory=memory, heard=heard).run()


async def main() -> None:
    """Run, and end in order when asked to."""
    task = asyncio.create_task(collect(Path(sys.argv[1]), Path(sys.argv[2])))
    asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, task.cancel)
    await asyncio.gather(task, return_exceptions=True)
    if not task.cancelled():
        task.result()


if __name__ == "__main__":
    asyncio.run(main())
