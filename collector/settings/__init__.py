"""The fleet file: what the user asks for, checked in full before anything starts.

TOML, unknown keys are errors, every error is told at once with its key. See the README for the format.
"""

from __future__ import annotations

from collector.settings.actions import ActionSettings
from collector.settings.base import SettingsError
from collector.settings.conditions import ConditionSettings
from collector.settings.controllers import ControllerSettings, Credential
from collector.settings.designs import DesignSettings, HoldingSettings
from collector.settings.loading import Settings, load
from collector.settings.places import FeedSettings, PlaceSettings
from collector.settings.sections import CollectorSettings, EventSettings, MqttSettings, StoreSettings

__all__ = [
    "ActionSettings",
    "CollectorSettings",
    "ConditionSettings",
    "ControllerSettings",
    "Credential",
    "DesignSettings",
    "EventSettings",
    "FeedSettings",
    "HoldingSettings",
    "MqttSettings",
    "PlaceSettings",
    "Settings",
    "SettingsError",
    "StoreSettings",
    "load",
]
