"""The resources of a service, as written once for a design, and their compiled answers."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass, field

import msgspec

from simulators.service import query
from simulators.service.around import Around
from simulators.service.http import JSON, NO_CACHE, ODATA, XML, Headers
from simulators.service.live import Moment
from simulators.service.messages import MESSAGE_TYPE
from simulators.service.query import Body, Features
from simulators.service.settings import Setting
from simulators.service.template import Template

ROOT = "/redfish/v1/"
_CONTEXT = "/redfish/v1/$metadata"
_KEPT_ANSWERS = 512
"""Compiled answers kept a design: every resource once, and the queries that a sane client repeats."""


@dataclass(frozen=True, slots=True)
class Write:
    """How one property of a resource is written: as the locate lamp of a part of the sled."""

    part: str
    """Path below the sled; empty for the sled itself."""
    words: dict[str, bool] | None = None
    """The words taken and whether they light the lamp; None where the property is a boolean."""


@dataclass(slots=True)
class Resource:
    """One resource: its body with holes, and what of it can be written."""

    body: Body
    writes: dict[str, Write] = field(default_factory=dict)
    settings: dict[str, Setting] = field(default_factory=dict)
    """What clients write and the service keeps."""

    @property
    def allow(self) -> str:
        """The methods that it takes."""
        return "GET, HEAD, PATCH" if self.writes or self.settings else "GET, HEAD"


@dataclass(frozen=True, slots=True)
class Answer:
    """What a GET of one target gives, compiled."""

    template: Template[Moment]
    headers: Headers


def link(path: str) -> Body:
    """A reference to a resource."""
    return {"@odata.id": path}


def links(paths: Iterable[str]) -> list[Body]:
    """References to resources."""
    return [link(path) for path in paths]


class Tree:
    """All resources of one design in one dialect; shared by every service of it."""

    def __init__(self, features: Features) -> None:
        self.features = features
        self.session_type = "Session.v1_0_0.Session"
        """Schema of the Session resources, which a service makes as they come and go."""
        self.lags = False
        """Whether some bodies tell what was so a little earlier (see :func:`simulators.service.live.earlier`)."""
        self.around: Around | None = None
        """What services of this tree tell of events; None where they tell nothing."""
        self.resources: dict[str, Resource] = {}
        self._answers: OrderedDict[tuple[str, str], Answer] = OrderedDict()
        self._documents: dict[str, tuple[Headers, bytes]] | None = None

    def add(self, path: str, type_: str, name: str, body: Body, writes: dict[str, Write] | None = None) -> str:
        """Add a resource; its Id is its path's last step. ``type_`` is e.g. ``Chassis.v1_25_0.Chassis``."""
        head: Body = {"@odata.id": path, "@odata.type": f"#{type_}"}
        id_ = "RootService" if path == ROOT else path.rstrip("/").rpartition("/")[2]
        self.resources[path] = Resource({**head, "Id": id_, "Name": name, **body}, writes or {})
        return path

    def collect(self, path: str, kind: str, name: str, members: Iterable[str]) -> str:
        """Add a collection, e.g. of ``kind`` ``Chassis``."""
        told = links(members)
        self.resources[path] = Resource(
            {
                "@odata.id": path,
                "@odata.type": f"#{kind}Collection.{kind}Collection",
                "Name": name,
                "Members": told,
                "Members@odata.count": len(told),
            }
        )
        return path

    def body(self, path: str) -> Body | None:
        """The body of a resource, holes and all; None where there is none."""
        resource = self.resources.get(path)
        return None if resource is None else resource.body

    def answer(self, path: str, text: str) -> Answer | None:
        """What a GET of a path with a query string gives; None where nothing is there.

        Raises :class:`~simulators.service.query.QueryError`.
        """
        key = (path, text)
        found = self._answers.get(key)
        if found is not None:
            self._answers.move_to_end(key)
            return found
        resource = self.resources.get(path)
        if resource is None:
            return None
        body = resource.body
        if text or (self.features.page and "Members" in body):
            body = query.answer(path, body, query.parse(text, self.features), self.body, self.features)
        headers = (ODATA, JSON, NO_CACHE, ("Allow", resource.allow), described_by(body["@odata.type"]))
        made = Answer(Template(body), headers)
        self._answers[key] = made
        if len(self._answers) > _KEPT_ANSWERS:
            self._answers.popitem(last=False)
        return made

    @property
    def documents(self) -> dict[str, tuple[Headers, bytes]]:
        """The documents beside the resources, by path: versions, OData service document, metadata."""
        if self._documents is None:
            self._documents = self._make_documents()
        return self._documents

    def _make_documents(self) -> dict[str, tuple[Headers, bytes]]:
        root = self.resources[ROOT].body
        plain = (ODATA, JSON, NO_CACHE, ("Allow", "GET, HEAD"))
        singles = [
            {"name": key, "kind": "Singleton", "url": value["@odata.id"]}
            for key, value in root.items()
            if isinstance(value, dict) and len(value) == 1 and "@odata.id" in value
        ]
        service = {
            "@odata.context": _CONTEXT,
            "value": [{"name": "Service", "kind": "Singleton", "url": ROOT}, *singles],
        }
        return {
            "/redfish": (plain, _json({"v1": ROOT})),
            "/redfish/v1/odata": (plain, _json(service)),
            _CONTEXT: ((ODATA, XML, NO_CACHE, ("Allow", "GET, HEAD")), self._metadata()),
        }

    def _metadata(self) -> bytes:
        """The OData metadata document: a reference to the schema of every type used."""
        used = {str(resource.body["@odata.type"]) for resource in self.resources.values()}
        used |= {f"#{MESSAGE_TYPE}", f"#{self.session_type}", "#SessionCollection.SessionCollection"}
        schemas: dict[str, set[str]] = {"Resource": {"Resource"}, "RedfishExtensions": set()}
        for type_ in used:
            namespace = type_[1:].rpartition(".")[0]
            schema = namespace.partition(".")[0]
            schemas.setdefault(schema, set()).update((schema, namespace))
        lines = []
        for schema in sorted(schemas):
            if schema == "RedfishExtensions":
                lines.append(_reference("RedfishExtensions", {"RedfishExtensions.v1_0_0": "Redfish"}))
            else:
                lines.append(_reference(schema, dict.fromkeys(sorted(schemas[schema]), "")))
        root = str(self.resources[ROOT].body["@odata.type"])[1:].rpartition(".")[0]
        return (
            '<?xml version="1.0" encoding="UTF-8"?>\n'
            '<edmx:Edmx xmlns:edmx="http://docs.oasis-open.org/odata/ns/edmx" Version="4.0">\n'
            + "".join(lines)
            + "  <edmx:DataServices>\n"
            '    <Schema xmlns="http://docs.oasis-open.org/odata/ns/edm" Namespace="Service">\n'
            f'      <EntityContainer Name="Service" Extends="{root}.ServiceContainer"/>\n'
            "    </Schema>\n"
            "  </edmx:DataServices>\n"
            "</edmx:Edmx>\n"
        ).encode()


def described_by(type_: str) -> tuple[str, str]:
    """The Link header that names the schema of a body (DSP0266, "Link header")."""
    namespace = type_[1:].rpartition(".")[0]
    return ("Link", f"<http://redfish.dmtf.org/schemas/v1/{namespace}.json>; rel=describedby")


def _reference(schema: str, namespaces: dict[str, str]) -> str:
    uri = f"http://redfish.dmtf.org/schemas/v1/{schema}_v1.xml"
    includes = "".join(
        f'    <edmx:Include Namespace="{space}"' + (f' Alias="{alias}"' if alias else "") + "/>\n"
        for space, alias in namespaces.items()
    )
    return f'  <edmx:Reference Uri="{uri}">\n{includes}  </edmx:Reference>\n'


def _json(body: Body) -> bytes:
    return msgspec.json.encode(body)
