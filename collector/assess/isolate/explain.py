"""From a posterior to an answer for people: suspects, what speaks for and against them, who can't be told apart from
the first, and what to look at next.

The rule of the ambiguity group: a suspect is in it when the first is less than :data:`SURE` times as probable, or when
the evidence alone (posterior odds over prior odds) prefers the first by less than :data:`ALIKE` and the suspect is not
improbable (:data:`NEGLIGIBLE`). Parts that have failed together with the first are no alternatives to it: they stand in
``also``.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from msgspec import Struct

from collector.assess.isolate.failures import NEVER_CHARGED, leak
from collector.assess.isolate.faults import CONTACT, Fault, Spot
from collector.assess.isolate.posterior import Posterior
from collector.assess.words import clip
from collector.model import Observation, Seconds, Sign, Suspect

SURE = 6.0
ALIKE = 3.0
NEGLIGIBLE = 0.03
TOGETHER = 0.5
"""Probability that both have failed from which on a part is named beside the first."""
STEADY = 1.3
"""Odds by which another must be more probable to take the first place from the one that was named before."""
MOST_SUSPECTS = 8
MOST_SENTENCES = 4
_EXPECTED = 0.25
"""Chance from which on a sign's absence is worth a sentence."""

_COST: Mapping[Sign, tuple[float, str]] = {
    Sign.FAULTY: (1.0, "look at the lamp of {name}: does it show a fault?"),
    Sign.LAMP_WRONG: (1.0, "compare the lamp of {name} with what is told"),
    Sign.LINK_DOWN: (1.0, "look at the link lamp of {name}: is it dark?"),
    Sign.OFF: (1.0, "look whether {name} is off"),
    Sign.ABSENT: (1.0, "look whether {name} is in its place"),
    Sign.STANDS: (1.5, "look whether {name} turns"),
    Sign.LEAKING: (1.5, "look whether {name} is wet"),
    Sign.CUT_OFF: (1.0, "try to reach {name} from another network"),
    Sign.SILENT: (1.0, "ask {name} again"),
    Sign.SHORT_OF_AIR: (2.0, "feel for the air behind {name}"),
    Sign.WARM_AIR: (2.0, "measure the air in front of {name}"),
    Sign.HOT: (3.0, "measure the temperature of {name}"),
    Sign.NO_POWER: (3.0, "measure the voltage at {name}"),
    Sign.LOW_VOLTAGE: (3.0, "measure the voltage at {name}"),
}
"""What it costs to look for a sign by hand, against a glance at a lamp, and how it is said: judgement, no source."""
_SWAP_COST = 12.0


class Weighed(Struct, frozen=True, kw_only=True, eq=False):
    """A neighbourhood with its posterior."""

    faults: Sequence[Fault]
    spots: Sequence[Spot]
    """Present signs that it explains."""
    seen: Sequence[Observation]
    """In the order of ``spots``."""
    posterior: Posterior
    absent: Callable[[Spot], bool]
    name_of: Callable[[Spot], str]
    due: Seconds = math.inf
    """When time alone may change it: what is not there counts the more the longer it is not."""


class Answer(Struct, frozen=True, kw_only=True):
    """What goes into a trouble."""

    suspects: tuple[Suspect, ...]
    group: tuple[str, ...]
    also: tuple[str, ...]
    next_look: str
    failed: float
    """Probability that anything has failed at all."""
    slow: bool
    """Whether the likeliest fault comes on slowly."""


def answer(weighed: Weighed, before: str | None = None) -> Answer:
    """``before``: the part that stood first when this was told last."""
    by_node: dict[str, list[int]] = {}
    for at, fault in enumerate(weighed.faults):
        if not fault.mode.benign and not (fault.node.kind in NEVER_CHARGED and fault.node.role is fault.node.kind):
            by_node.setdefault(fault.node.id, []).append(at)
    marginals = weighed.posterior.marginals
    chance = {node: min(1.0, float(marginals[ats].sum())) for node, ats in by_node.items()}
    order = sorted(chance, key=lambda node: (-chance[node], node))
    if before in chance and order and chance[order[0]] < STEADY * chance[before]:
        order.remove(before)
        order.insert(0, before)
    order = [node for at, node in enumerate(order[:MOST_SUSPECTS]) if at == 0 or chance[node] >= 0.002]
    failed = min(_failed(weighed), _vouched(weighed))
    if not order:
        return Answer(suspects=(), group=(), also=(), next_look="", failed=failed, slow=False)
    first = order[0]
    also = [node for node in order[1:] if weighed.posterior.both(by_node[first], by_node[node]) >= TOGETHER]
    group = [first, *(node for node in order[1:] if node not in also and _alike(weighed, by_node, chance, first, node))]
    likeliest = {node: max(ats, key=lambda at: float(marginals[at])) for node, ats in by_node.items() if node in order}
    rivals = [likeliest[node] for node in order]
    sure = {node: float(marginals[at] / max(marginals[by_node[node]].sum(), 1e-300)) for node, at in likeliest.items()}
    suspects = tuple(_suspect(weighed, likeliest[node], chance[node], sure[node], rivals) for node in order)
    return Answer(
        suspects=suspects,
        group=tuple(group),
        also=tuple(also),
        next_look=_next_look(weighed, [likeliest[node] for node in group], [chance[node] for node in group]),
        failed=failed,
        slow=weighed.faults[likeliest[first]].mode.onset.value == "slow",
    )


def _failed(weighed: Weighed) -> float:
    """One less the probability that nothing, or nothing but what is no failure, is behind it."""
    benign = np.array([fault.mode.benign for fault in weighed.faults], dtype=bool)
    posterior = weighed.posterior
    fine = posterior.none + float(posterior.singles[benign].sum())
    fine += float(posterior.pairs[benign[posterior.first] & benign[posterior.second]].sum())
    return min(1.0, max(0.0, 1.0 - fine))


