"""The service root and the services around the hardware, in both dialects."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from simulators.designs import Item
from simulators.service import live
from simulators.service.messages import REGISTRY
from simulators.service.places import CHASSIS, MANAGER, MANAGERS, SYSTEMS
from simulators.service.query import Body
from simulators.service.tree import ROOT, Tree, link

SESSION_SERVICE = "/redfish/v1/SessionService"
SESSIONS = f"{SESSION_SERVICE}/Sessions"
REGISTRIES = "/redfish/v1/Registries"

SESSION_TIMEOUT = 1800
"""Seconds without use after which a session ends."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Release:
    """Which releases of the standard a dialect speaks."""

    redfish: str
    root: str
    session_service: str
    session: str
    registry_file: str
    tells_features: bool
    """Whether its ServiceRoot schema knows ProtocolFeaturesSupported, Vendor and Product."""


MODERN = Release(
    redfish="1.20.0",
    root="ServiceRoot.v1_20_0.ServiceRoot",
    session_service="SessionService.v1_2_0.SessionService",
    session="Session.v1_8_0.Session",
    registry_file="MessageRegistryFile.v1_1_5.MessageRegistryFile",
    tells_features=True,
)
CLASSIC = Release(
    redfish="1.5.0",
    root="ServiceRoot.v1_2_0.ServiceRoot",
    session_service="SessionService.v1_1_3.SessionService",
    session="Session.v1_1_0.Session",
    registry_file="MessageRegistryFile.v1_1_0.MessageRegistryFile",
    tells_features=False,
)


class Rooted(Protocol):
    """A design as its service root tells of it."""

    top: str
    """The chassis that the service is about."""

    @property
    def managed_by(self) -> Item:
        """What the controller is."""

    @property
    def blade_paths(self) -> list[str]:
        """Chassis in that chassis."""

    @property
    def host_paths(self) -> list[str]:
        """Computer systems."""


def add(tree: Tree, plan: Rooted, release: Release, more: Body | None = None) -> None:
    """Add the service root (with ``more``), the session service, the registries and the three great collections."""
    tree.session_type = release.session
    controller = plan.managed_by
    told: Body = {}
    if release.tells_features:
        told = {
            "Vendor": controller.make,
            "Product": controller.model,
            "ProtocolFeaturesSupported": tree.features.body(),
        }
    tree.add(
        ROOT,
        release.root,
        "Root service",
        {
            "RedfishVersion": release.redfish,
            "UUID": live.uuid("service"),
            **told,
            "Chassis": link(tree.collect(CHASSIS, "Chassis", "Chassis", [plan.top, *plan.blade_paths])),
            "Systems": link(tree.collect(SYSTEMS, "ComputerSystem", "Systems", plan.host_paths)),
            "Managers": link(tree.collect(MANAGERS, "Manager", "Managers", [MANAGER])),
            **(more or {}),
            "SessionService": link(SESSION_SERVICE),
            "Registries": link(REGISTRIES),
            "Links": {"Sessions": link(SESSIONS)},
        },
    )
    tree.add(
        SESSION_SERVICE,
        release.session_service,
        "Session service",
        {
            "ServiceEnabled": True,
            "SessionTimeout": SESSION_TIMEOUT,
            "Sessions": link(SESSIONS),
            "Status": {"State": "Enabled", "Health": "OK"},
        },
    )
    file = f"{REGISTRIES}/{REGISTRY}"
    tree.add(
        file,
        release.registry_file,
        "Base message registry",
        {
            "Registry": REGISTRY.rpartition(".")[0],
            "Languages": ["en"],
            "Location": [{"Language": "en", "PublicationUri": f"https://redfish.dmtf.org/registries/{REGISTRY}.json"}],
        },
    )
    tree.collect(REGISTRIES, "MessageRegistryFile", "Message registries", [file])
