"""Faults as people write them down: those of the hardware, by names that start with ``wire-`` those of the wire, and
with ``deed-`` those of what controllers are asked to do."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from simulators import faults
from simulators.faults import Argument, FaultError
from simulators.service.manners import TEXTS, Manner
from simulators.service.wire import A_YEAR, KINDS, Wire
from simulators.site import Site

WIRE = "wire-"
"""A fault whose name starts so is one of the wire, on a controller: ``wire-html@r01-e1-s2``."""

DEED = "deed-"
"""A fault whose name starts so is one of what is asked of a controller: ``deed-ignored@r01-e1-s2``."""

_TAKES = ("delay", "spare", "under", "offset")


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A fault to switch on, of the hardware or of the wire."""

    name: str
    part: str
    """Path of the part; of the wire: the controller's name."""
    arguments: Mapping[str, Argument] = field(default_factory=dict)
    after: float = 0.0
    """Seconds from when the fleet is ready."""

    @property
    def of_wire(self) -> bool:
        """Whether it is a fault of the wire."""
        return self.name.startswith(WIRE)

    @property
    def of_deeds(self) -> bool:
        """Whether it is a fault of what is asked of a controller."""
        return self.name.startswith(DEED)


def parse(text: str, site: Site) -> Plan:
    """Read ``NAME@PART[:ARGUMENT=VALUE…][+SECONDS]``; FaultError says what would have been right."""
    if not text.strip().startswith((WIRE, DEED)):
        found = faults.parse(text, site)
        return Plan(name=found.fault, part=found.part, arguments=found.arguments, after=found.after)
    name, _, rest = text.strip().partition("@")
    rest, plus, delay = rest.partition("+")
    path, *given = rest.split(":")
    arguments: dict[str, Argument] = {}
    for one in given:
        word, equals, value = one.partition("=")
        if not equals:
            raise FaultError(f"{one!r} in {text!r} is no argument; write NAME=VALUE")
        arguments[word] = value
    if name.startswith(DEED):
        manner(name, arguments)
    else:
        wire(name, arguments)
    if not path:
        raise FaultError(f"{text!r} names no controller; write e.g. {name}@{site.sleds[0].name}")
    return Plan(
        name=name, part=controller(path, site), arguments=arguments, after=_seconds(delay, text) if plus else 0.0
    )


def wire(name: str, arguments: Mapping[str, Argument]) -> Wire:
    """The wire of a fault's name and arguments; FaultError where there is none such."""
    strange = sorted(set(arguments) - set(_TAKES))
    if strange:
        raise FaultError(f"{name} takes no argument {strange[0]!r}; it takes: {', '.join(_TAKES)}")
    try:
        return Wire(
            kind=name.removeprefix(WIRE),
            delay=float(arguments.get("delay", 0.0)),
            spare=int(arguments.get("spare", 0)),
            under=str(arguments.get("under", "/")),
            offset=float(arguments.get("offset", -A_YEAR)),
        )
    except ValueError as error:
        raise FaultError(f"{name}: {error}") from error


def manner(name: str, arguments: Mapping[str, Argument]) -> Manner:
    """The manner of a fault's name; FaultError where there is none such."""
    word = name.removeprefix(DEED)
    if arguments or word not in set(Manner):
        raise FaultError(f"no fault of deeds is called {name!r}; there are: {', '.join(DEED + each for each in TEXTS)}")
    return Manner(word)


def controller(path: str, site: Site) -> str:
    """The name of the controller of a sled or shelf, or of what a part is in; FaultError where there is none."""
    try:
        return site.unit(path).name
    except KeyError as error:
        raise FaultError(f"{error.args[0]}; there is e.g. {site.sleds[0].name}") from error


def describe() -> Iterator[str]:
    """A line for each fault that can be asked for."""
    yield from faults.describe()
    for kind, fault in KINDS.items():
        if kind != "clean":
            yield f"{WIRE}{kind}@CONTROLLER:{'=…:'.join(_TAKES)}=…  {fault.text}"
    for each, text in TEXTS.items():
        yield f"{DEED}{each.value}@CONTROLLER  {text}"


def _seconds(text: str, whole: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 0.0 <= value < math.inf:
        raise FaultError(f"{text!r} in {whole!r} is no number of seconds to wait")
    return value
