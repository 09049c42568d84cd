"""The floor: rows of racks as cells, and the racks that stand open as elevations."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache

from collector.model import Health
from collector.store.overview import Chosen, RackCount
from dashboard.drawings.cells import cell
from dashboard.drawings.ink import Ink, join, sled_link, tag
from dashboard.drawings.marks import worded
from dashboard.drawings.rack import drawn_units, elevation
from dashboard.drawings.things import Rack, Standing
from dashboard.panels.frame import KEY
from dashboard.views import filters
from dashboard.views.floor import Floor, Opened, Row, in_order, loud, row_name
from dashboard.views.words import count, whole

_NAMED = 6
"""Racks in trouble named in a row's line."""
_HOMELESS = 24


def racks_head(racks: Sequence[RackCount], opened: Opened) -> Ink:
    """Heading of the racks: how many sleds stand how, and the key to the marks."""
    numbers = {
        Health.CRITICAL: sum(rack.critical for rack in racks),
        Health.WARNING: sum(rack.warning for rack in racks),
        Health.OK: sum(rack.ok for rack in racks),
        Health.UNKNOWN: sum(rack.unknown for rack in racks),
    }
    told = [f"{whole(numbers[health])} {health.word}" for health in sorted(numbers, reverse=True) if numbers[health]]
    sleds, standing = sum(numbers.values()), sum(1 for rack in racks if rack.rack)
    words = f"{count(sleds, 'sled')}: {', '.join(told)}" if told else "no sled"
    if standing and not opened.whole:
        words = f"{count(standing, 'rack')}, {words}"
    if at_risk := sum(rack.at_risk for rack in racks):
        words += f"; {count(at_risk, 'blade')} at risk"
    if shelves := sum(rack.shelves for rack in racks):
        words += f"; {count(shelves, 'power shelf', 'power shelves')}"
    if others := sum(rack.others for rack in racks):
        words += f"; {count(others, 'other thing')}"
    return join(tag("h2", "The racks", tag("span", words, class_="count"), data_block="racks"), KEY)


def lanes(racks: Sequence[RackCount], opened: Opened, chosen: Chosen) -> list[Ink]:
    """The rows folded to cells, a piece a row: where racks are too many to draw them all."""
    if opened.whole:
        return []
    rows: dict[tuple[str, str], list[RackCount]] = {}
    for rack in sorted((rack for rack in racks if rack.rack), key=in_order):
        rows.setdefault((rack.site, rack.line), []).append(rack)
    drawn = {(rack.site, rack.line, rack.rack) for rack in opened.racks}
    return [_lane(row_name(*row), tuple(there), frozenset(drawn), chosen) for row, there in rows.items()]


@lru_cache(maxsize=1024)
def _lane(name: str, racks: tuple[RackCount, ...], drawn: frozenset[tuple[str, str, str]], chosen: Chosen) -> Ink:
    cells = [
        cell(
            _standing(rack),
            f"Rack {rack.rack}: {rack_words(rack)}",
            filters.link(chosen, site=rack.site, row=rack.line, rack=rack.rack),
            (rack.site, rack.line, rack.rack) in drawn,
        )
        for rack in racks
    ]
    head = (tag("h3", name), tag("span", _row_words(racks), class_="count"))
    stand = tag("div", *cells, class_="cells")
    if any(loud(rack) or rack.waiting for rack in racks):
        return tag("section", tag("div", *head), stand, class_="lane", data_lane=name)
    return tag("details", tag("summary", *head), stand, class_="lane", data_lane=name, id=f"lane-{name}"[:200])


def _standing(rack: RackCount) -> Standing:
    """The worst in a rack; unknown rather than OK where something there is not heard."""
    health = rack.worst if rack.worst > Health.OK else rack.least
    return Standing(health, ("a part outside",) if rack.at_risk else ())


def open_head(racks: Sequence[RackCount], opened: Opened) -> Ink:
    """Heading of the racks that are drawn, where not all are."""
    troubled = sum(1 for rack in racks if rack.rack and loud(rack))
    if not opened.racks:
        words = "No rack is in trouble; a cell opens its rack."
        return tag("p", words, class_="nothing", data_block="open-racks")
    words = f"{len(opened.racks)} of {count(troubled, 'rack')} in trouble, the worst; a cell opens its rack"
    return tag("h2", "Open", tag("span", words, class_="count"), data_block="open-racks")


