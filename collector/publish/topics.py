"""MQTT topics of ours, and names made fit to be one level of a topic.

::

    sledkeeper/1/_collector/CLIENT               online or offline (the will), retained
    sledkeeper/1/CONTROLLER/state                how its telemetry does, retained
    sledkeeper/1/CONTROLLER/sensors              what its readings mean, retained
    sledkeeper/1/CONTROLLER/readings             all readings of its newest round, retained
    sledkeeper/1/CONTROLLER/parts/PART           a part with its health and lamps, retained
    sledkeeper/1/CONTROLLER/conditions/ID        an open condition, retained until it closes
    sledkeeper/1/CONTROLLER/troubles/ID          an open trouble with its suspects, retained until it closes
    sledkeeper/1/CONTROLLER/orders/ID            an open work order, retained until it closes
    sledkeeper/1/CONTROLLER/margins              what is left of heat, air and power at its parts, retained
    sledkeeper/1/CONTROLLER/figures              what follows from its readings, retained
    sledkeeper/1/CONTROLLER/events               what happened, not retained

Troubles and their orders stand under the controller whose part showed the trouble first. A controller's name starts
with a letter or digit, so that ``_collector`` is none. PART is the part's resource path without the leading
``/redfish/v1/``, escaped.
"""

from __future__ import annotations

import re
from hashlib import sha256
from urllib.parse import unquote_to_bytes

ROOT = "sledkeeper/1"
SERVICE_PATH = "/redfish/v1/"
LONGEST = 1000
"""UTF-8 bytes of one level; a topic may have 65,535 (MQTT 5, 1.5.4)."""

_KEPT_OUT = frozenset("%+#/")
_CUT = "%~"
"""Between what is kept of a longer name and its digest; no escaped name has it otherwise."""


def escape(name: str) -> str:
    """A name as one topic level: wildcards, separators and what can't be seen as %XX of its UTF-8 bytes.

    A longer name than :data:`LONGEST` is cut and marked with a digest of all of it.
    """
    if not name:
        return "%"
    level = "".join(_escaped(char) if char in _KEPT_OUT or not char.isprintable() else char for char in name)
    if len(level.encode()) <= LONGEST:
        return level
    digest = sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:32]
    head = level.encode()[: LONGEST - len(_CUT) - len(digest)].decode("utf-8", "ignore")
    return re.sub(r"%[0-9A-F]?$", "", head) + _CUT + digest


def unescape(level: str) -> str:
    """The name that :func:`escape` was given. Raises ValueError for one that was cut: its message tells it whole."""
    if _CUT in level:
        raise ValueError("a name too long for a topic; its whole stands in the message")
    return "" if level == "%" else unquote_to_bytes(level).decode("utf-8", "surrogatepass")


def collector(client_id: str) -> str:
    """Where a collector says whether it is online."""
    return f"{ROOT}/_collector/{escape(client_id)}"


def of_controller(controller: str, what: str) -> str:
    """``state``, ``sensors``, ``readings``, ``margins``, ``figures`` or ``events`` of a controller."""
    return f"{ROOT}/{escape(controller)}/{what}"


def part(controller: str, uri: str) -> str:
    """Where a part is told."""
    return f"{ROOT}/{escape(controller)}/parts/{escape(uri.removeprefix(SERVICE_PATH))}"


def condition(controller: str, condition_id: str) -> str:
    """Where an open condition is told."""
    return f"{ROOT}/{escape(controller)}/conditions/{escape(condition_id)}"


def trouble(controller: str, trouble_id: str) -> str:
    """Where an open trouble is told."""
    return f"{ROOT}/{escape(controller)}/troubles/{escape(trouble_id)}"


def order(controller: str, order_id: str) -> str:
    """Where an open work order is told."""
    return f"{ROOT}/{escape(controller)}/orders/{escape(order_id)}"


def controller_of(topic: str) -> str | None:
    """The controller that a topic of ours is about; None for the collector's own and foreign ones."""
    steps = topic.split("/")
    if len(steps) < 4 or "/".join(steps[:2]) != ROOT or steps[2].startswith("_"):
        return None
    try:
        return unescape(steps[2])
    except ValueError:
        return None


def _escaped(char: str) -> str:
    return "".join(f"%{byte:02X}" for byte in char.encode("utf-8", "surrogatepass"))
