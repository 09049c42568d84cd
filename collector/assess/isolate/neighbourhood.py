"""Neighbourhoods: signs that hang together through the faults that may be behind them, and their posterior."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

import numpy as np
from msgspec import Struct, structs

from collector.assess.isolate.explain import Weighed
from collector.assess.isolate.failures import SPILL, SPILLS, leak
from collector.assess.isolate.faults import Fault, Faults, Spot
from collector.assess.isolate.hearing import Hearing
from collector.assess.isolate.posterior import Evidence, weigh
from collector.model import Observation, Seconds

FAR_FETCHED = -9.0
"""Logarithm of the odds below which a fault is left out.

The evidence for a fault is greatest when nothing else explains what it explains (a sign that others explain gains
nothing from it, a sign that is not there speaks against it all the same), so a fault left out could never have made
more than e**-9 of any explanation's probability.
"""
MOST_FAULTS = 400
"""Faults of one neighbourhood that are weighed, by pairs too; the most probable ones."""
MOST_ROUNDS = 6
"""Times that a neighbourhood with more than two faults is weighed, each with what was found before as given."""
EXPLAINED = 0.02
"""Probability under the best explanation from which on a sign counts as explained."""


class Around(Struct, frozen=True):
    """One neighbourhood: its present signs and the faults that may be behind them."""

    spots: tuple[Spot, ...]
    faults: tuple[Fault, ...]


def around(seed: Spot, hearing: Hearing, faults: Faults) -> Around:
    """Everything that hangs together with one present sign."""
    spots = {seed}
    found: dict[str, list[Fault]] = {}
    looked_at: set[int] = set()
    queue = [seed]
    present = hearing.present
    while queue:
        spot = queue.pop()
        beside = [other for other in _beside(spot) if other not in spots and present(other) is not None]
        spots.update(beside)
        queue += beside
        for fault in faults.behind(spot):
            if id(fault) in looked_at:
                continue
            looked_at.add(id(fault))
            shown = [spot for spot in fault.shows if present(spot) is not None]
            if _odds(fault, shown, hearing) < FAR_FETCHED:
                continue
            found.setdefault(fault.key, []).append(fault)
            fresh = [spot for spot in shown if spot not in spots]
            spots.update(fresh)
            queue += fresh
    chosen = [_spilling(_merged(same), spots) for _, same in sorted(found.items())]
    if len(chosen) > MOST_FAULTS:
        chosen.sort(key=lambda fault: -_odds(fault, [spot for spot in fault.shows if spot in spots], hearing))
        chosen = sorted(chosen[:MOST_FAULTS], key=lambda fault: fault.key)
    return Around(tuple(sorted(spots)), tuple(chosen))


def _beside(spot: Spot) -> Iterable[Spot]:
    """The signs of one part that may be one oddity: of what is measured, and of the sensor that measures it."""
    controller, part, sign = spot
    others = SPILLS if sign in SPILL else SPILL if sign in SPILLS else ()
    return [(controller, part, other) for other in others]


def _spilling(fault: Fault, spots: set[Spot]) -> Fault:
    """What explains an oddity explains that a sensor there looks odd; where nothing else is odd, it doesn't."""
    if fault.mode.needs_sensor:
        return fault
    more: dict[Spot, float] = {}
    for controller, part, sign in fault.shows.keys() & spots:
        for odd, share in SPILL.items() if sign in SPILLS else ():
            spot = (controller, part, odd)
            if spot in spots and fault.shows.get(spot, 0.0) < share:
                more[spot] = share
    return structs.replace(fault, shows={**fault.shows, **more}) if more else fault


def _odds(fault: Fault, shown: Sequence[Spot], hearing: Hearing) -> float:
    """The logarithm of the odds of this fault alone against none, were every present sign surely there."""
    odds = math.log(fault.prior) - math.log1p(-fault.prior)
    for spot in shown:
        low = leak(spot[2])
        odds += math.log((1.0 - (1.0 - low) * (1.0 - fault.shows[spot])) / low)
    onset = hearing.onset(shown)
    return odds + sum(hearing.against(spot, chance, onset) for spot, chance in fault.shows.items())


