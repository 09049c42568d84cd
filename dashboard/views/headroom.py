"""Headroom over racks, enclosures and sleds, what the loss of one part would do, and energy, as the page says them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from collector.assess.margins.loss import FanLoss, PowerLoss
from collector.model import Health, Margin, MarginKind, Part, Sensor
from collector.model.places import label_told
from collector.store.headroom import Least, There
from dashboard.drawings.trace import Line
from dashboard.views.answers import NO_RACK
from dashboard.views.places import named, shown, tail_of
from dashboard.views.units import JOULES_A_KWH, PLAIN, Units
from dashboard.views.words import limits

NO_ENCLOSURE = "no enclosure told"


@dataclass(frozen=True, slots=True)
class Strip:
    """What one thing has left: a line of the page."""

    name: str
    lefts: tuple[float, ...]
    """Of each sled or part in it, in the shown unit, least first."""
    least: Margin
    number: int
    """Margins that it stands for."""
    controller: str | None = None
    """Where its least is; None for a place."""


def rack_text(site: str, row: str, rack: str) -> str:
    """A rack as written in the address and on the page."""
    return " / ".join(step for step in (site, row, rack) if step) or NO_RACK


def unit_of(kind: MarginKind, units: Units = PLAIN) -> str:
    """The unit of what is left, as people write it."""
    return units.span_word("Cel") if kind in (MarginKind.HEAT, MarginKind.AIR, MarginKind.SWING) else "W"


def shown_left(margin: Margin, units: Units = PLAIN) -> float:
    """What is left in the shown unit."""
    return units.span(margin.left, margin.unit)


def left_words(left: float, unit: str) -> str:
    """e.g. ``12.4 K left``, ``35 W over``; ``left`` in that unit."""
    decimals = 0 if unit == "W" else 1
    return f"{abs(left):,.{decimals}f} {unit} {'left' if left >= 0 else 'over'}"


def used_words(margin: Margin, units: Units = PLAIN) -> str:
    """e.g. ``67.6 of 80.0 °C``."""
    decimals = 1 if margin.unit == "Cel" else 0
    value, limit = units.value(margin.value, margin.unit), units.value(margin.limit, margin.unit)
    return f"{value:,.{decimals}f} of {limit:,.{decimals}f} {units.word(margin.unit)}"


def by_rack(found: Iterable[Least], units: Units = PLAIN) -> tuple[Strip, ...]:
    """A line a rack, a stroke a sled, the rack with the least left first."""
    groups: dict[str, list[Least]] = {}
    for each in found:
        groups.setdefault(rack_text(each.site, each.row, each.rack), []).append(each)
    return tuple(
        sorted(
            (
                Strip(
                    rack,
                    tuple(sorted(shown_left(each.margin, units) for each in there)),
                    (least := min(there, key=lambda each: each.left)).margin,
                    sum(each.margins for each in there),
                    least.controller,
                )
                for rack, there in groups.items()
            ),
            key=lambda strip: (strip.least.left, strip.name),
        )
    )


@dataclass(frozen=True, slots=True)
class Shelf:
    """One enclosure of a rack with its sleds."""

    name: str
    whole: Strip
    sleds: tuple[Strip, ...]


def by_enclosure(found: Iterable[There], units: Units = PLAIN) -> tuple[Shelf, ...]:
    """A group an enclosure, a line a sled, a stroke a part; least first in both."""
    enclosures: dict[str, dict[str, list[There]]] = {}
    for each in found:
        name = shown(each.front.location.enclosure or "") or NO_ENCLOSURE
        enclosures.setdefault(name, {}).setdefault(each.controller, []).append(each)
    shelves = []
    for name, sleds in enclosures.items():
        lines = sorted((_sled(there, units) for there in sleds.values()), key=lambda one: (one.least.left, one.name))
        lefts = tuple(sorted(left for line in lines for left in line.lefts))
        whole = Strip(name, lefts, lines[0].least, sum(line.number for line in lines), lines[0].controller)
        shelves.append(Shelf(name, whole, tuple(lines)))
    return tuple(sorted(shelves, key=lambda shelf: (shelf.whole.least.left, shelf.name)))


def _sled(there: Sequence[There], units: Units) -> Strip:
    least = min(there, key=lambda each: each.margin.left)
    name = shown(least.front.label) if least.front.label else least.controller
    lefts = tuple(sorted(shown_left(each.margin, units) for each in there))
    return Strip(name, lefts, least.margin, len(there), least.controller)


_LIMITS: Mapping[MarginKind, str] = {
    MarginKind.HEAT: "its limit",
    MarginKind.AIR: "the limit of its air",
    MarginKind.POWER: "what it may take",
    MarginKind.REDUNDANCY: "what remains after the loss of one",
}
"""What the limits of margins are called that are no threshold of their sensor's. What air may change by is none of its
temperature."""


def bounds_of(margin: Margin, sensor: Sensor, units: Units = PLAIN) -> tuple[Line, ...]:
    """The limits that the trend of a margin's sensor may meet, as the viewer reads them: its thresholds, and what the
    margin is up to where that is another."""
    lines = limits(sensor)
    name = _LIMITS.get(margin.kind)
    if name is not None and not any(line.upper and math.isclose(line.value, margin.limit) for line in lines):
        lines += (Line(name, margin.limit, Health.WARNING, True),)
    return tuple(replace(line, value=units.value(line.value, sensor.unit)) for line in lines)


# --- what the loss of one part would do -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Loss:
    """A sentence about one part that may fail."""

    controller: str
    name: str
    left: str
    """e.g. ``8.2 K left``, ``420 W over``, ``no air left``."""
    bad: bool
    """Whether something passes a limit."""
    says: str
    hits: str
    """Which blades hang on it; empty where none is told."""
    basis: str
    rank: float
    """The less the worse: what is left as a share of what the limit would leave; for sorting."""


def fan_words(controller: str, loss: FanLoss, parts: Mapping[str, Part], units: Units = PLAIN) -> Loss:
    """What the loss of one fan would do."""
    unit = units.span_word("Cel")
    left = None if loss.left is None or not math.isfinite(loss.left) else units.span(loss.left, "Cel")
    if not loss.others:
        says, word = "nothing else moves its air", "no air left"
    elif loss.speed <= 1.0:
        says = f"the {_fans(loss.others)} would hold the air at {100 * loss.speed:.0f} % of full speed"
        word = left_words(left, unit) if left is not None else "air held"
    else:
        says = f"the {_fans(loss.others)} at full speed would move {100 * loss.air:.0f} % of the air"
        word = left_words(left, unit) if left is not None else f"{100 * loss.air:.0f} % of the air"
    if loss.part is not None and left is not None:
        says += f"; nearest to its limit then: {_name(loss.part, parts)}"
    if loss.over:
        says += f"; over their limits: {_names(loss.over, parts)}"
    bad = not loss.others or bool(loss.over)
    spare = (1.0 - loss.speed) if loss.left is None else loss.left / 50.0
    return Loss(
        controller,
        _name(loss.fan, parts),
        word,
        bad,
        says,
        _names(loss.blades, parts),
        loss.basis,
        -math.inf if not loss.others else min(spare, 1.0 - loss.speed) if loss.speed > 1.0 else spare,
    )


def power_words(controller: str, loss: PowerLoss, parts: Mapping[str, Part], elsewhere: int = 0) -> Loss:
    """What the loss of one supply or feed would do; ``elsewhere``: blades of other controllers in its rack."""
    also = f" with {loss.supplies} supplies" if loss.kind.value != "power supply" else ""
    says = f"what remains{also and ' after it goes' + also} gives {loss.limit:,.0f} W, {loss.load:,.0f} W are drawn"
    hits = _names(loss.blades, parts)
    if not hits and elsewhere:
        hits = f"all that hangs on this shelf: {elsewhere} blades in its rack"
    return Loss(
        controller,
        _name(loss.lost, parts),
        left_words(loss.left, "W"),
        loss.left < 0,
        says,
        hits,
        loss.basis,
        loss.left / loss.limit if loss.limit > 0 else -math.inf,
    )


def worst(losses: Iterable[Loss], most: int) -> tuple[Loss, ...]:
    """Those that leave the least, at most so many."""
    return tuple(sorted(losses, key=lambda each: (not each.bad, each.rank, each.controller, each.name))[:most])


def _fans(number: int) -> str:
    return "other fan" if number == 1 else f"other {number} fans"


def _name(part: str, parts: Mapping[str, Part]) -> str:
    return named(parts[part]) if part in parts else tail_of(part)


def _names(ids: Sequence[str], parts: Mapping[str, Part], most: int = 8) -> str:
    told = [shown(label_told(parts[each])) if each in parts else tail_of(each) for each in ids[:most]]
    rest = len(ids) - len(told)
    return ", ".join(told) + (f" and {rest} more" if rest else "")


# --- energy ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Drawn:
    """What one controller's sled or shelf drew over a while."""

    controller: str
    name: str
    enclosure: str
    holds: str
    """A sled, a power shelf…"""
    joules: float
    seconds: float
    """Over which it was added up; gaps are left out."""
    peak: float
    """W."""
    now: float | None
    """W."""

    @property
    def mean(self) -> float:
        """W; 0 before anything was added up."""
        return self.joules / self.seconds if self.seconds > 0 else 0.0


def energy_words(joules: float) -> str:
    """e.g. ``0.84 kWh``, ``12 Wh``."""
    hours = joules / JOULES_A_KWH
    return f"{1000 * hours:,.0f} Wh" if hours < 1 else f"{hours:,.2f} kWh" if hours < 100 else f"{hours:,.0f} kWh"
