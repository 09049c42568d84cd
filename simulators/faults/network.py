"""Faults of network adapters, cables and switches."""

from __future__ import annotations

from simulators.digital import Flap
from simulators.faults.fault import Arguments, Fault, Target, number
from simulators.knobs import Knobs
from simulators.network import Joint
from simulators.parts import Equipment, Part, Sled
from simulators.site import PartKind


def _own(target: Target) -> list[str]:
    """What of the sled hangs on the switch, port or cable."""
    assert isinstance(target.part, Joint), target.part.path
    return [end for end in target.part.ends if end.partition("/")[0] == target.sled.name]


def _adapter_dead(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    assert isinstance(target.sled, Sled), "only sleds have adapters"
    ports = range(1, target.sled.design.adapter.ports + 1)
    electronics = knobs.electronics(target.row)
    electronics.dead[target.part.path] = "UnavailableOffline"
    electronics.down.update(f"{target.part.path}/port{k}" for k in ports)


def _links_lost(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.electronics(target.row).down.update(_own(target))


def _cut_off(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    knobs.electronics(target.row).cut_off = True


def _half_seated(knobs: Knobs, target: Target, arguments: Arguments) -> None:
    period, duty = number(arguments, "period"), number(arguments, "duty")
    knobs.electronics(target.row).flaps += [Flap(end, target.since, period, duty) for end in _own(target)]


def _of_data(unit: Equipment, part: Part) -> bool:
    return isinstance(part, Joint) and part.role == "data"


def _of_management(unit: Equipment, part: Part) -> bool:
    return isinstance(part, Joint) and part.role == "management"


def _seen_from_inside(unit: Equipment, part: Part) -> bool:
    return isinstance(part, Joint) and part.role != "management"


FAULTS: tuple[Fault, ...] = (
    Fault(
        name="network-adapter-dead",
        kinds=(PartKind.NETWORK_ADAPTER,),
        text="The adapter that all blades of the sled share answers nothing more; none of its ports has link.",
        turn=_adapter_dead,
    ),
    Fault(
        name="switch-port-lost",
        kinds=(PartKind.PORT,),
        text="One port of the rack's data switch is dead: what hangs on it has no link.",
        turn=_links_lost,
        befalls=_of_data,
    ),
    Fault(
        name="switch-lost",
        kinds=(PartKind.SWITCH,),
        text="The rack's data switch is dead: every port of every adapter that hangs on it has no link.",
        turn=_links_lost,
        befalls=_of_data,
    ),
    Fault(
        name="management-switch-lost",
        kinds=(PartKind.SWITCH,),
        text="The rack's management switch is dead: none of the rack's controllers can be connected to; hosts run on.",
        turn=_cut_off,
        befalls=_of_management,
    ),
    Fault(
        name="cable-half-seated",
        kinds=(PartKind.CABLE,),
        text="A plug is half in: the link of a port, or the presence of a drive or blade, comes and goes.",
        turn=_half_seated,
        arguments={"period": 60.0, "duty": 0.5},
        limits={"period": (1.0, 3600.0), "duty": (0.05, 0.95)},
        draws={"period": (45.0, 150.0), "duty": (0.35, 0.6)},
        hard=False,
        befalls=_seen_from_inside,
    ),
)
