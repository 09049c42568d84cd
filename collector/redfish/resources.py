"""What a walk brings home: resources by path, what the service can do, and the GETs of a poll plan."""

from __future__ import annotations

from typing import Any

from msgspec import Struct

from collector.model import Defect, Seconds

SERVICE_ROOT = "/redfish/v1/"
"""DSP0266 section 'Service root': the one fixed path of the standard (its form without the slash redirects)."""

SELECT = "&$select="
"""What parts an expanded GET of a plan from the properties that it asks for."""


class Resource(Struct, frozen=True):
    """One resource's body as decoded JSON, under the path that it was fetched from or linked by.

    A member that came inside an expanded collection stands under the path that the collection's member gave as
    ``@odata.id``. ``fetched_by`` is the path with query of the GET that brought it.
    """

    uri: str
    body: dict[str, Any]
    fetched_by: str
    etag: str | None = None


class Features(Struct, frozen=True, kw_only=True):
    """What the service root's ProtocolFeaturesSupported declares, less what was tried and failed."""

    expand_no_links: bool = False
    """``$expand=.`` is supported."""
    expand_levels: int = 0
    """MaxLevels when Levels is supported; 1 when it is not but expanding is; 0 without expanding."""
    select: bool = False
    select_members: bool = False
    """Whether ``$select`` beside ``$expand`` was tried and brings the named properties of the members, and less."""
    etags: bool = False
    """Whether GETs bring ETags."""


class ClockRead(Struct, frozen=True, kw_only=True):
    """A service's clock against ours; see :mod:`collector.redfish.service_clock`."""

    source: str
    """The manager that told it, or ``Date header``."""
    offset: float
    """Seconds that it is ahead of ours; negative when it is behind."""
    spread: float
    """Seconds that ``offset`` may be wrong by: half the exchange, and the resolution of what was told."""


class Walked(Struct, frozen=True, kw_only=True):
    """One finished walk."""

    controller: str
    time: Seconds
    """When it ended."""
    root: dict[str, Any]
    resources: dict[str, Resource]
    """By path, in the order found; includes the service root and the collections themselves."""
    features: Features
    defects: tuple[Defect, ...] = ()
    requests: int = 0
    bytes_received: int = 0
    clock: ClockRead | None = None
    """The service's clock against ours; None where nothing tells it."""


class Fetch(Struct, frozen=True):
    """One GET of a poll plan: a path with its query, and the paths of the resources that its body brings.

    ``brings`` lists only resources that the inventory uses: one path equal to ``path`` for a plain GET, the members for
    an expanded collection.
    """

    path: str
    brings: tuple[str, ...]
    expanded: bool = False
    """Whether the body is a collection whose Members are the resources themselves."""
