"""Figures as pages say them: what follows from readings, within which bounds, by part and by rack."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from collector.assess.margins.outlook import day
from collector.model import Figure, FigureKind, Part
from dashboard.views.headroom import energy_words
from dashboard.views.places import named, shown, tail_of
from dashboard.views.units import PLAIN, Units

NOT_YET = "peak, percentile and energy follow when its power has been read for some ten minutes"
_DECIMALS: Mapping[str, int] = {"K": 1, "m3/s": 4, "m3/s/kW": 3, "W": 0, "A": 1, "%": 1, "1": 2}
_ORDER = {kind: place for place, kind in enumerate(FigureKind)}


@dataclass(frozen=True, slots=True)
class Worked:
    """A line of the page."""

    figure: Figure
    name: str
    """Of the part."""
    value: str
    bounds: str
    """e.g. ``12.1 to 14.1 K``; empty where none are worked out."""


def worked(figures: Iterable[Figure], parts: Mapping[str, Part], units: Units = PLAIN) -> tuple[Worked, ...]:
    """By part and kind, in the order of the kinds."""
    told = sorted(figures, key=lambda each: (each.part, _ORDER[each.kind], each.of))
    return tuple(_worked(each, parts, units) for each in told)


def _worked(figure: Figure, parts: Mapping[str, Part], units: Units) -> Worked:
    if figure.kind is FigureKind.LIFE_ENDS:
        return Worked(figure, f"{_name(figure, parts)}, {figure.of}", day(figure.value), dates(figure))
    bounds = ""
    if figure.low is not None and figure.high is not None:
        bounds = f"{_bare(figure.low, figure.unit, units)} to {amount_words(figure.high, figure.unit, units)}"
    return Worked(figure, _name(figure, parts), amount_words(figure.value, figure.unit, units), bounds)


def _name(figure: Figure, parts: Mapping[str, Part]) -> str:
    return named(parts[figure.part]) if figure.part in parts else tail_of(figure.part)


def dates(figure: Figure) -> str:
    """The bounds of a date, e.g. ``2027-01-20 to 2027-03-15``."""
    if figure.low is None:
        return ""
    return f"{day(figure.low)} {'or later' if figure.high is None else f'to {day(figure.high)}'}"


@dataclass(frozen=True, slots=True)
class Ending:
    """A life that ends, as a line of a fleet's page."""

    controller: str
    name: str
    """Of the part."""
    of: str
    """What tells it."""
    place: str
    number: str
    """The part's number, to be ordered; a dash where none is told."""
    at: str
    bounds: str
    basis: str


def endings(figures: Iterable[Figure], parts: Mapping[str, Part]) -> tuple[Ending, ...]:
    """The soonest first; of parts that stand there still."""
    told = sorted(figures, key=lambda each: (each.value, each.part, each.of))
    return tuple(
        Ending(
            figure.controller,
            _name(figure, parts),
            figure.of,
            shown(parts[figure.part].location.text),
            shown(parts[figure.part].identity.part_number or "–"),
            day(figure.value),
            dates(figure),
            figure.basis,
        )
        for figure in told
        if figure.part in parts and figure.controller is not None
    )


def amount_words(value: float, unit: str, units: Units = PLAIN) -> str:
    """e.g. ``13.5 K``, ``0.0638 m³/s``, ``2.31 kWh``, ``1.04 times``."""
    if unit == "J":
        return energy_words(value)
    if unit == "1":
        return f"{value:.2f} times"
    return f"{_bare(value, unit, units)} {units.span_word(unit)}"


def _bare(value: float, unit: str, units: Units) -> str:
    shown = units.span(value, unit)
    decimals = 1 if units.cfm and unit.startswith("m3/s") else _DECIMALS.get(unit, 1)
    return f"{shown:,.{decimals}f}"


@dataclass(frozen=True, slots=True)
class RackDrew:
    """What a rack drew lately; a word each, a dash where it is not known."""

    rack: str
    peak: str
    high: str
    energy: str
    current: str
    basis: str


def racks_drew(figures: Iterable[Figure], rack: str | None = None) -> tuple[RackDrew, ...]:
    """A line a rack, that with the highest peak first; of one rack only where it is given."""
    by_rack: dict[str, dict[FigureKind, Figure]] = {}
    for figure in figures:
        if rack is None or figure.part == rack:
            by_rack.setdefault(figure.part, {})[figure.kind] = figure
    ranked = sorted(by_rack.items(), key=lambda each: (-_value(each[1].get(FigureKind.PEAK_POWER)), each[0]))
    return tuple(
        RackDrew(
            name,
            _said(told.get(FigureKind.PEAK_POWER)),
            _said(told.get(FigureKind.HIGH_POWER)),
            _said(told.get(FigureKind.ENERGY)),
            _said(told.get(FigureKind.BUSBAR_CURRENT)),
            told[FigureKind.PEAK_POWER].basis if FigureKind.PEAK_POWER in told else NOT_YET,
        )
        for name, told in ranked
    )


def _value(figure: Figure | None) -> float:
    return 0.0 if figure is None else figure.value


def _said(figure: Figure | None) -> str:
    return "–" if figure is None else amount_words(figure.value, figure.unit)