def _merged(same: Sequence[Fault]) -> Fault:
    """One fault of a part that several controllers tell of."""
    if len(same) == 1:
        return same[0]
    shows: dict[Spot, float] = {}
    for fault in same:
        for spot, chance in fault.shows.items():
            shows[spot] = max(shows.get(spot, 0.0), chance)
    return structs.replace(same[0], shows=shows)


def explain(neighbourhood: Around, hearing: Hearing, name_of: Callable[[Spot], str]) -> list[Weighed]:
    """The posterior; where two faults leave signs unexplained, one more for those, with what was found as given."""
    found: list[Weighed] = []
    present = {spot: each for spot in neighbourhood.spots if (each := hearing.present(spot)) is not None}
    open_spots = list(neighbourhood.spots)
    given: list[Fault] = []
    for _ in range(MOST_ROUNDS):
        taken = {fault.node.id for fault in given}
        spots = set(open_spots)
        faults = [f for f in neighbourhood.faults if f.node.id not in taken and not spots.isdisjoint(f.shows)]
        if not faults:
            break
        seen = [present[spot] for spot in open_spots]
        evidence, due = _evidence(faults, open_spots, seen, given, hearing)
        posterior = weigh(evidence)
        best = _best(posterior.none, posterior.singles, posterior.first, posterior.second, posterior.pairs)
        chosen = [faults[at] for at in best]
        left = [
            spot for spot in open_spots if all(fault.shows.get(spot, 0.0) < EXPLAINED for fault in (*chosen, *given))
        ]
        stop = not chosen or not left or len(left) == len(open_spots)
        mine = open_spots if stop else [spot for spot in open_spots if spot not in left]
        if not stop:  # more than two at once: what the others show says nothing of these
            faults = [fault for fault in faults if not set(mine).isdisjoint(fault.shows)]
            evidence, due = _evidence(faults, mine, [present[spot] for spot in mine], given, hearing)
            posterior = weigh(evidence)
        found.append(
            Weighed(
                faults=faults,
                spots=mine,
                seen=[present[spot] for spot in mine],
                posterior=posterior,
                absent=hearing.absent,
                name_of=name_of,
                due=due,
            )
        )
        if stop:
            break
        given += chosen
        open_spots = left
    return found


def _best(none: float, singles: np.ndarray, first: np.ndarray, second: np.ndarray, pairs: np.ndarray) -> list[int]:
    single = int(singles.argmax())
    pair = int(pairs.argmax()) if len(pairs) else -1
    ranked = [(none, []), (float(singles[single]), [single])]
    if pair >= 0:
        ranked.append((float(pairs[pair]), [int(first[pair]), int(second[pair])]))
    return max(ranked, key=lambda each: each[0])[1]


def _evidence(
    faults: Sequence[Fault],
    spots: Sequence[Spot],
    seen: Sequence[Observation],
    given: Sequence[Fault],
    hearing: Hearing,
) -> tuple[Evidence, Seconds]:
    """What is known, and when it is worth asking again."""
    numbers: dict[str, int] = {}
    chances = np.zeros((len(faults), len(spots)))
    at_spot = {spot: at for at, spot in enumerate(spots)}
    silent = np.zeros(len(faults))
    due = math.inf
    for row, fault in enumerate(faults):
        numbers.setdefault(fault.node.id, len(numbers))
        onset = hearing.onset(fault.shows)
        for spot, chance in fault.shows.items():
            column = at_spot.get(spot)
            if column is not None:
                chances[row, column] = chance
            else:  # a present sign that is another fault's is neither
                silent[row] += hearing.against(spot, chance, onset)
                due = min(due, hearing.due(spot, onset))
    background = [math.prod(1.0 - fault.shows.get(spot, 0.0) for fault in given) for spot in spots]
    evidence = Evidence(
        priors=np.array([fault.prior for fault in faults]),
        exclusive=np.array([numbers[fault.node.id] for fault in faults], dtype=np.intp),
        chances=chances,
        silent=silent,
        leaks=np.array([leak(spot[2]) for spot in spots]),
        weights=np.array([min(1.0, max(1e-6, each.weight)) for each in seen]),
        background=np.array(background),
    )
    return evidence, due