def _row_words(racks: Sequence[RackCount]) -> str:
    sleds = sum(rack.sleds for rack in racks)
    troubled = [rack for rack in racks if loud(rack)]
    words = f"{count(len(racks), 'rack')}, {count(sleds, 'sled')}"
    if not troubled:
        quiet = all(rack.least is Health.OK for rack in racks)
        return f"{words}: {'all OK' if quiet else 'none known to be unwell'}"
    named = ", ".join(rack.rack for rack in troubled[:_NAMED])
    more = f" and {len(troubled) - _NAMED} more" if len(troubled) > _NAMED else ""
    return f"{words}; not well: {named}{more}"


def rack_words(rack: RackCount) -> str:
    """What stands in a rack, e.g. ``16 sleds: 1 Critical, 15 OK; 4 blades at risk``."""
    numbers = ((rack.critical, "Critical"), (rack.warning, "Warning"), (rack.ok, "OK"), (rack.unknown, "unknown"))
    told = [f"{number} {word}" for number, word in numbers if number]
    words = f"{count(rack.sleds, 'sled')}{': ' if told else ''}{', '.join(told)}"
    if rack.at_risk:
        words += f"; {count(rack.at_risk, 'blade')} at risk"
    if rack.silent:
        words += f"; {rack.silent} not answering"
    return words


def elevations(rows: Sequence[Row], stale: bool, opened: Opened, chosen: Chosen) -> list[Ink]:
    """The racks that are open, a piece a row; a small floor in one piece."""
    drawn = [_row_of_racks(row, stale, opened, chosen) for row in rows]
    if opened.whole and drawn:
        return [tag("div", *drawn, class_="floor")]
    return drawn


def _row_of_racks(row: Row, stale: bool, opened: Opened, chosen: Chosen) -> Ink:
    figures = [tag("figure", tag("figcaption", *_caption(rack, opened, chosen)), _drawn(rack)) for rack in row.racks]
    return tag(
        "section",
        tag("h3", row.name),
        tag("div", *figures, class_="rows" + (" stale" if stale else "")),
        data_row=row.name,
    )


def _caption(rack: Rack, opened: Opened, chosen: Chosen) -> list[Ink | str]:
    """Its name, which leads to the rack alone, and what is cut off at the top."""
    counted = next((each for each in opened.racks if _place(each) == rack.place), None)
    name: Ink | str = rack.name
    if counted is not None and len(opened.racks) > 1:
        href = filters.link(chosen, site=counted.site, row=counted.line, rack=counted.rack)
        name = tag("a", rack.name, href=href)
    cut = drawn_units(rack)
    empty = f" up to U{rack.units}: empty above U{cut - 1}" if cut < rack.units else ""
    return [name, tag("span", empty, class_="small")] if empty else [name]


def _place(rack: RackCount) -> str:
    return " / ".join(step for step in (rack.site, rack.line, rack.rack) if step)


@lru_cache(maxsize=256)
def _drawn(rack: Rack) -> Ink:
    """A rack that stands as before is not drawn again."""
    return elevation(rack)


def unplaced(floor: Floor, racks: Iterable[RackCount]) -> Ink | None:
    """Sleds that no rack can show, each with the reason; None when all are placed."""
    if not floor.homeless:
        return None
    chips = [
        tag(
            "li",
            tag("a", each.sled.label, href=sled_link(each.sled.controller)),
            " ",
            worded(each.sled.standing),
            tag("div", f"{each.sled.controller}: {each.why}", class_="small"),
            data_sled=each.sled.controller,
            data_part_health=each.sled.standing.health.word,
        )
        for each in floor.homeless[:_HOMELESS]
    ]
    whole = sum(rack.number for rack in racks if not rack.rack)
    rest = max(whole, len(floor.homeless)) - len(chips)
    more = f"And {rest} more: state “in no rack” finds them." if rest > 0 else None
    return tag(
        "section",
        tag("h3", "Place not told"),
        tag("p", "These can't be drawn in a rack; the fleet file can say where they stand.", class_="small"),
        tag("ul", *chips, class_="chips"),
        tag("p", more, class_="small") if more else None,
        data_block="unplaced",
    )
