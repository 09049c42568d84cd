"""Looks at what people saw: a lamp that differs from what is told, a fan that stands, something wet.

A person looks at one moment, and what a controller tells is some seconds old. So a lamp differs only where it fits
neither what was told at the time nor what the next round tells; then it stays so until somebody looks again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from collector.assess.lamp_reader import agreement, seen_words
from collector.assess.lamps import Agreement
from collector.assess.looking import Seen
from collector.assess.sightings import Sightings
from collector.assess.ward import READ
from collector.model import Inventory, Lamps, LampState, Noticed, Observation, Seconds, Sighting, Sign, SignKey, Visible

SURE = 0.95
"""How sure what a person says is there: they misread, and mistake the part. Judgement, no source."""
_SIGNS: Mapping[Noticed, Sign] = {Noticed.FAN_STANDS: Sign.STANDS, Noticed.LEAK: Sign.LEAKING}


class WitnessLook:
    """Of one controller; ``sightings`` are the fleet's, ``lamps`` gives what its fronts should show by now."""

    def __init__(self, controller: str, sightings: Sightings, lamps: Callable[[], Mapping[str, Lamps]]) -> None:
        self.visible: Visible = {}
        self.present: Mapping[SignKey, Observation] = {}
        self._controller = controller
        self._sightings = sightings
        self._lamps = lamps
        self._judged: dict[int, Agreement] = {}
        """By request: how what was seen compares, once that is certain."""

    def inventory(self, inventory: Inventory, now: Seconds) -> None:
        """Take a finished walk."""

    def round(self, seen: Seen) -> bool:
        """Take a finished round; say whether anything changed."""
        current = self._sightings.of(self._controller)
        if not current and not self.visible:
            return False
        visible: dict[str, frozenset[Sign]] = {}
        present: dict[SignKey, Observation] = {}
        for part, sighting in current.items():
            if sighting.until <= seen.time:
                continue
            found = self._agreement(sighting, seen)
            signs = {_SIGNS[each] for each in sighting.noticed}
            if found is not Agreement.NOT_TOLD:
                signs.add(Sign.LAMP_WRONG)
            if signs:
                visible[part] = frozenset(signs)
            if found is Agreement.DISAGREES:
                self._note(present, sighting, Sign.LAMP_WRONG, _differs(sighting))
            for each in sighting.noticed:
                self._note(present, sighting, _SIGNS[each], f"somebody who looked says that {each.value}")
        numbers = {sighting.request for sighting in current.values()}
        self._judged = {number: found for number, found in self._judged.items() if number in numbers}
        changed = visible != self.visible or present != self.present
        self.visible, self.present = visible, present
        return changed

    def _agreement(self, sighting: Sighting, seen: Seen) -> Agreement:
        if sighting.seen is None or sighting.told is None:
            return Agreement.NOT_TOLD
        if (known := self._judged.get(sighting.request)) is not None:
            return known
        found = agreement(sighting.seen, sighting.told)
        if found is Agreement.DISAGREES and not sighting.by_deed:
            if seen.outcome not in READ or seen.time <= sighting.at:
                return Agreement.NOT_TOLD  # not yet
            now = self._lamps().get(sighting.part)
            if now is not None and agreement(sighting.seen, now) is Agreement.AGREES:
                found = Agreement.AGREES
        self._judged[sighting.request] = found
        return found

    def _note(self, present: dict[SignKey, Observation], sighting: Sighting, sign: Sign, text: str) -> None:
        observation = Observation(
            controller=self._controller, part=sighting.part, sign=sign, since=sighting.at, weight=SURE, text=text
        )
        present[observation.key] = observation


def _differs(sighting: Sighting) -> str:
    assert sighting.seen is not None
    assert sighting.told is not None
    if sighting.by_deed:
        on = sighting.told.amber is LampState.BLINK
        return f"its locate lamp was switched {'on' if on else 'off'} and did not follow, as its controller says"
    return f"its front was seen with {seen_words(sighting.seen)}, and should show {seen_words(sighting.told)}"
