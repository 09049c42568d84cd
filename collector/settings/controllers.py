"""Controllers ready to be polled, with their secrets read in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from pydantic import SecretStr

from collector.model import Location
from collector.settings.base import secret_of, under
from collector.settings.entries import ControllerEntry, CredentialEntry


@dataclass(frozen=True, kw_only=True)
class Credential:
    """A user name and a password; the password never prints."""

    username: str
    password: SecretStr
    password_file: Path | None = None
    """Where the password came from; None where that was the environment."""


@dataclass(frozen=True, kw_only=True)
class ControllerSettings:
    """One controller, ready to be polled."""

    name: str
    url: str
    """Origin: scheme, host and port, without a trailing slash."""
    credential: Credential | None = None
    ca_file: Path | None = None
    fingerprint: str | None = None
    """``sha256:`` and 64 lower-case hexadecimal digits of the DER certificate."""
    insecure: bool = False
    location: Location = Location()
    action_credential: Credential | None = None
    """With which its lamps and hosts are switched; None: ``credential``."""
    power: bool | None = None
    """Whether its hosts may be switched; None: as [actions] says."""


def credential_of(
    home: Path, key: str, entry: CredentialEntry, environ: Mapping[str, str], problems: list[str]
) -> Credential | None:
    """A [credentials.NAME] with its password; None where that can't be had, which is a problem told."""
    secret = secret_of(home, key, entry.password_file, entry.password_env, environ, problems)
    file = under(home, entry.password_file)
    return None if secret is None else Credential(username=entry.username, password=secret, password_file=file)


def controllers_of(
    home: Path,
    entries: Sequence[ControllerEntry],
    credentials: Mapping[str, Credential | None],
    origins: Sequence[str],
    problems: list[str],
) -> list[ControllerSettings]:
    """The controllers with what they refer to found; ``origins``: where each stands, for messages."""
    seen_names: dict[str, str] = {}
    seen_urls: dict[str, str] = {}
    controllers = []
    for entry, origin in zip(entries, origins, strict=True):
        for seen, value, what in ((seen_names, entry.name, "name"), (seen_urls, entry.url, "url")):
            if value in seen:
                problems.append(f"{origin}: {what}: {value!r} stands already at {seen[value]}")
            seen.setdefault(value, origin)
        for key in ("credentials", "action_credentials"):
            wanted = getattr(entry, key)
            if wanted not in (None, "none") and wanted not in credentials:
                problems.append(f"{origin}: {key}: no [credentials.{wanted}] in this file")
        if entry.ca_file is not None and not (home / entry.ca_file).is_file():
            problems.append(f"{origin}: ca_file: no such file: {entry.ca_file}")
        controllers.append(
            ControllerSettings(
                name=entry.name,
                url=entry.url,
                credential=credentials.get(entry.credentials),
                ca_file=under(home, entry.ca_file),
                fingerprint=entry.fingerprint,
                insecure=entry.insecure,
                location=Location(**entry.location.model_dump()),
                action_credential=credentials.get(entry.action_credentials or ""),
                power=entry.power,
            )
        )
    return controllers
