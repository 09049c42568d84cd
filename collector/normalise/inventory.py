"""One walk's resources -> one controller's inventory. Pure: the same walk gives the same inventory."""

from __future__ import annotations

import math
import sys
from collections import Counter

from msgspec import Struct

from collector.model import Frame, Identity, Inventory, Location, Part, Size, Status
from collector.normalise import statuses
from collector.normalise.bodies import Body, at, finite, location, pointer, record, rows, text
from collector.normalise.checks import check
from collector.normalise.dependencies import find_links
from collector.normalise.expanded import expanded_gets
from collector.normalise.findings import Findings
from collector.normalise.fold import fold
from collector.normalise.location import locate
from collector.normalise.neighbours import find_neighbours
from collector.normalise.parts import Draft, Parts, find_parts
from collector.normalise.places import identity
from collector.normalise.ratings import capacities
from collector.normalise.reading import Columns, Reader, read
from collector.normalise.reports import Report, find_reports
from collector.normalise.sensors import Columned, build_sensors
from collector.normalise.set_points import find_settings
from collector.normalise.tree import contain, preorder
from collector.normalise.triggers import Triggers
from collector.redfish.resources import SERVICE_ROOT, Walked

Rows = tuple[tuple[tuple[str | int, ...], tuple[tuple[tuple[str, str], ...], ...]], ...]
"""Steps to each array of a resource -> what tells each of its rows from the others (see ``places.identity``)."""


class Recipe(Struct, frozen=True, kw_only=True):
    """What rounds need to read the same places again. Controllers of one design share one object."""

    readers: tuple[tuple[Reader, ...], ...] = ()
    """Beside ``layout.sensors``: the places of each sensor, the one that it is read at first."""
    told: tuple[str, ...] = ()
    """The parts of which a status is told, in the order of the inventory's ``statuses``."""
    members: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = ()
    """Path of each expanded GET -> its members in the order told: (resource, ``@odata.id`` as its body spells it)."""
    rows: tuple[tuple[str, Rows], ...] = ()
    """Resource -> its arrays."""
    reports: tuple[Report, ...] = ()
    """Metric reports that tell sensors."""


class Normalised(Inventory, frozen=True, kw_only=True):
    """An inventory with how to read it again."""

    recipe: Recipe = Recipe()


_recipes: dict[Recipe, Recipe] = {}
_MAX_RECIPES = 10_000


def build(walked: Walked, location: Location) -> Normalised:
    """The inventory of one walk. ``location`` is what the fleet file says of where the controller is."""
    findings = Findings(walked.controller, walked.defects)
    check(walked, findings)
    parts = find_parts(walked, findings)
    contain(parts)
    ordered = preorder(parts)
    id_of = {draft.uri: sys.intern(f"{walked.controller}:{draft.uri}") for draft in ordered}
    outside = f"{walked.controller}:{SERVICE_ROOT}"
    columned = build_sensors(
        walked.controller,
        fold(parts, findings),
        id_of,
        outside,
        Triggers(walked.resources, findings),
        findings,
    )
    told = _statuses(ordered, id_of, findings)
    return Normalised(
        controller=walked.controller,
        time=walked.time,
        parts=_parts(walked.controller, parts, ordered, id_of, location, findings),
        links=find_links(parts, id_of),
        layout=columned.layout,
        statuses=told,
        frame=_frame(columned, walked, findings),
        neighbours=find_neighbours(ordered, id_of, findings),
        settings=find_settings(walked.controller, parts, id_of, outside, findings),
        product=text(walked.root.get("Product")),
        redfish_version=text(walked.root.get("RedfishVersion"), 40),
        recipe=_recipe(walked, parts, columned, [draft.uri for draft in ordered if id_of[draft.uri] in told], findings),
        defects=findings.take(),
    )


def _parts(
    controller: str, parts: Parts, ordered: list[Draft], id_of: dict[str, str], fleet: Location, findings: Findings
) -> tuple[Part, ...]:
    places = locate(ordered, fleet, findings)
    names = _names(ordered)
    watts = capacities(parts, findings)
    return tuple(
        Part(
            id=id_of[draft.uri],
            controller=controller,
            uri=draft.uri,
            kind=draft.kind,
            name=names[draft.uri],
            parent=id_of[draft.parent.uri] if draft.parent is not None else None,
            location=places[draft.uri],
            identity=_identity(draft.body),
            size=_size(draft.body),
            hot_swap=draft.body["HotPluggable"] if isinstance(draft.body.get("HotPluggable"), bool) else None,
            capacity=watts.get(draft.uri),
        )
        for draft in ordered
    )


def _names(ordered: list[Draft]) -> dict[str, str]:
    """What each part calls itself; where several in one place share name and kind, by label or Id as well."""
    named = {draft.uri: _name(draft) for draft in ordered}
    keys = {
        draft.uri: (draft.parent.uri if draft.parent else None, draft.kind, named[draft.uri].casefold())
        for draft in ordered
    }
    counts = Counter(keys.values())
    for draft in ordered:
        if counts[keys[draft.uri]] > 1:
            label = record(location(draft.body).get("PartLocation")).get("ServiceLabel")
            last = draft.uri.rpartition("/")[2]
            named[draft.uri] = text(label, 80) or f"{named[draft.uri]} {last}"
    return named


