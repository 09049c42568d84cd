"""How a person writes a fault down, and what is said where that names no fault, part or argument."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from simulators.faults.catalogue import CATALOGUE
from simulators.faults.fault import Argument, Arguments, Fault, FaultError, number
from simulators.site import Part, Site


class Injection(NamedTuple):
    """A fault to be switched on."""

    fault: str
    part: str
    arguments: dict[str, Argument] = {}  # noqa: RUF012 - a NamedTuple's default; nobody writes to it
    after: float = 0.0
    """Seconds to wait before."""


def parse(text: str, site: Site) -> Injection:
    """Read ``FAULT@PART``, with ``:name=value`` for each argument and ``+SECONDS`` of delay where wanted.

    For example ``fan-seized@r01-e1-s2/fan1``, ``inlet-blocked@r01-e1-s2:fraction=0.5+30``. FaultError says what is
    wrong and what would have been right.
    """
    name, at, rest = text.strip().partition("@")
    known(name)
    rest, plus, delay = rest.partition("+")
    path, *given = rest.split(":")
    if not at or not path:
        raise FaultError(f"{text!r} names no part; write {name}@PART, e.g. {name}@{_example(name, site)}")
    check(name, path, site)
    arguments: dict[str, Argument] = {}
    for one in given:
        word, equals, value = one.partition("=")
        if not equals or not word or not value:
            raise FaultError(f"{one!r} in {text!r} is no argument; write NAME=VALUE")
        arguments[word] = _value(value)
    complete(name, arguments)
    after = _seconds(delay, text) if plus else 0.0
    return Injection(name, path, arguments, after)


def known(name: str) -> Fault:
    """The fault of that name; FaultError, listing all names, where there is none."""
    try:
        return CATALOGUE[name]
    except KeyError:
        raise FaultError(f"no fault is named {name!r}; there are: {', '.join(CATALOGUE)}") from None


def check(name: str, path: str, site: Site) -> Part:
    """The part at the path; FaultError unless it exists and can have that fault."""
    fault = known(name)
    try:
        part = site.part(path)
    except KeyError as error:
        raise FaultError(f"{error.args[0]}; {name} goes e.g. on {_example(name, site)}") from error
    if part.kind not in fault.kinds:
        raise FaultError(f"{name} cannot befall {path}, a {part.kind}; it befalls: {', '.join(fault.kinds)}")
    if not fault.befalls(site.unit(path), part):
        raise FaultError(f"{name} cannot befall this {part.kind}, {path}; it goes e.g. on {_example(name, site)}")
    return part


def complete(name: str, arguments: Arguments) -> dict[str, Argument]:
    """The arguments with defaults for those not given; FaultError for one that the fault does not take."""
    fault = known(name)
    strange = sorted(set(arguments) - set(fault.arguments))
    if strange:
        takes = ", ".join(fault.arguments) or "none"
        raise FaultError(f"{name} takes no argument {strange[0]!r}; it takes: {takes}")
    full = {word: value for word, value in fault.arguments.items() if value is not None} | dict(arguments)
    for word, (least, most) in fault.limits.items():
        if word in full:
            number(full, word, least, most)
    return full


def describe() -> Iterable[str]:
    """A line for each fault: name, what it befalls, arguments, what happens."""
    for fault in CATALOGUE.values():
        words = "".join(f":{word}=…" for word in fault.arguments)
        yield f"{fault.name}@PART{words}  (PART: {', '.join(fault.kinds)})  {fault.text}"


def _value(text: str) -> Argument:
    try:
        return float(text)
    except ValueError:
        return text


def _seconds(text: str, whole: str) -> float:
    value = _value(text)
    if isinstance(value, str) or not 0.0 <= value < float("inf"):
        raise FaultError(f"{text!r} in {whole!r} is no number of seconds to wait")
    return value


def _example(name: str, site: Site) -> str:
    return next((part.path for part in CATALOGUE[name].targets(site)), "(no such part on this site)")
