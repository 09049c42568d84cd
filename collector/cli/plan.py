"""``sledkeeper plan``: the requests of a controller's round, what each brings and what it costs."""

from __future__ import annotations

import argparse
import logging
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import msgspec

from collector.cli.running import chosen, run_to_end
from collector.model import Outcome
from collector.poll.clock import SystemClock
from collector.poll.cost import Measured, Request, measure
from collector.redfish.client import Client
from collector.redfish.recorder import Recorder
from collector.settings import CollectorSettings, ControllerSettings, load
from collector.text import plain


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the command."""
    parser = commands.add_parser(
        "plan",
        help="show the requests of a controller's round, what each brings and what the round costs",
        description="Walk one controller, plan its rounds, do one and measure it. Exit code 1 when it could not be "
        "read in full.",
    )
    parser.add_argument("controller", metavar="CONTROLLER", help="its name in the fleet file")
    parser.add_argument("--config", type=Path, required=True, metavar="FILE", help="the fleet file")
    parser.add_argument("--format", choices=("table", "json"), default="table", help="default: %(default)s")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Show the plan; 0 when the controller was read in full, 1 when not."""
    logging.basicConfig(level=logging.WARNING, format="%(levelname)s %(message)s", stream=sys.stderr)
    settings = load(arguments.config)
    (controller,) = chosen(settings, [arguments.controller])
    return run_to_end(_plan(controller, settings.collector, arguments.format))


async def _plan(controller: ControllerSettings, collector: CollectorSettings, format: str) -> int:
    clock = SystemClock()
    recorder = Recorder(controller, timer=clock.monotonic, in_flight=collector.in_flight)
    async with Client(controller, in_flight=collector.in_flight, transport=recorder) as client:
        measured = await measure(client, recorder, collector, clock)
    failure = measured.walk.failure
    if failure is not None:
        print(
            f"sledkeeper: {controller.name}: {failure.resource}: {failure.happened}; {failure.to_do}; "
            f"'sledkeeper check {controller.name}' looks closer",
            file=sys.stderr,
        )
        return 1
    if format == "json":
        told = as_row(controller, measured)
        sys.stdout.write(msgspec.json.format(msgspec.json.encode(told), indent=2).decode() + "\n")
    else:
        sys.stdout.writelines(f"{line}\n" for line in table(controller, measured))
    assert measured.round is not None  # the walk went well
    if measured.round.outcome is not Outcome.OK:
        print(f"sledkeeper: {controller.name}: {measured.round.outcome.value}: {measured.round.error}", file=sys.stderr)
        return 1
    return 0


def as_row(controller: ControllerSettings, measured: Measured) -> dict[str, Any]:
    """For programs."""
    told: dict[str, Any] = msgspec.to_builtins(measured)
    walk, done, naive = told["walk"], told["round"], told["naive"]
    walk["defects"] = len(measured.walk.defects)
    walk.pop("failure")
    return {
        "controller": controller.name,
        "url": controller.url,
        "product": measured.product,
        "redfish_version": measured.version,
        "declares": told["declares"],
        "features": told["features"],
        "walk": walk,
        "requests": told["requests"],
        "round": done,
        "one_get_a_resource": {"requests": naive["requests"], "received_estimated": naive["received"]},
    }


def table(controller: ControllerSettings, measured: Measured) -> list[str]:
    """For people."""
    walk, done, naive = measured.walk, measured.round, measured.naive
    assert done is not None
    assert naive is not None
    who = f"{measured.product or 'no product told'}, Redfish {measured.version or 'of no version told'}"
    lines = [
        f"{controller.name}  {controller.url}  {who}",
        f"walk: {walk.requests} requests, {walk.received / 1000:.1f} kB, {walk.seconds:.2f} s; "
        f"{walk.resources} resources, {walk.parts} parts, {walk.sensors} sensors, {len(walk.defects)} defects",
        "",
        *_requests(measured.requests),
        "",
        f"round: {done.requests} requests, {done.received / 1000:.1f} kB, {done.seconds:.3f} s of {done.allowed:g} s "
        f"allowed; {done.values} of {walk.sensors} sensors with a value",
        f"one GET for every resource instead: {naive.requests} requests, about {naive.received / 1000:.1f} kB "
        "(estimated from what the walk fetched)",
    ]
    lines += _turns(measured.requests)
    if done.requests and done.received:
        lines.append(
            f"saved: {_saved(done.requests, naive.requests)} of the requests, "
            f"{_saved(done.received, naive.received)} of the bytes"
        )
    lines += ["", f"declares: {', '.join(measured.declares) or 'no protocol feature'}"]
    for feature in measured.features:
        used = f"used by {feature.used} of {len(measured.requests)} requests" if feature.used else "not used"
        offered = "offered" if feature.offered else "not offered"
        remark = f"; {feature.remark}" if feature.remark else ""
        lines.append(f"  {feature.feature:14}  {offered}, {used}{plain(remark, 300)}")
    return lines


def _turns(requests: tuple[Request, ...]) -> list[str]:
    """How many requests are not made in every round."""
    often = Counter(one.every for one in requests if one.every > 1)
    if not often:
        return []
    told = ", ".join(f"{count} once in {every} rounds" for every, count in sorted(often.items()))
    mean = sum(1 / one.every for one in requests)
    received = sum(one.received / one.every for one in requests)
    return [
        f"on average {mean:.1f} requests, {received / 1000:.1f} kB a round while nothing is wrong: what seldom changes "
        f"takes turns, {told}"
    ]


def _saved(here: int, there: int) -> str:
    """E.g. ``71 %``; a minus where it takes more."""
    return f"{100 * (1 - here / there):.0f} %" if there else "nothing"


_HEADS = ("#", "readings", "statuses", "indicators", "bytes", "ms", "brings")


def _requests(requests: tuple[Request, ...]) -> list[str]:
    """A line a request; its path stands last and whole, to be copied."""
    rows: list[tuple[str, ...]] = [_HEADS]
    rows += [
        (
            str(number),
            str(one.readings),
            str(one.statuses),
            str(one.indicators),
            str(one.received),
            f"{one.seconds * 1000:.1f}",
            ", ".join(f"{count} {plain(kind, 40)}" for kind, count in one.brings.items()),
        )
        for number, one in enumerate(requests, 1)
    ]
    totals = ("", *(str(sum(getattr(one, name) for one in requests)) for name in _SUMMED))
    rows.append((*totals, f"{sum(one.seconds for one in requests) * 1000:.1f}", "in all"))
    widths = [max(len(row[column]) for row in rows) for column in range(len(_HEADS))]
    paths = ["request", *(_path(one) for one in requests), ""]
    return [
        "  ".join(
            [text.rjust(width) for text, width in zip(row[:-1], widths, strict=False)]
            + [row[-1].ljust(widths[-1]), path]
        ).rstrip()
        for row, path in zip(rows, paths, strict=True)
    ]


_SUMMED = ("readings", "statuses", "indicators", "received")


def _path(one: Request) -> str:
    trouble = one.failure or (f"answered with {one.status}" if one.status not in (200, 304) else "")
    return plain(one.path, 500) + (f"  ({plain(trouble)})" if trouble else "")
