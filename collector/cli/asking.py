"""``sledkeeper locate|power|observe|take|finish|give-back`` and ``requests``: what people have done from a terminal."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from difflib import get_close_matches

from collector.assess import asking, deeds
from collector.assess.asking import CantAsk
from collector.assess.lamp_reader import read_front
from collector.assess.lamps import panel_of
from collector.assess.tree import Tree
from collector.cli.output import FORMATS, iso, rows
from collector.cli.places import add_state, state_of
from collector.cli.waiting import WrongRequest, await_request, span
from collector.model import Kind, Lamps, LampState, Noticed, Part, Permits, PowerWish, Request, Status, WorkOrder
from collector.store.reader import Reader
from collector.store.requests import ask
from collector.text import plain

_MOST_NEAR = 5
_FLAGS = {Noticed.FAN_STANDS: "fan-stands", Noticed.LEAK: "wet"}


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the commands."""
    parser = _command(commands, "locate", "switch the locate lamp that leads to a part; it goes off by itself", _locate)
    parser.add_argument("part", metavar="PART", help="id, label or serial number of a part")
    parser.add_argument("--off", action="store_true", help="switch it off")
    parser.add_argument("--for", dest="lasting", metavar="TIME", help="how long it stays on, e.g. 15m")

    parser = _command(commands, "power", "switch or restart a host, after naming what goes down with it", _power)
    parser.add_argument("part", metavar="PART", help="id, label or serial number of a host, blade or sled")
    wishes = [wish.value.replace(" ", "-") for wish in PowerWish]
    parser.add_argument("how", metavar="HOW", choices=wishes, help=", ".join(wishes))
    parser.add_argument(
        "--confirm",
        metavar="LABEL",
        default="",
        help="the label on its front, to make sure; without it nothing is done",
    )

    parser = _command(
        commands, "observe", "say what a front shows, for the fault isolation to weigh", _observe, needs_why=False
    )
    parser.add_argument("part", metavar="PART", help="id, label or serial number of the part that was looked at")
    for colour in ("blue", "amber"):
        parser.add_argument(f"--{colour}", choices=("off", "on", "blink"), help=f"how its {colour} lamp is")
    for each in Noticed:
        parser.add_argument(f"--{_FLAGS[each]}", action="append_const", const=each, dest="noticed", help=each.value)

    for name, summary, make in (
        ("take", "take a work order on", _take),
        ("finish", "say that a work order is done: it is watched until its trouble clears", _finish),
        ("give-back", "leave a work order that was taken to others", _give_back),
    ):
        parser = _command(commands, name, summary, make, needs_why=False)
        parser.add_argument("order", metavar="ORDER", help="id of the order, or of the part that it is about")
        if name == "finish":
            parser.add_argument("--serial", default="", metavar="SERIAL", help="serial number of what was put in")

    summary = "what people asked for, and what came of it"
    parser = commands.add_parser("requests", help=summary, description=summary)
    add_state(parser)
    parser.add_argument("--limit", type=int, default=50, metavar="N", help="the newest so many (default: %(default)s)")
    parser.add_argument("--format", choices=FORMATS, default="table", help="default: %(default)s")
    parser.set_defaults(run=_requests)


Make = Callable[[argparse.Namespace, Reader, float], Request]


def _command(
    commands: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    summary: str,
    make: Make,
    needs_why: bool = True,
) -> argparse.ArgumentParser:
    parser = commands.add_parser(name, help=summary, description=summary)
    add_state(parser)
    parser.add_argument("--who", required=True, metavar="NAME", help="who asks for it")
    parser.add_argument("--why", required=needs_why, default="", metavar="TEXT", help="the reason")
    parser.set_defaults(run=run, make=make, patience=None)
    return parser


def run(arguments: argparse.Namespace) -> int:
    """Ask the collector, and wait a while for what comes of it: 0 done, 1 not or not yet, 2 wrong use."""
    state = state_of(arguments)
    make: Make = arguments.make
    try:
        with Reader(state) as reader:
            request = make(arguments, reader, time.time())
        number = ask(state, request)
    except (WrongRequest, CantAsk, ValueError) as error:
        print(f"sledkeeper: {error}", file=sys.stderr)
        return 2
    return await_request(state, number)


def _locate(arguments: argparse.Namespace, reader: Reader, now: float) -> Request:
    part, tree, statuses = _around(reader, arguments.part)
    minutes = None if arguments.lasting is None else span(arguments.lasting) / 60.0
    if arguments.off and minutes is not None:
        raise WrongRequest("--for goes with no --off")
    request = asking.locate(
        tree,
        statuses,
        part.id,
        who=arguments.who,
        why=arguments.why,
        now=now,
        on=not arguments.off,
        minutes=minutes,
        permits=_permits(reader),
    )
    if request.target != part.id:
        bearer = tree.parts[tree.at[request.target]]
        print(f"{_named(part)} has no locate lamp of its own: that of {_named(bearer)} is asked for")
    return request