def _vouched(weighed: Weighed) -> float:
    """How sure the looks are that anything is there at all.

    Signs of one sort err together, for one look makes them out of one thing learnt: many of them are no surer than the
    surest. Signs of different sorts err apart.
    """
    surest: dict[Sign, float] = {}
    for seen in weighed.seen:
        surest[seen.sign] = max(surest.get(seen.sign, 0.0), min(1.0, seen.weight))
    return 1.0 - math.prod(1.0 - weight for weight in surest.values())


def _alike(
    weighed: Weighed, by_node: Mapping[str, Sequence[int]], chance: Mapping[str, float], first: str, other: str
) -> bool:
    if chance[other] * SURE > chance[first]:
        return True
    prior = [sum(weighed.faults[at].prior for at in by_node[node]) for node in (first, other)]
    by_evidence = (chance[first] / prior[0]) / max(chance[other] / prior[1], 1e-300)
    return by_evidence < ALIKE and chance[other] >= NEGLIGIBLE


def _suspect(weighed: Weighed, at: int, probability: float, sure: float, rivals: Sequence[int]) -> Suspect:
    fault = weighed.faults[at]
    node = fault.node
    told = node.controller is not None
    return Suspect(
        part=node.id,
        controller=node.controller if told else None,
        kind=node.kind,
        name=node.name,
        location=node.location,
        identity=node.identity,
        fault=fault.mode.name,
        probability=probability,
        fault_probability=min(1.0, sure),
        speaks_for=_for(weighed, fault, [weighed.faults[rival] for rival in rivals if rival != at]),
        speaks_against=_against(weighed, fault),
        remedy=fault.mode.remedy,
    )


def _for(weighed: Weighed, fault: Fault, rivals: Sequence[Fault]) -> tuple[str, ...]:
    """What it shows, and what others would show that is not there; the strongest likelihood ratio first."""
    found: list[tuple[float, str]] = []
    for spot, seen in zip(weighed.spots, weighed.seen, strict=True):
        chance = fault.shows.get(spot, 0.0)
        if chance > 0.0:
            found.append((math.log(1.0 + seen.weight * chance / leak(spot[2])), seen.text))
    healthy: dict[Spot, float] = {}
    for rival in rivals:
        for spot, chance in rival.shows.items():
            if chance >= _EXPECTED and spot not in fault.shows and weighed.absent(spot):
                healthy[spot] = max(healthy.get(spot, 0.0), -math.log1p(-min(chance, 0.999)))
    for spot, strength in healthy.items():
        found.append((strength, f"not so of {clip(weighed.name_of(spot))}: {spot[2].value}"))
    found.sort(key=lambda each: -each[0])
    return tuple(text for _, text in found[:MOST_SENTENCES])


def _against(weighed: Weighed, fault: Fault) -> tuple[str, ...]:
    found: list[tuple[float, str]] = []
    for spot, chance in fault.shows.items():
        if chance >= _EXPECTED and weighed.absent(spot):
            text = f"would be seen and is not: {clip(weighed.name_of(spot))} {spot[2].value}"
            found.append((-math.log1p(-min(chance, 0.999)), text))
    for spot, seen in zip(weighed.spots, weighed.seen, strict=True):
        if spot not in fault.shows:
            found.append((math.log(1.0 + seen.weight / leak(spot[2])), f"does not explain it: {seen.text}"))
    found.sort(key=lambda each: -each[0])
    return tuple(text for _, text in found[:MOST_SENTENCES])


def _next_look(weighed: Weighed, group: Sequence[int], chances: Sequence[float]) -> str:
    """The unknown sign with most expected information about the group for what it costs, or a trial exchange."""
    if len(group) < 2:
        return ""
    shares = np.array(chances) / max(sum(chances), 1e-300)
    entropy = _entropy(shares)
    present = set(weighed.spots)
    first = weighed.faults[group[0]]
    best, words = entropy / _SWAP_COST, f"put one known to be good in the place of {clip(first.node.name)}"
    if first.mode.remedy == "restart":
        best, words = entropy / 4.0, f"restart {clip(first.node.name)} and see whether it comes back"
    elif first.mode.remedy == "reseat":
        best, words = entropy / 6.0, f"reseat {clip(first.node.name)} and see whether it stays"
    for spot in {spot for at in group for spot in weighed.faults[at].shows}:
        if spot in present or weighed.absent(spot) or spot[2] not in _COST:
            continue
        cost, text = _COST[spot[2]]
        likely = np.array([weighed.faults[at].shows.get(spot, leak(spot[2])) for at in group])
        gain = information(shares, likely) / cost
        name = weighed.name_of(spot)
        if gain > best * 1.0001 or (gain > best * 0.9999 and text.format(name=name) < words):
            best, words = gain, text.format(name=clip(name))
    return words


def information(shares: np.ndarray, likely: np.ndarray) -> float:
    """Expected information, in nats, that seeing whether a sign is there brings about which of some is the one."""
    shown = float((shares * likely).sum())
    gain = _entropy(shares)
    for share, weights in ((shown, shares * likely), (1.0 - shown, shares * (1.0 - likely))):
        if share > 0.0:
            gain -= share * _entropy(weights / share)
    return max(0.0, gain)


def _entropy(shares: np.ndarray) -> float:
    some = shares[shares > 0.0]
    return float(-(some * np.log(some)).sum())


__all__ = ["CONTACT", "Answer", "Weighed", "answer", "information"]
