"""One walk's resources -> one controller's inventory. Pure: the same walk gives the same inventory."""

from __future__ import annotations

import sys
from collections import Counter

from msgspec import field

from collector.model import Frame, Identity, Inventory, Location, Part, Size, Status
from collector.normalise import statuses
from collector.normalise.bodies import Body, at, finite, pointer, record, rows, text
from collector.normalise.checks import check
from collector.normalise.dependencies import find_links
from collector.normalise.expanded import expanded_gets
from collector.normalise.findings import Findings
from collector.normalise.fold import fold
from collector.normalise.location import locate
from collector.normalise.parts import Draft, Parts, find_parts
from collector.normalise.places import identity
from collector.normalise.reading import Columns, Reader, read
from collector.normalise.sensors import Columned, build_sensors
from collector.normalise.tree import contain, preorder
from collector.redfish.resources import SERVICE_ROOT, Walked

Rows = dict[tuple[str | int, ...], tuple[tuple[tuple[str, str], ...], ...]]


class Normalised(Inventory, frozen=True, kw_only=True):
    """An inventory with what rounds need to read the same places again, without a second thought."""

    readers: tuple[tuple[Reader, ...], ...] = ()
    """Beside ``layout.sensors``: the places of each sensor, the one that it is read at first."""
    members: dict[str, tuple[tuple[str, str], ...]] = field(default_factory=dict)
    """Path of each expanded GET -> its members in the order told: (resource, ``@odata.id`` as its body spells it)."""
    rows: dict[str, Rows] = field(default_factory=dict)
    """Resource -> steps to an array -> what tells each of its rows from the others (see ``places.identity``)."""


def build(walked: Walked, location: Location) -> Normalised:
    """The inventory of one walk. ``location`` is what the fleet file says of where the controller is."""
    findings = Findings(walked.controller, walked.defects)
    check(walked, findings)
    parts = find_parts(walked, findings)
    contain(parts)
    ordered = preorder(parts)
    id_of = {draft.uri: sys.intern(f"{walked.controller}:{draft.uri}") for draft in ordered}
    columned = build_sensors(
        walked.controller, fold(parts, findings), id_of, f"{walked.controller}:{SERVICE_ROOT}", findings
    )
    return Normalised(
        controller=walked.controller,
        time=walked.time,
        parts=_parts(walked.controller, ordered, id_of, location, findings),
        links=find_links(parts, id_of),
        layout=columned.layout,
        statuses=_statuses(ordered, id_of, findings),
        frame=_frame(columned, walked, findings),
        product=text(walked.root.get("Product")),
        redfish_version=text(walked.root.get("RedfishVersion"), 40),
        readers=columned.readers,
        members=_members(walked),
        rows=_rows(parts, columned),
        defects=findings.take(),
    )


def _parts(
    controller: str, ordered: list[Draft], id_of: dict[str, str], fleet: Location, findings: Findings
) -> tuple[Part, ...]:
    places = locate(ordered, fleet, findings)
    names = _names(ordered)
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
            label = record(record(draft.body.get("Location")).get("PartLocation")).get("ServiceLabel")
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
        firmware=next((told for key in _FIRMWARE if (told := text(body.get(key)))), None),
    )


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


def _members(walked: Walked) -> dict[str, tuple[tuple[str, str], ...]]:
    return {
        path: tuple((key, _own_name(walked, key)) for key in keys)
        for path, keys in expanded_gets(walked.resources).items()
    }


def _own_name(walked: Walked, key: str) -> str:
    told = walked.resources[key].body.get("@odata.id")
    return sys.intern(told) if isinstance(told, str) else key


def _rows(parts: Parts, columned: Columned) -> dict[str, Rows]:
    """What tells apart the rows of every array that rounds read."""
    wanted = {(reader.uri, reader.steps) for readers in columned.readers for reader in readers}
    wanted |= {(draft.resource, draft.steps) for draft in parts.drafts.values()}
    found: dict[str, Rows] = {}
    for uri, steps in wanted:
        for index, step in enumerate(steps):
            array = steps[:index]
            if isinstance(step, int) and array not in found.get(uri, {}):
                told = rows(at(parts.resources[uri].body, array))
                found.setdefault(uri, {})[array] = tuple(identity(row) if isinstance(row, dict) else () for row in told)
    return found
