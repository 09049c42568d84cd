"""``sledkeeper check``: what is wrong between the collector and its controllers, and what to do about it."""

from __future__ import annotations

import argparse
import asyncio
import logging
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TextIO

import msgspec

from collector.cli.output import iso
from collector.cli.running import chosen, run_to_end
from collector.poll.clock import SystemClock
from collector.poll.examine import Facts, Step, diagnose, examine, worst
from collector.redfish.verdicts import Result
from collector.settings import ControllerSettings, Settings, load

Judged = tuple[Facts, tuple[Step, ...]]

IN_FULL = 12
"""Controllers of which every step is shown; of more only what failed or is to note."""
_BAR = 30


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser(
        "check",
        help="find out what is wrong with the way to each controller, and what to do about it",
        description="Go the whole way to each controller, from its name to one timed round, and say at each step "
        "what is wrong and what to do about it. Reads only; one session a controller, deleted again. Exit code 1 when "
        f"a step failed. Of more than {IN_FULL} controllers only steps that failed or are to note are shown.",
    )
    parser.add_argument("controllers", nargs="*", metavar="CONTROLLER", help="only these (default: the whole fleet)")
    parser.add_argument("--config", type=Path, required=True, metavar="FILE", help="the fleet file")
    parser.add_argument("--format", choices=("table", "json"), default="table", help="default: %(default)s")
    parser.add_argument("--all", action="store_true", help="every step, also of a large fleet")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Check; 0 when nothing failed, 1 when something did."""
    # What the client warns of is among the findings; only bugs belong on the terminal as well.
    logging.basicConfig(level=logging.ERROR, format="%(levelname)s %(message)s", stream=sys.stderr)
    settings = load(arguments.config)
    controllers = chosen(settings, arguments.controllers)
    return run_to_end(_check(settings, controllers, arguments.format, full=arguments.all))


async def _check(settings: Settings, controllers: Sequence[ControllerSettings], format: str, *, full: bool) -> int:
    progress = Progress(len(controllers), sys.stderr)
    judged = await _all(settings, controllers, progress.step)
    progress.end()
    if format == "json":
        told = [as_row(facts, steps) for facts, steps in judged]
        sys.stdout.write(msgspec.json.format(msgspec.json.encode(told), indent=2).decode() + "\n")
    else:
        sys.stdout.writelines(f"{line}\n" for line in table(judged, full=full or len(judged) <= IN_FULL))
    return 1 if any(worst(steps) is Result.FAILED for _, steps in judged) else 0


async def _all(
    settings: Settings, controllers: Sequence[ControllerSettings], done: Callable[[str, Result], None]
) -> list[Judged]:
    """As many at once as walks are allowed at once; the rest wait, and nobody for a bad one."""
    turns, clock = asyncio.Semaphore(settings.collector.max_walks), SystemClock()

    async def one(controller: ControllerSettings) -> Judged:
        async with turns:
            facts = await examine(controller, settings.collector, clock=clock)
        steps = diagnose(facts)
        done(controller.name, worst(steps))
        return facts, steps

    async with asyncio.TaskGroup() as group:
        tasks = [group.create_task(one(controller)) for controller in controllers]
    return [task.result() for task in tasks]


def table(judged: Sequence[Judged], *, full: bool) -> list[str]:
    """For people: a block a controller, then what it comes to."""
    lines: list[str] = []
    for facts, steps in judged:
        shown = [step for step in steps if full or step.result in (Result.FAILED, Result.NOTE)]
        if not shown:
            continue
        lines.append(f"{facts.controller}  {facts.url}  {worst(steps).value}")
        for step in shown:
            name = step.step
            for finding in step.findings:
                if full or finding.result in (Result.FAILED, Result.NOTE):
                    lines.append(f"  {name:15}  {finding.result.value:7}  {finding.line}")
                    name = ""
        lines.append("")
    counts = Counter(worst(steps) for _, steps in judged)
    total = f"{len(judged)} controller{'' if len(judged) == 1 else 's'}"
    lines.append(f"{total}: " + ", ".join(f"{counts[one]} {one.value}" for one in _TOLD))
    return lines


_TOLD = (Result.FAILED, Result.NOTE, Result.PASSED)


def as_row(facts: Facts, steps: tuple[Step, ...]) -> dict[str, Any]:
    """For programs: the steps with their findings, and the facts that they were made from."""
    told: dict[str, Any] = msgspec.to_builtins(facts)
    for name in ("controller", "url", "time", "seconds", "bug"):
        told.pop(name)
    return {
        "controller": facts.controller,
        "url": facts.url,
        "time": iso(facts.time),
        "seconds": round(facts.seconds, 3),
        "result": worst(steps).value,
        "steps": [
            {
                "step": step.step,
                "result": step.result.value,
                "findings": [
                    {"result": one.result.value, "told": one.told, "to_do": one.to_do} for one in step.findings
                ],
            }
            for step in steps
        ],
        "facts": told,
    }


class Progress:
    """How far it is: a bar that stays on its line of a terminal, else a line a controller."""

    def __init__(self, total: int, out: TextIO) -> None:
        self._total = total
        self._out = out
        self._counts: Counter[Result] = Counter()
        self._terminal = out.isatty()
        self._draw()

    def step(self, name: str, result: Result) -> None:
        """One controller is done."""
        self._counts[result] += 1
        if self._terminal:
            self._draw()
        else:
            print(f"[{self._counts.total()}/{self._total}] {name} {result.value}", file=self._out, flush=True)

    def end(self) -> None:
        """Take the bar away: what follows says it all."""
        if self._terminal:
            self._out.write("\r\x1b[K")
            self._out.flush()

    def _draw(self) -> None:
        if not self._terminal:
            return
        done = self._counts.total()
        full = _BAR * done // self._total
        failed = self._counts[Result.FAILED]
        self._out.write(f"\r\x1b[K{'=' * full}{'.' * (_BAR - full)} {done} of {self._total}, {failed} failed")
        self._out.flush()
