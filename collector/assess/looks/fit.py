"""Looks for parts that are not what their place should hold, and for firmware that is behind.

What a place should hold stands in the fleet file's designs. Firmware of parts that no design speaks of is held against
that of the fleet's parts of the same kind, model and part number: where nearly all run a newer one, it is behind.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from collector.assess.fit import is_behind, misfits
from collector.assess.looking import Seen
from collector.assess.tree import Tree
from collector.model import Design, Inventory, Misfit, Misfitting, Observation, Part, Seconds, Sign, SignKey, Visible

_LEAST_PEERS = 4
"""Parts alike, itself not counted, below which nothing is said of firmware."""
_NEARLY_ALL = 0.8
_SIGNS = {
    Misfitting.WRONG: Sign.WRONG_PART,
    Misfitting.MISPLACED: Sign.MISPLACED,
    Misfitting.EXTRA: Sign.WRONG_PART,
    Misfitting.BEHIND: Sign.OLD_FIRMWARE,
}
_FITTING = frozenset({Sign.WRONG_PART, Sign.MISPLACED, Sign.OLD_FIRMWARE})
_Likeness = tuple[str, str | None, str | None]


class Firmware:
    """The firmware of the whole fleet, by parts alike. A walk costs by its own parts."""

    def __init__(self) -> None:
        self._versions: dict[_Likeness, Counter[str]] = {}
        self._of: dict[str, list[tuple[_Likeness, str]]] = {}

    def inventory(self, inventory: Inventory) -> None:
        """Take a finished walk in place of the controller's last one."""
        for likeness, version in self._of.pop(inventory.controller, ()):
            self._versions[likeness][version] -= 1
        told = [
            (_likeness(part), part.identity.firmware)
            for part in inventory.parts
            if part.identity.firmware is not None and part.identity.model is not None
        ]
        for likeness, version in told:
            self._versions.setdefault(likeness, Counter())[version] += 1
        self._of[inventory.controller] = told

    def usual(self, part: Part) -> str | None:
        """The version that nearly all parts like this one run; None where there are too few, or no such version."""
        versions = self._versions.get(_likeness(part))
        if versions is None or part.identity.firmware is None:
            return None
        total = versions.total() - 1
        version, count = versions.most_common(1)[0]
        return version if total >= _LEAST_PEERS and count >= _NEARLY_ALL * total else None


class FitLook:
    """Of one controller; ``firmware`` is the fleet's."""

    def __init__(self, controller: str, designs: Sequence[Design], firmware: Firmware) -> None:
        self.visible: Visible = {}
        self.present: Mapping[SignKey, Observation] = {}
        self.misfits: tuple[Misfit, ...] = ()
        """All of them, those without a part as well."""
        self._controller = controller
        self._designs = tuple(designs)
        self._firmware = firmware
        self._changed = False

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk."""
        self._firmware.inventory(inventory)
        self.misfits = tuple(misfits(Tree(inventory.parts, inventory.links), inventory.statuses, self._designs))
        present: dict[SignKey, Observation] = {}
        for misfit in self.misfits:
            if misfit.part is not None and misfit.how in _SIGNS:
                self._note(present, misfit.part, _SIGNS[misfit.how], misfit.text, 1.0, now)
        for part in inventory.parts:
            usual, version = self._firmware.usual(part), part.identity.firmware
            if usual is not None and version is not None and is_behind(version, usual):
                text = f"{part.kind.value} {part.name} runs firmware {version}, nearly all like it run {usual}"
                self._note(present, part.id, Sign.OLD_FIRMWARE, text, 0.9, now)
        self.visible = {part.id: _FITTING for part in inventory.parts}
        self._changed = present != self.present
        self.present = present

    def round(self, seen: Seen) -> bool:
        """Nothing of it changes but by a walk."""
        changed, self._changed = self._changed, False
        return changed

    def _note(
        self, present: dict[SignKey, Observation], part: str, sign: Sign, text: str, weight: float, now: Seconds
    ) -> None:
        key: SignKey = (part, sign, None)
        since = self.present[key].since if key in self.present else now
        if key not in present:
            present[key] = Observation(
                controller=self._controller, part=part, sign=sign, since=since, weight=weight, text=text
            )


def _likeness(part: Part) -> _Likeness:
    return (part.kind.value, part.identity.model, part.identity.part_number)
