"""The fleet file: what the user asks for, checked in full before anything starts.

TOML, unknown keys are errors, every error is told at once with its key. See the README for the format.
"""

from __future__ import annotations

from collector.settings.base import SettingsError
from collector.settings.controllers import ControllerSettings, Credential
from collector.settings.loading import Settings, load
from collector.settings.sections import CollectorSettings, EventSettings, MqttSettings, StoreSettings

__all__ = [
    "CollectorSettings",
    "ControllerSettings",
    "Credential",
    "EventSettings",
    "MqttSettings",
    "Settings",
    "SettingsError",
    "StoreSettings",
    "load",
]
