"""The account service: a controller's accounts, and what their roles may do (DSP0266, "Privilege model")."""

from __future__ import annotations

from simulators.service.offers import Offer
from simulators.service.tree import ROOT, Tree, link

ACCOUNT_SERVICE = "/redfish/v1/AccountService"
ACCOUNTS = f"{ACCOUNT_SERVICE}/Accounts"
ROLES = f"{ACCOUNT_SERVICE}/Roles"

MIN_PASSWORD, MAX_PASSWORD = 8, 64
"""Characters of a password."""

MONITOR, ADMIN = "monitor", "admin"
"""Names of the two accounts."""
ROLE_OF: dict[str, str] = {MONITOR: "Operator", ADMIN: "Administrator"}
"""Account -> role: who watches also switches lamps and subscribes to events, which takes ConfigureComponents."""
PRIVILEGES: dict[str, tuple[str, ...]] = {
    "Administrator": ("Login", "ConfigureManager", "ConfigureUsers", "ConfigureComponents", "ConfigureSelf"),
    "Operator": ("Login", "ConfigureComponents", "ConfigureSelf"),
    "ReadOnly": ("Login", "ConfigureSelf"),
}
"""The standard's own roles (DSP0266, "Roles")."""


def add(tree: Tree, offer: Offer) -> None:
    """Add the account service to a tree, and the link to it."""
    roles = [
        tree.add(
            f"{ROLES}/{name}",
            offer.role,
            f"Role {name}",
            {
                "RoleId": name,
                "IsPredefined": True,
                "AssignedPrivileges": list(privileges),
            },
        )
        for name, privileges in PRIVILEGES.items()
    ]
    tree.add(
        ACCOUNT_SERVICE,
        offer.account_service,
        "Account service",
        {
            "ServiceEnabled": True,
            "Status": {"State": "Enabled", "Health": "OK"},
            **({"SupportedAccountTypes": ["Redfish"]} if offer.newer else {}),
            "MinPasswordLength": MIN_PASSWORD,
            "MaxPasswordLength": MAX_PASSWORD,
            "Accounts": link(ACCOUNTS),
            "Roles": link(tree.collect(ROLES, "Role", "Roles", roles)),
        },
    )
    tree.resources[ROOT].body["AccountService"] = link(ACCOUNT_SERVICE)