def _power(arguments: argparse.Namespace, reader: Reader, now: float) -> Request:
    part, tree, _ = _around(reader, arguments.part)
    how = PowerWish(arguments.how.replace("-", " "))
    down = deeds.affected(tree, tree.at[part.id])
    if down:
        print(f"{how.value} {_named(part)} is about {len(down)} host{'s' if len(down) > 1 else ''}:")
        for each in down:
            print(f"  {plain(each.name)}")
    sys.stdout.flush()
    return asking.power(
        tree,
        part.id,
        how,
        confirm=arguments.confirm,
        who=arguments.who,
        why=arguments.why,
        now=now,
        permits=_permits(reader),
    )


def _observe(arguments: argparse.Namespace, reader: Reader, now: float) -> Request:
    part = the_part(reader.parts(), arguments.part)
    blue, amber = (LampState.UNKNOWN if told is None else LampState(told) for told in (arguments.blue, arguments.amber))
    looked = arguments.blue is not None or arguments.amber is not None
    seen = Lamps(blue, amber) if looked else None
    if seen is not None:
        tree = Tree(reader.parts(part.controller), reader.links(part.controller))
        carries = any(tree.parts[child].kind is Kind.HOST for child in tree.children[tree.at[part.id]])
        panel = panel_of(part.kind, carries)
        if panel is None:
            raise WrongRequest(f"{_named(part)} has no front with lamps of its own")
        reading = read_front(panel, seen, reader.lamps(part.controller).get(part.id))
        for line in (reading.meaning, reading.told, *reading.checks):
            if line:
                print(plain(line, 300))
        sys.stdout.flush()
    return asking.observe(
        part, who=arguments.who, now=now, seen=seen, noticed=tuple(arguments.noticed or ()), why=arguments.why
    )


def _take(arguments: argparse.Namespace, reader: Reader, now: float) -> Request:
    return asking.take(_the_order(reader, arguments.order), who=arguments.who, now=now, why=arguments.why)


def _finish(arguments: argparse.Namespace, reader: Reader, now: float) -> Request:
    order = _the_order(reader, arguments.order)
    return asking.finish(order, who=arguments.who, now=now, serial=arguments.serial, why=arguments.why)


def _give_back(arguments: argparse.Namespace, reader: Reader, now: float) -> Request:
    return asking.give_back(_the_order(reader, arguments.order), who=arguments.who, now=now, why=arguments.why)


def _the_order(reader: Reader, told: str) -> WorkOrder:
    orders = reader.answers.orders()
    found = [order for order in orders if told in (order.id, order.part)]
    if len(found) == 1:
        return found[0]
    if found:
        raise WrongRequest(f"{len(found)} orders are about it; name one: {', '.join(order.id for order in found)}")
    near = get_close_matches(told, [order.id for order in orders], n=3)
    hint = f"near that: {', '.join(near)}" if near else "'sledkeeper orders --format json' names them"
    raise WrongRequest(f"no open order has the id {plain(told, 120)!r}; {hint}")


def _around(reader: Reader, told: str) -> tuple[Part, Tree, dict[str, Status]]:
    """The part that somebody means, and all that its controller tells of."""
    part = the_part(reader.parts(), told)
    controller = part.controller
    tree = Tree(reader.parts(controller), reader.links(controller))
    return part, tree, reader.statuses(controller)


def the_part(parts: list[Part], told: str) -> Part:
    """The one part of this id, label or serial number; raises :class:`WrongRequest` where that is none or several."""
    by_id = {part.id: part for part in parts}
    if (found := by_id.get(told)) is not None:
        return found
    wanted = told.strip().casefold()
    meant = [
        part
        for part in parts
        if wanted
        and wanted in ((part.identity.serial or "").casefold(), part.location.text.casefold(), part.name.casefold())
    ]
    outermost = [part for part in meant if part.parent not in {each.id for each in meant}]
    if len(outermost) == 1:
        return outermost[0]
    if outermost:
        named = ", ".join(plain(part.id, 100) for part in outermost[:_MOST_NEAR])
        raise WrongRequest(f"{plain(told, 80)!r} is said of {len(outermost)} parts; name one by its id: {named}")
    near = get_close_matches(told, [*by_id, *(part.location.text for part in parts)], n=3)
    hint = f"near that: {', '.join(plain(each, 100) for each in near)}" if near else "'sledkeeper parts' lists them"
    raise WrongRequest(f"no part has the id, label or serial number {plain(told, 80)!r}; {hint}")


def _permits(reader: Reader) -> Permits | None:
    collector = reader.collector()
    return None if collector is None else collector.permits


def _named(part: Part) -> str:
    return plain(deeds.named(part))


def _requests(arguments: argparse.Namespace) -> int:
    with Reader(state_of(arguments)) as reader:
        found = reader.asked.requests(limit=max(1, arguments.limit))
    table = [
        {
            "number": each.id,
            "asked": iso(each.asked_at),
            "who": each.who,
            "what": each.verb,
            "about": each.target,
            "why": each.why,
            "state": each.state.value,
            "result": each.result,
            "done": iso(each.done_at),
        }
        for each in found
    ]
    rows(table, ("number", "asked", "who", "what", "about", "state", "result"), arguments.format)
    return 0
