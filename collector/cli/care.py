"""``sledkeeper acknowledge|shelve|unshelve|maintain|unmaintain`` and ``care``: what people do about conditions."""

from __future__ import annotations

import argparse
import sys
import time
from datetime import UTC, datetime, timedelta
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from collector.cli.output import FORMATS, iso, rows
from collector.cli.places import add_state, state_of
from collector.cli.waiting import WrongRequest, await_request, span
from collector.model import Care, CareKind, Location, Request, Verb
from collector.store.reader import Reader
from collector.store.requests import ask
from collector.text import plain

_VALID = 3600.0
"""Seconds within which a collector must get to a request that has no end of its own."""
_PLACES = ("site", "row", "rack", "enclosure", "sled", "slot")


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Register the commands."""
    parser = _command(commands, Verb.ACKNOWLEDGE, "say that somebody has seen a condition and looks after it")
    parser.add_argument("condition", metavar="ID", help="as 'conditions --format json' names it")
    parser = _command(commands, Verb.SHELVE, "set a condition aside for a time; it comes back early when it gets worse")
    parser.add_argument("condition", metavar="ID", help="as 'conditions --format json' names it")
    _add_end(parser)
    parser = _command(commands, Verb.UNSHELVE, "end that a condition is set aside")
    parser.add_argument("condition", metavar="ID")
    parser = _command(
        commands, Verb.MAINTAIN, "say that hands are at work in a place: what opens there is kept, and not announced"
    )
    for step in _PLACES:
        parser.add_argument(f"--{step}", metavar="LABEL", help=f"the {step}'s label, as the parts tell it")
    parser.add_argument("--controller", metavar="NAME", help="only what this controller tells of")
    parser.add_argument("--part", metavar="ID", help="only this part and what it contains")
    parser.add_argument("--from", dest="since", metavar="TIME", help="when it begins: ISO 8601; default: now")
    _add_end(parser)
    parser = _command(commands, Verb.UNMAINTAIN, "end maintenance before its time")
    parser.add_argument("number", metavar="NUMBER", type=int, help="as 'care' lists it")

    summary = "what people have acknowledged, shelved or put into maintenance"
    parser = commands.add_parser("care", help=summary, description=summary)
    add_state(parser)
    parser.add_argument("--format", choices=FORMATS, default="table", help="default: %(default)s")
    parser.set_defaults(run=show)


def _command(
    commands: argparse._SubParsersAction[argparse.ArgumentParser], verb: Verb, summary: str
) -> argparse.ArgumentParser:
    parser = commands.add_parser(verb.value, help=summary, description=summary)
    add_state(parser)
    parser.add_argument("--who", required=True, metavar="NAME", help="who asks for it")
    ends = verb in (Verb.UNSHELVE, Verb.UNMAINTAIN)
    parser.add_argument("--why", required=not ends, default="", metavar="TEXT", help="the reason")
    parser.set_defaults(run=run, verb=verb)
    return parser


def _add_end(parser: argparse.ArgumentParser) -> None:
    end = parser.add_mutually_exclusive_group(required=True)
    end.add_argument("--until", metavar="TIME", help="when it ends: ISO 8601, e.g. 2026-03-01T17:00Z")
    end.add_argument("--for", dest="lasting", metavar="TIME", help="how long it lasts, e.g. 30m, 8h, 2d")


def run(arguments: argparse.Namespace) -> int:
    """Ask the collector, and wait a little for what comes of it: 0 done, 1 refused, 2 wrong use."""
    state = state_of(arguments)
    try:
        number = ask(state, _request(arguments, state, time.time()))
    except (WrongRequest, ValueError) as error:
        print(f"sledkeeper: {error}", file=sys.stderr)
        return 2
    return await_request(state, number)


def _request(arguments: argparse.Namespace, state: Path, now: float) -> Request:
    told: dict[str, str | float | int | bool | None] = {}
    begin = getattr(arguments, "since", None)
    since = now if begin is None else _time(begin)
    until: float | None = None
    if getattr(arguments, "until", None) is not None:
        until = _time(arguments.until)
    elif getattr(arguments, "lasting", None) is not None:
        until = since + span(arguments.lasting)
    if until is not None:
        told["until"] = until
    if begin is not None:
        told["since"] = since
    match arguments.verb:
        case Verb.MAINTAIN:
            place = {step: value for step in _PLACES if (value := getattr(arguments, step)) is not None}
            told |= place | {
                key: value for key in ("controller", "part") if (value := getattr(arguments, key)) is not None
            }
            target = _maintained(told)
        case Verb.UNMAINTAIN:
            target = str(arguments.number)
        case _:
            target = arguments.condition
            _check_condition(target, arguments.verb, state)
    if not arguments.who.strip() or (arguments.verb in _NEED_A_REASON and not arguments.why.strip()):
        raise WrongRequest("--who and --why must say something")
    return Request(
        asked_at=now,
        who=arguments.who,
        verb=arguments.verb,
        target=target,
        arguments=told,
        why=arguments.why,
        expires=now + _VALID if until is None else max(until, now + 1.0),
    )


_NEED_A_REASON = (Verb.ACKNOWLEDGE, Verb.SHELVE, Verb.MAINTAIN)


def _maintained(told: dict[str, Any]) -> str:
    words = [str(told[step]) for step in (*_PLACES, "controller", "part") if step in told]
    if not words:
        raise WrongRequest("maintenance needs a place: --site, --row, --rack, --enclosure, --sled, --controller…")
    return " / ".join(words)


def _check_condition(target: str, verb: str, state: Path) -> None:
    with Reader(state) as reader:
        if verb == Verb.UNSHELVE:
            known = [each.condition or "" for each in reader.asked.care() if each.kind is CareKind.SHELVED]
        else:
            known = [condition.id for condition in reader.conditions()]
    if target not in known:
        near = get_close_matches(target, known, n=3)
        hint = f"near that: {', '.join(near)}" if near else "'sledkeeper conditions --format json' names them"
        what = "no shelved condition" if verb == Verb.UNSHELVE else "no open condition"
        raise WrongRequest(f"{what} has the id {plain(target, 80)!r}; {hint}")


def show(arguments: argparse.Namespace) -> int:
    """List what holds, and what is still to be carried out."""
    with Reader(state_of(arguments)) as reader:
        conditions = {condition.id: condition.text for condition in reader.conditions()}
        found = [_care(each, conditions) for each in reader.asked.care()]
        found += [_asked(each) for each in reader.asked.requests(asked_only=True)]
    columns = ("number", "what", "about", "who", "why", "since", "until")
    rows(found, columns, arguments.format)
    return 0


def _care(care: Care, conditions: dict[str, str]) -> dict[str, Any]:
    if care.condition is not None:
        about = conditions.get(care.condition, f"{care.condition} (not open now)")
    else:
        steps = [getattr(care.place, step) for step in _PLACES]
        about = " / ".join(step for step in (*steps, care.controller, care.part) if step)
    return {
        "number": care.id,
        "what": care.kind.value,
        "about": about,
        "who": care.who,
        "why": care.why,
        "since": iso(care.since),
        "until": iso(care.until),
        "condition": care.condition,
        "place": {step: value for step in Location.__struct_fields__ if (value := getattr(care.place, step))},
        "controller": care.controller,
        "part": care.part,
    }


def _asked(request: Request) -> dict[str, Any]:
    until = request.arguments.get("until")
    return {
        "number": request.id,
        "what": f"asked: {request.verb}",
        "about": request.target,
        "who": request.who,
        "why": request.why,
        "since": iso(request.asked_at),
        "until": iso(until) if isinstance(until, float) else None,
        "condition": None,
        "place": {},
        "controller": None,
        "part": None,
    }


def _time(text: str) -> float:
    try:
        told = datetime.fromisoformat(text)
    except ValueError:
        raise WrongRequest(f"{plain(text, 40)!r} is no time in ISO 8601, e.g. 2026-03-01T17:00Z") from None
    if told.tzinfo is None:
        raise WrongRequest(f"{plain(text, 40)!r} names no time zone; end it with Z or an offset such as +01:00")
    return (told - datetime(1970, 1, 1, tzinfo=UTC)) / timedelta(seconds=1)
