"""The fleet file read in: every problem of it, and of what it names, told at once."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import Field, SecretStr, ValidationError

from collector.settings.actions import ActionSettings
from collector.settings.base import Section, SettingsError, reason, secret_of, under
from collector.settings.conditions import ConditionSettings
from collector.settings.controllers import ControllerSettings, controllers_of, credential_of
from collector.settings.designs import DesignSettings
from collector.settings.entries import ControllerEntry, CredentialEntry, append_csv, inline_origins
from collector.settings.places import PlaceSettings
from collector.settings.sections import CollectorSettings, EventSettings, MqttSettings, StoreSettings, checked_events


class _FleetFile(Section):
    collector: CollectorSettings = CollectorSettings()
    store: StoreSettings = StoreSettings()
    mqtt: MqttSettings | None = None
    events: EventSettings | None = None
    conditions: ConditionSettings = ConditionSettings()
    actions: ActionSettings = ActionSettings()
    credentials: dict[str, CredentialEntry] = Field(default_factory=dict)
    controllers: list[ControllerEntry] = Field(default_factory=list)
    places: list[PlaceSettings] = Field(default_factory=list)
    designs: list[DesignSettings] = Field(default_factory=list)


@dataclass(frozen=True, kw_only=True)
class Settings:
    """The fleet file with everything that it names read in."""

    path: Path
    collector: CollectorSettings
    store: StoreSettings
    mqtt: MqttSettings | None
    mqtt_password: SecretStr | None
    controllers: tuple[ControllerSettings, ...]
    events: EventSettings | None = None
    conditions: ConditionSettings = field(default_factory=ConditionSettings)
    actions: ActionSettings = field(default_factory=ActionSettings)
    places: tuple[PlaceSettings, ...] = ()
    designs: tuple[DesignSettings, ...] = ()


def load(path: Path, environ: Mapping[str, str] | None = None) -> Settings:
    """Read and check a fleet file and all that it names; relative paths count from the fleet file's folder.

    Raises :class:`SettingsError` with every problem found, not only the first.
    """
    environ = os.environ if environ is None else environ
    try:
        raw: dict[str, Any] = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(path, [f"can't be read: {reason(error)}"]) from error
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(path, [f"is not TOML: {error}"]) from error

    problems: list[str] = []
    origins = inline_origins(raw)
    append_csv(path, raw, origins, problems)
    try:
        fleet = _FleetFile.model_validate(raw)
    except ValidationError as error:
        problems += [_problem(item["loc"], item["msg"], origins) for item in error.errors(include_url=False)]
        raise SettingsError(path, problems) from error

    home = path.parent
    credentials = {
        name: credential_of(home, f"credentials.{name}", entry, environ, problems)
        for name, entry in fleet.credentials.items()
    }
    controllers = controllers_of(home, fleet.controllers, credentials, origins, problems)
    mqtt_password = None
    if fleet.mqtt is not None:
        mqtt_password = secret_of(home, "mqtt", fleet.mqtt.password_file, fleet.mqtt.password_env, environ, problems)
        if fleet.mqtt.ca_file is not None and not (home / fleet.mqtt.ca_file).is_file():
            problems.append(f"mqtt.ca_file: no such file: {fleet.mqtt.ca_file}")
    registries = under(home, fleet.collector.registries)
    if registries is not None and not registries.exists():
        problems.append(f"collector.registries: no such folder or file: {fleet.collector.registries}")
    events = checked_events(home, fleet.events, problems)
    if not controllers and not problems:
        problems.append("controllers: none given; add [[controllers]] or collector.controllers_file")
    if problems:
        raise SettingsError(path, problems)
    return Settings(
        path=path,
        collector=fleet.collector.model_copy(update={"registries": registries}),
        store=fleet.store,
        mqtt=fleet.mqtt.model_copy(update={"ca_file": under(home, fleet.mqtt.ca_file)}) if fleet.mqtt else None,
        mqtt_password=mqtt_password,
        controllers=tuple(controllers),
        events=events,
        conditions=fleet.conditions,
        actions=fleet.actions,
        places=tuple(fleet.places),
        designs=tuple(fleet.designs),
    )


def _problem(loc: tuple[int | str, ...], message: str, origins: list[str]) -> str:
    message = message.removeprefix("Value error, ")
    if message == "Extra inputs are not permitted":
        message = "unknown key"
    if len(loc) >= 2 and loc[0] == "controllers" and isinstance(loc[1], int):
        where = origins[loc[1]]
        key = ".".join(str(step) for step in loc[2:])
        return f"{where}: {key}: {message}" if key else f"{where}: {message}"
    return f"{'.'.join(str(step) for step in loc)}: {message}"
