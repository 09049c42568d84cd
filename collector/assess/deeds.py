"""What an action is about: whose lamp, which hosts go down, what the label to be typed is. Pure, over one tree."""

from __future__ import annotations

from collections.abc import Mapping

from collector.assess.orders.stakes import goes_down
from collector.assess.tree import Tree
from collector.model import Fallen, Kind, Part, Status

LONGEST_LABEL = 64
_SWITCHED_AS_A_WHOLE = frozenset({Kind.BLADE, Kind.MODULE, Kind.SLED, Kind.ENCLOSURE, Kind.RACK})


def lamp_resources(tree: Tree, position: int) -> tuple[str, ...]:
    """Where a part's locate lamp may be switched, best first: at itself, at hosts that it carries, or the other way.

    A write to a host's or a chassis' lamp 'may modify' the other (DSP8010, Chassis): they are one lamp. A row of the
    legacy Thermal and Power resources is no resource, and has no lamp to be written to.
    """
    part = tree.parts[position]
    found = [part, *(tree.parts[child] for child in tree.children[position] if tree.parts[child].kind is Kind.HOST)]
    parent = tree.parent[position]
    if part.kind is Kind.HOST and parent >= 0 and tree.parts[parent].kind is not Kind.RACK:
        found.append(tree.parts[parent])
    return tuple(dict.fromkeys(each.uri for each in found if "#" not in each.uri))


def has_lamp(tree: Tree, position: int, statuses: Mapping[str, Status]) -> bool:
    """Whether the controller tells of a locate lamp of this part."""
    resources = set(lamp_resources(tree, position))
    near = (position, *tree.children[position], *([tree.parent[position]] if tree.parent[position] >= 0 else []))
    told = [statuses.get(tree.parts[each].id) for each in near if tree.parts[each].uri in resources]
    return any(status is not None and (status.locate is not None or status.led is not None) for status in told)


def lamp_bearer(tree: Tree, position: int, statuses: Mapping[str, Status]) -> int | None:
    """Position of the part whose lamp leads to this one: itself, or the nearest around it that has one."""
    for each in (position, *tree.ancestors(position)):
        kind, around = tree.parts[each].kind, tree.parent[each]
        if kind is Kind.HOST and around >= 0 and has_lamp(tree, around, statuses):
            continue  # it has no front: its blade has
        if kind is not Kind.RACK and has_lamp(tree, each, statuses):
            return each
    return None


def is_lit(tree: Tree, position: int, statuses: Mapping[str, Status]) -> bool:
    """Whether the controller says that a part's locate lamp is on."""
    near = (position, *(child for child in tree.children[position] if tree.parts[child].kind is Kind.HOST))
    told = [statuses.get(tree.parts[each].id) for each in near]
    return any(status is not None and (status.locate is True or status.led == "Blinking") for status in told)


def switched_at(tree: Tree, position: int) -> int | None:
    """Position of what has the reset that a part is switched by; None for a part that is not switched.

    A host has its own; a part that carries one host is switched by that; what carries several, as a whole.
    """
    part = tree.parts[position]
    if part.kind in (Kind.HOST, Kind.CONTROLLER):
        return position
    if part.kind not in _SWITCHED_AS_A_WHOLE:
        return None
    hosts = [at for at in tree.within(position) if tree.parts[at].kind is Kind.HOST]
    return hosts[0] if len(hosts) == 1 else position


def hosts_down(tree: Tree, position: int) -> tuple[Part, ...]:
    """Every host that goes down when a part is switched, in the order of the tree.

    For a part that is switched as a whole that is what it carries, and what depends on what it carries.
    """
    at = switched_at(tree, position)
    if at is None or tree.parts[at].kind is Kind.CONTROLLER:
        return ()
    if tree.parts[at].kind is Kind.HOST:
        return (tree.parts[at],)
    reached = {tree.at[each.part] for each in goes_down(tree, at) if each.kind is Kind.HOST}
    reached |= {each for each in tree.within(at) if tree.parts[each].kind is Kind.HOST}
    return tuple(tree.parts[each] for each in sorted(reached, key=tree.order.index))


def affected(tree: Tree, position: int) -> tuple[Fallen, ...]:
    """The same, to be named to the person who asks."""
    return tuple(
        Fallen(part=host.id, name=_where(tree, tree.at[host.id]), kind=host.kind) for host in hosts_down(tree, position)
    )


def label(tree: Tree, position: int) -> str:
    """What stands on a part's front, to be typed by who wants it switched: its slot, else its sled, else its name."""
    for each in (position, *tree.ancestors(position)):
        part = tree.parts[each]
        if part.kind is Kind.HOST:
            continue  # a host has no front: its blade has
        told = part.location.slot or (part.location.sled if part.kind is Kind.SLED else None)
        return (told or part.name)[:LONGEST_LABEL]
    return tree.parts[position].name[:LONGEST_LABEL]


def same_label(typed: str, wanted: str) -> bool:
    """Whether what was typed is the label, whatever its case and blanks."""
    return " ".join(typed.split()).casefold() == " ".join(wanted.split()).casefold() != ""


def named(part: Part) -> str:
    """A part for sentences: where it is, else what it is called."""
    return part.location.text or part.name


def _where(tree: Tree, position: int) -> str:
    host, parent = tree.parts[position], tree.parent[position]
    where = host.location.text or (tree.parts[parent].location.text if parent >= 0 else "")
    return f"{host.name} at {where}" if where else host.name


def serials(tree: Tree, position: int) -> dict[str, str]:
    """By part id, the serial numbers that make sure that what is switched is what was meant: of the part, of what it is
    switched by, and of the blade around a host."""
    at = switched_at(tree, position)
    near = {position, at if at is not None else position}
    if tree.parts[position].kind is Kind.HOST and tree.parent[position] >= 0:
        near.add(tree.parent[position])
    return {tree.parts[each].id: serial for each in sorted(near) if (serial := tree.parts[each].identity.serial)}
