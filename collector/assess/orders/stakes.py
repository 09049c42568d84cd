"""What goes down when a part is pulled, as against what merely gets less of something.

A fan that is pulled leaves what it cools running, only warmer; a shared adapter takes the network of every blade with
it; a processor takes its whole blade, for nobody reaches it otherwise.
"""

from __future__ import annotations

from collections.abc import Iterator

from collector.assess.tree import Tree
from collector.model import Fallen, Kind

SHARED_LOAD = frozenset({Kind.FAN, Kind.POWER_SUPPLY, Kind.PUMP, Kind.FILTER, Kind.BATTERY, Kind.LEAK_DETECTOR})
"""Kinds of which several share a job, or whose absence is borne for a while: nothing goes down at once with one."""
INSIDE_A_BOARD = frozenset({Kind.PROCESSOR, Kind.MEMORY, Kind.PCIE_DEVICE, Kind.STORAGE_CONTROLLER, Kind.HOST})
"""Kinds that are reached only with the board that carries them pulled."""
CARRIES = frozenset({Kind.BLADE, Kind.HOST, Kind.DRIVE, Kind.SLED, Kind.SWITCH, Kind.PORT, Kind.CONTROLLER})
"""Kinds worth naming among what goes down."""
_BOARDS = frozenset({Kind.BLADE, Kind.MODULE, Kind.SLED})


def pulled_with(tree: Tree, position: int) -> int:
    """Position of what has to be pulled to get at a part: itself, or the board that carries it."""
    if tree.parts[position].kind in INSIDE_A_BOARD:
        for outer in tree.ancestors(position):
            if tree.parts[outer].kind in _BOARDS:
                return outer
    return position


def goes_down(tree: Tree, position: int) -> tuple[Fallen, ...]:
    """Everything that goes down with a part when it is pulled, outermost first, itself left out."""
    pulled = pulled_with(tree, position)
    if tree.parts[pulled].kind in SHARED_LOAD:
        return ()
    reached = {*tree.within(pulled), *tree.affected_by(pulled)} - {position}
    return tuple(_fallen(tree, at) for at in sorted(reached, key=tree.order.index) if tree.parts[at].kind in CARRIES)


def leans_on(tree: Tree, position: int) -> tuple[Fallen, ...]:
    """The blades that get less of something while a shared part is out."""
    return tuple(
        _fallen(tree, at) for at in _around(tree, position) if tree.parts[at].kind in (Kind.BLADE, Kind.MODULE)
    )


def _around(tree: Tree, position: int) -> Iterator[int]:
    return iter(tree.affected_by(position))


def _fallen(tree: Tree, position: int) -> Fallen:
    part = tree.parts[position]
    return Fallen(part=part.id, name=part.location.text or part.name, kind=part.kind)