def _name(draft: Draft) -> str:
    told = text(draft.body.get("Name"), 80) or text(draft.body.get("FanName"), 80)
    return told or text(draft.body.get("Id"), 80) or f"{draft.kind} {draft.uri.rpartition('/')[2]}"


_FIRMWARE = ("FirmwareVersion", "BiosVersion", "Revision", "Version")


def _identity(body: Body) -> Identity:
    return Identity(
        manufacturer=text(body.get("Manufacturer")),
        model=text(body.get("Model")),
        part_number=text(body.get("PartNumber")),
        spare_part_number=text(body.get("SparePartNumber")),
        serial=text(body.get("SerialNumber")),
        sku=text(body.get("SKU")),
        asset_tag=text(body.get("AssetTag")),
        firmware=_firmware(body),
    )


def _firmware(body: Body) -> str | None:
    told = next((told for key in _FIRMWARE if (told := text(body.get(key)))), None)
    if told is None:  # of a network adapter, for all its controllers together (DSP8010, FirmwarePackageVersion)
        of_controllers = body.get("Controllers")
        first = of_controllers[0] if isinstance(of_controllers, list) and of_controllers else None
        told = text(record(first).get("FirmwarePackageVersion"))
    return told


def _size(body: Body) -> Size:
    return Size(
        height=finite(body.get("HeightMm")), width=finite(body.get("WidthMm")), depth=finite(body.get("DepthMm"))
    )


def _statuses(ordered: list[Draft], id_of: dict[str, str], findings: Findings) -> dict[str, Status]:
    found = {}
    for draft in ordered:
        status = statuses.read(draft.body, findings, draft.resource, pointer(*draft.steps))
        if status is not None:
            found[id_of[draft.uri]] = status
    return found


def _frame(columned: Columned, walked: Walked, findings: Findings) -> Frame:
    columns = Columns(len(columned.readers))
    for column, (reader, *_) in enumerate(columned.readers):
        read(reader, walked.resources[reader.uri].body, column, columns, walked.time, findings)
    return columns.frame(walked.time)


def _telling(columned: Columned, walked: Walked) -> tuple[tuple[Reader, ...], ...]:
    """The places that rounds may read each sensor at: all that told a reading now, where its first place did.

    One that tells none, or one outside the sensor's range, would cost the sensor its values for a cheaper round.
    """
    kept = []
    trial, unheard = Columns(1), Findings(walked.controller, limit=0)

    def tells(reader: Reader) -> bool:
        trial.values[0] = math.nan
        read(reader, walked.resources[reader.uri].body, 0, trial, walked.time, unheard)
        return not math.isnan(trial.values[0])

    for readers in columned.readers:
        first, *others = readers
        if others and tells(first):
            readers = (first, *(other for other in others if tells(other)))
        kept.append(readers)
    return tuple(kept)


def _recipe(walked: Walked, parts: Parts, columned: Columned, told: list[str], findings: Findings) -> Recipe:
    gets = expanded_gets(walked.resources)
    recipe = Recipe(
        readers=_telling(columned, walked),
        told=tuple(sys.intern(uri) for uri in told),
        members=tuple(
            (sys.intern(path), tuple((sys.intern(key), _own_name(walked, key)) for key in keys))
            for path, keys in gets.items()
        ),
        rows=_rows(parts, columned),
        reports=find_reports(walked, columned.readers, findings),
    )
    if len(_recipes) >= _MAX_RECIPES:
        _recipes.clear()
    return _recipes.setdefault(recipe, recipe)


def _own_name(walked: Walked, key: str) -> str:
    told = walked.resources[key].body.get("@odata.id")
    return sys.intern(told) if isinstance(told, str) else key


def _rows(parts: Parts, columned: Columned) -> tuple[tuple[str, Rows], ...]:
    """What tells apart the rows of every array that rounds read."""
    wanted = {(reader.uri, reader.steps) for readers in columned.readers for reader in readers}
    wanted |= {(draft.resource, draft.steps) for draft in parts.drafts.values()}
    arrays = {
        (uri, steps[:depth]) for uri, steps in wanted for depth, step in enumerate(steps) if isinstance(step, int)
    }
    found: dict[str, dict[tuple[str | int, ...], tuple[tuple[tuple[str, str], ...], ...]]] = {}
    for uri, array in sorted(arrays, key=str):
        listed = rows(at(parts.resources[uri].body, array))
        identities = tuple(identity(row) if isinstance(row, dict) else () for row in listed)
        found.setdefault(sys.intern(uri), {})[array] = identities
    return tuple((uri, tuple(told.items())) for uri, told in found.items())
