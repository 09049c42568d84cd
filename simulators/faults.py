"""The catalogue of faults: names, the kinds of parts that they befall, a sentence each; and how to write one down."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from simulators.site import PartKind, Site


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """A way in which a part can fail."""

    name: str
    kinds: tuple[PartKind, ...]
    text: str
    """What happens, for a person."""
    arguments: tuple[str, ...] = ()
    """Names of the arguments that injecting it takes, all optional."""


CATALOGUE: dict[str, Fault] = {
    fault.name: fault
    for fault in (
        Fault(
            name="fan-seized",
            kinds=(PartKind.FAN,),
            text="The rotor stands still; air leaks back through it and the other fans have to make up for it.",
        ),
        Fault(
            name="inlet-blocked",
            kinds=(PartKind.SLED, PartKind.BLADE),
            text="Something covers the air intake of the sled, or of one blade, by the given fraction.",
            arguments=("fraction",),
        ),
        Fault(
            name="controller-hung",
            kinds=(PartKind.CONTROLLER,),
            text="The management controller answers nothing more; hosts and fans run on.",
        ),
        Fault(
            name="controller-rebooting",
            kinds=(PartKind.CONTROLLER,),
            text="The management controller restarts and is away for the given seconds; fans run fast meanwhile.",
            arguments=("seconds",),
        ),
        Fault(
            name="blade-power-lost",
            kinds=(PartKind.BLADE,),
            text="The 12 V input of the blade is dead: host off, nothing on the blade can be read but its inlet air.",
        ),
        Fault(
            name="sensor-stuck",
            kinds=tuple(PartKind),
            text="One sensor of the part keeps telling the same value (its present one, or the one given).",
            arguments=("sensor", "value"),
        ),
        Fault(
            name="drive-failure-predicted",
            kinds=(PartKind.DRIVE,),
            text="The drive's own monitoring expects that it will fail; it still works.",
        ),
    )
}


class Injection(NamedTuple):
    """A fault on a part."""

    fault: str
    part: str


class UnknownFaultError(ValueError):
    """The text names no fault of the catalogue, no part of the site, or a part that cannot have that fault."""


def parse(text: str, site: Site) -> Injection:
    """Read ``fault@part``, e.g. ``fan-seized@r01-e1-s2/fan1``; UnknownFaultError says what would have been right."""
    name, at, path = text.strip().partition("@")
    if name not in CATALOGUE:
        raise UnknownFaultError(f"no fault is named {name!r}; there are: {', '.join(CATALOGUE)}")
    if not at or not path:
        raise UnknownFaultError(f"{text!r} names no part; write {name}@PART, e.g. {name}@{_example(name, site)}")
    check(name, path, site)
    return Injection(name, path)


def check(name: str, path: str, site: Site) -> None:
    """Raise UnknownFaultError unless the part exists and can have that fault."""
    if name not in CATALOGUE:
        raise UnknownFaultError(f"no fault is named {name!r}; there are: {', '.join(CATALOGUE)}")
    try:
        part = site.part(path)
    except KeyError as error:
        raise UnknownFaultError(f"{error.args[0]}; {name} befalls e.g. {_example(name, site)}") from error
    if part.kind not in CATALOGUE[name].kinds:
        kinds = ", ".join(CATALOGUE[name].kinds)
        raise UnknownFaultError(f"{name} does not befall a {part.kind} ({path}), only: {kinds}")


def _example(name: str, site: Site) -> str:
    kinds = CATALOGUE[name].kinds
    parts = (part.path for sled in site.sleds for part in sled.parts.values() if part.kind in kinds)
    return next(parts, "(no such part on this site)")
