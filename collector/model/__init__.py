"""The project's words as types. No I/O; imports nothing of ours.

Conventions, everywhere:

* Times are seconds since 1970-01-01T00:00:00Z as ``float`` (``Seconds``); they are passed in, never read here.
* Values are in the canonical unit of their quantity (see :data:`CANONICAL_UNIT`).
* A resource is named by the path it was fetched from, e.g. ``/redfish/v1/Chassis/Sled``; a place inside a body by
  that path with a JSON pointer (RFC 6901) as fragment, e.g. ``/redfish/v1/Chassis/Sled/Thermal#/Fans/0``.
* A part's ``id`` is ``<controller name>:<that name>``: unique in the fleet, stable while the service keeps its tree.
* Absent (``None``), unknown and zero are three facts and stay three values.
"""

from __future__ import annotations

from collector.model.acts import (
    TAKES_DOWN,
    Handled,
    Handling,
    Held,
    Lit,
    Noticed,
    OrderState,
    Permits,
    PowerWish,
    Sighting,
)
from collector.model.answers import Fallen, Margin, MarginKind, Suspect, Trouble, Urgency, WorkOrder
from collector.model.care import (
    CARE_VERBS,
    DEED_VERBS,
    ORDER_VERBS,
    UNDER_WAY,
    Care,
    CareKind,
    Mark,
    Request,
    RequestState,
    Verb,
)
from collector.model.conditions import (
    Assessment,
    Condition,
    Event,
    Evidence,
    PartHours,
    Rolled,
    Stay,
    Subject,
    Turn,
)
from collector.model.contact import Contact, EventsBy, Login
from collector.model.designs import Design, Holding, Misfit, Misfitting
from collector.model.figures import Figure, FigureKind
from collector.model.lamps import Lamps, LampState
from collector.model.parts import Identity, Link, Location, Part, Size, Why
from collector.model.setting import Setting, SettingKind
from collector.model.signs import SENSOR_SIGNS, Observation, Sign, SignKey, Visible
from collector.model.state import CollectorState, ControllerState, History, Reading, Update
from collector.model.telemetry import (
    Defect,
    DefectKind,
    Frame,
    Inventory,
    Layout,
    Limit,
    Neighbour,
    Outcome,
    Round,
    Sensor,
    Status,
    Thresholds,
)
from collector.model.words import (
    CANONICAL_UNIT,
    NO_VALUE,
    Health,
    Kind,
    LedState,
    PowerState,
    Quantity,
    Seconds,
    State,
    worst,
)

__all__ = [
    "CANONICAL_UNIT",
    "CARE_VERBS",
    "DEED_VERBS",
    "NO_VALUE",
    "ORDER_VERBS",
    "SENSOR_SIGNS",
    "TAKES_DOWN",
    "UNDER_WAY",
    "Assessment",
    "Care",
    "CareKind",
    "CollectorState",
    "Condition",
    "Contact",
    "ControllerState",
    "Defect",
    "DefectKind",
    "Design",
    "Event",
    "EventsBy",
    "Evidence",
    "Fallen",
    "Figure",
    "FigureKind",
    "Frame",
    "Handled",
    "Handling",
    "Health",
    "Held",
    "History",
    "Holding",
    "Identity",
    "Inventory",
    "Kind",
    "LampState",
    "Lamps",
    "Layout",
    "LedState",
    "Limit",
    "Link",
    "Lit",
    "Location",
    "Login",
    "Margin",
    "MarginKind",
    "Mark",
    "Misfit",
    "Misfitting",
    "Neighbour",
    "Noticed",
    "Observation",
    "OrderState",
    "Outcome",
    "Part",
    "PartHours",
    "Permits",
    "PowerState",
    "PowerWish",
    "Quantity",
    "Reading",
    "Request",
    "RequestState",
    "Rolled",
    "Round",
    "Seconds",
    "Sensor",
    "Setting",
    "SettingKind",
    "Sighting",
    "Sign",
    "SignKey",
    "Size",
    "State",
    "Status",
    "Stay",
    "Subject",
    "Suspect",
    "Thresholds",
    "Trouble",
    "Turn",
    "Update",
    "Urgency",
    "Verb",
    "Visible",
    "Why",
    "WorkOrder",
    "worst",
]
