"""The fleet file: what the user asks for, checked in full before anything starts.

TOML, unknown keys are errors, every error is told at once with its key. See the README for the format.
"""

from __future__ import annotations

import csv
import os
import re
import ssl
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal
from urllib.parse import urlsplit

from pydantic import BaseModel, ConfigDict, Field, SecretStr, ValidationError, field_validator, model_validator

from collector.model import Location

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
_CSV_LOCATION = ("site", "row", "rack", "offset", "offset_unit", "enclosure", "sled", "slot")
_CSV_COLUMNS = {"name", "url", "credentials", "ca_file", "fingerprint", "insecure", *_CSV_LOCATION}


class SettingsError(Exception):
    """The fleet file, or a file that it names, is wrong. ``problems`` holds one line an error, each with its key."""

    def __init__(self, path: Path, problems: list[str]) -> None:
        self.path = path
        self.problems = problems
        super().__init__(f"{path}: " + "; ".join(problems))


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


def _checked_address(value: str) -> str:
    host, colon, port = value.rpartition(":")
    if not colon or not host or not port.isdigit() or int(port) > 65535:
        raise ValueError("must be host:port, for example 127.0.0.1:9460")
    return value


def _address(value: str) -> tuple[str, int]:
    host, _, port = value.rpartition(":")
    return host.strip("[]"), int(port)


class CollectorSettings(_Section):
    """[collector]: how to poll, where to listen."""

    poll_interval: Annotated[float, Field(gt=0, le=3600)] = 30.0
    """Seconds between the starts of two rounds of one controller."""
    walk_interval: Annotated[float, Field(gt=0)] = 900.0
    """Seconds between two walks of one controller."""
    deadline: Annotated[float, Field(gt=0)] | None = None
    """Seconds that one round may take; default: 0.8 of the poll interval, 60 at most."""
    walk_deadline: Annotated[float, Field(gt=0)] = 180.0
    """Seconds that one walk may take."""
    in_flight: Annotated[int, Field(ge=1, le=16)] = 1
    """Requests in flight at once towards one controller."""
    max_walks: Annotated[int, Field(ge=1, le=1024)] = 32
    """Walks going on at once in the whole fleet."""
    listen: str = "127.0.0.1:9460"
    """host:port of metrics and health; port 0 takes a free one."""
    controllers_file: Path | None = None

    @field_validator("listen")
    @classmethod
    def _host_and_port(cls, value: str) -> str:
        return _checked_address(value)

    @property
    def listen_address(self) -> tuple[str, int]:
        """Host and port to listen on."""
        return _address(self.listen)

    @property
    def round_deadline(self) -> float:
        """Seconds that one round may take."""
        return self.deadline if self.deadline is not None else min(60.0, 0.8 * self.poll_interval)


class StoreSettings(_Section):
    """[store]: what is kept for how long."""

    hot_hours: Annotated[int, Field(ge=1, le=168)] = 2
    """Full hours of samples kept in the database besides the current one before they are sealed."""
    retention_days: Annotated[float, Field(gt=0)] = 30.0
    """Days that sealed hours and closed conditions are kept."""


class EventSettings(_Section):
    """[events]: where controllers push their events to; without this section their streams and logs are read only."""

    listen: str
    """host:port of the listener for pushed events."""
    advertise: str
    """URL under which controllers reach it, as they are told it: https, or http where no certificate is given."""
    cert_file: Path | None = None
    """Certificate and intermediates for https, PEM."""
    key_file: Path | None = None
    """Its private key, PEM, not encrypted."""

    @field_validator("listen")
    @classmethod
    def _host_and_port(cls, value: str) -> str:
        return _checked_address(value)

    @field_validator("advertise")
    @classmethod
    def _url(cls, value: str) -> str:
        try:
            parts = urlsplit(value)
            port = parts.port
        except ValueError as error:
            raise ValueError(f"is not a URL: {error}") from error
        if parts.scheme not in ("http", "https") or not parts.hostname or port == 0:
            raise ValueError("must be https://host[:port], as controllers reach the collector")
        if parts.username or parts.password or parts.query or parts.fragment:
            raise ValueError("takes scheme, host, port and path only")
        if not value.isascii() or not value.isprintable() or " " in value:
            raise ValueError("must be written in printable ASCII")
        return value.rstrip("/")

    @model_validator(mode="after")
    def _one_scheme(self) -> EventSettings:
        if (self.cert_file is None) != (self.key_file is None):
            raise ValueError("needs cert_file and key_file together")
        if self.advertise.startswith("https:") and self.cert_file is None:
            raise ValueError("needs cert_file and key_file, since advertise says https")
        if self.advertise.startswith("http:") and self.cert_file is not None:
            raise ValueError("has a certificate, but advertise says http")
        return self

    @property
    def listen_address(self) -> tuple[str, int]:
        """Host and port to listen on."""
        return _address(self.listen)


class MqttSettings(_Section):
    """[mqtt]: publish to a broker; without this section nothing is published."""

    host: str
    port: Annotated[int, Field(ge=1, le=65535)] = 1883
    username: str | None = None
    password_file: Path | None = None
    password_env: str | None = None
    ca_file: Path | None = None
    tls: bool = False
    client_id: str | None = None


class _CredentialEntry(_Section):
    username: Annotated[str, Field(min_length=1)]
    password_file: Path | None = None
    password_env: str | None = None

    @model_validator(mode="after")
    def _one_source(self) -> _CredentialEntry:
        if (self.password_file is None) == (self.password_env is None):
            raise ValueError("needs exactly one of password_file and password_env")
        return self


class _LocationEntry(_Section):
    site: str | None = None
    row: str | None = None
    rack: str | None = None
    offset: float | None = None
    offset_unit: Literal["EIA_310", "OpenU"] | None = None
    enclosure: str | None = None
    sled: str | None = None
    slot: str | None = None


class _ControllerEntry(_Section):
    name: str
    url: str
    credentials: str = "none"
    ca_file: Path | None = None
    fingerprint: str | None = None
    insecure: bool = False
    location: _LocationEntry = _LocationEntry()

    @field_validator("name")
    @classmethod
    def _plain_name(cls, value: str) -> str:
        if not _NAME.fullmatch(value):
            raise ValueError("must be 1 to 64 letters, digits, '.', '_' or '-', starting with a letter or digit")
        return value

    @field_validator("url")
    @classmethod
    def _origin_only(cls, value: str) -> str:
        try:
            parts = urlsplit(value)
            port = parts.port
        except ValueError as error:
            raise ValueError(f"is not a URL: {error}") from error
        if parts.scheme not in ("http", "https") or not parts.hostname:
            raise ValueError("must be https://host[:port] (or http:// where a service has no TLS)")
        if parts.username or parts.password:
            raise ValueError("must not carry credentials; use [credentials.NAME]")
        try:
            parts.hostname.encode("idna")  # as a connection will do; labels of 1 to 63 characters (RFC 1035, 2.3.4)
        except UnicodeError as error:
            raise ValueError("holds a host name with an empty label or one of over 63 characters") from error
        if parts.path not in ("", "/") or parts.query or parts.fragment:
            raise ValueError("must stop after host and port; the standard fixes the path /redfish/v1/")
        host = f"[{parts.hostname}]" if ":" in parts.hostname else parts.hostname
        return f"{parts.scheme}://{host}" + (f":{port}" if port is not None else "")

    @field_validator("fingerprint")
    @classmethod
    def _sha256(cls, value: str | None) -> str | None:
        if value is None:
            return None
        digits = value.removeprefix("sha256:").replace(":", "").lower()
        if not value.startswith("sha256:") or not re.fullmatch(r"[0-9a-f]{64}", digits):
            raise ValueError("must be sha256: and 64 hexadecimal digits")
        return "sha256:" + digits

    @model_validator(mode="after")
    def _one_trust(self) -> _ControllerEntry:
        ways = [self.ca_file is not None, self.fingerprint is not None, self.insecure]
        if sum(ways) > 1:
            raise ValueError("takes only one of ca_file, fingerprint and insecure")
        if self.url.startswith("http://") and any(ways):
            raise ValueError("ca_file, fingerprint and insecure make sense only with https")
        return self


class _FleetFile(_Section):
    collector: CollectorSettings = CollectorSettings()
    store: StoreSettings = StoreSettings()
    mqtt: MqttSettings | None = None
    events: EventSettings | None = None
    credentials: dict[str, _CredentialEntry] = {}
    controllers: list[_ControllerEntry] = []


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


def load(path: Path, environ: Mapping[str, str] | None = None) -> Settings:
    """Read and check a fleet file and all that it names; relative paths count from the fleet file's folder.

    Raises :class:`SettingsError` with every problem found, not only the first.
    """
    environ = os.environ if environ is None else environ
    try:
        raw: dict[str, Any] = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(path, [f"can't be read: {_reason(error)}"]) from error
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(path, [f"is not TOML: {error}"]) from error

    problems: list[str] = []
    origins = _inline_origins(raw)
    _append_csv(path, raw, origins, problems)
    try:
        fleet = _FleetFile.model_validate(raw)
    except ValidationError as error:
        problems += [_problem(item["loc"], item["msg"], origins) for item in error.errors(include_url=False)]
        raise SettingsError(path, problems) from error

    home = path.parent
    credentials = {
        name: secret
        for name, entry in fleet.credentials.items()
        if (secret := _credential(home, f"credentials.{name}", entry, environ, problems)) is not None
    }
    controllers = _controllers(home, fleet, credentials, origins, problems)
    mqtt_password = None
    if fleet.mqtt is not None:
        mqtt_password = _secret(home, "mqtt", fleet.mqtt.password_file, fleet.mqtt.password_env, environ, problems)
        if fleet.mqtt.ca_file is not None and not (home / fleet.mqtt.ca_file).is_file():
            problems.append(f"mqtt.ca_file: no such file: {fleet.mqtt.ca_file}")
    events = _events(home, fleet.events, problems)
    if not controllers and not problems:
        problems.append("controllers: none given; add [[controllers]] or collector.controllers_file")
    if problems:
        raise SettingsError(path, problems)
    return Settings(
        path=path,
        collector=fleet.collector,
        store=fleet.store,
        mqtt=fleet.mqtt.model_copy(update={"ca_file": _under(home, fleet.mqtt.ca_file)}) if fleet.mqtt else None,
        mqtt_password=mqtt_password,
        controllers=tuple(controllers),
        events=events,
    )


def _events(home: Path, told: EventSettings | None, problems: list[str]) -> EventSettings | None:
    """The section with its files found, and tried: a certificate that can't be used is better told now."""
    if told is None or told.cert_file is None or told.key_file is None:
        return told
    files = {"cert_file": told.cert_file, "key_file": told.key_file}
    missing = [f"events.{key}: no such file: {file}" for key, file in files.items() if not (home / file).is_file()]
    problems += missing
    if not missing:
        try:
            # A password is never asked for on a terminal: an encrypted key is refused instead.
            ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(home / told.cert_file, home / told.key_file, "")
        except (OSError, ssl.SSLError) as error:
            reason = getattr(error, "reason", None) or _reason(error)
            problems.append(f"events.cert_file: {told.cert_file} and {told.key_file} can't be used: {reason}")
    return told.model_copy(update={key: home / file for key, file in files.items()})


def _under(home: Path, path: Path | None) -> Path | None:
    return None if path is None else home / path


def _reason(error: Exception) -> str:
    return error.strerror or str(error) if isinstance(error, OSError) else str(error)


def _inline_origins(raw: dict[str, Any]) -> list[str]:
    """Where each controller entry stands, for messages: ``controllers[0]`` and so on."""
    entries = raw.get("controllers", [])
    return [f"controllers[{index}]" for index in range(len(entries))] if isinstance(entries, list) else []


def _append_csv(path: Path, raw: dict[str, Any], origins: list[str], problems: list[str]) -> None:
    """Add the rows of collector.controllers_file to the raw controllers, remembering their lines."""
    section = raw.get("collector")
    name = section.get("controllers_file") if isinstance(section, dict) else None
    entries = raw.setdefault("controllers", [])
    if not isinstance(name, str) or not isinstance(entries, list):
        return  # a wrong type is told by the model
    try:
        with (path.parent / name).open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file, strict=True)
            header = reader.fieldnames or []
            unknown = [column for column in header if column not in _CSV_COLUMNS]
            for column in unknown:
                problems.append(f"{name} line 1: unknown column {column!r}")
            for column in ("name", "url"):
                if column not in header:
                    problems.append(f"{name} line 1: column {column!r} is missing")
            for row in reader:
                if None in row or None in row.values():
                    problems.append(f"{name} line {reader.line_num}: has not as many fields as the first line")
                    continue
                entries.append(_csv_entry(row))
                origins.append(f"{name} line {reader.line_num}")
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        problems.append(f"collector.controllers_file: {name} can't be read: {_reason(error)}")


def _csv_entry(row: dict[str, str]) -> dict[str, Any]:
    told = {key: value.strip() for key, value in row.items() if value.strip() and key in _CSV_COLUMNS}
    location = {key: told.pop(key) for key in _CSV_LOCATION if key in told}
    return {**told, "location": location}


def _problem(loc: tuple[int | str, ...], message: str, origins: list[str]) -> str:
    message = message.removeprefix("Value error, ")
    if message == "Extra inputs are not permitted":
        message = "unknown key"
    if len(loc) >= 2 and loc[0] == "controllers" and isinstance(loc[1], int):
        where = origins[loc[1]]
        key = ".".join(str(step) for step in loc[2:])
        return f"{where}: {key}: {message}" if key else f"{where}: {message}"
    return f"{'.'.join(str(step) for step in loc)}: {message}"


def _secret(
    home: Path, key: str, file: Path | None, env: str | None, environ: Mapping[str, str], problems: list[str]
) -> SecretStr | None:
    """The secret that a file or a variable holds, without its trailing newline; a lack of it is a problem."""
    if file is not None:
        try:
            text = (home / file).read_text(encoding="utf-8").rstrip("\r\n")
        except (OSError, UnicodeDecodeError) as error:
            problems.append(f"{key}.password_file: {file} can't be read: {_reason(error)}")
            return None
        if not text:
            problems.append(f"{key}.password_file: {file} is empty")
            return None
        return SecretStr(text)
    if env is not None:
        if not environ.get(env):
            problems.append(f"{key}.password_env: the environment variable {env} is not set")
            return None
        return SecretStr(environ[env])
    return None


def _credential(
    home: Path, key: str, entry: _CredentialEntry, environ: Mapping[str, str], problems: list[str]
) -> Credential | None:
    secret = _secret(home, key, entry.password_file, entry.password_env, environ, problems)
    file = _under(home, entry.password_file)
    return None if secret is None else Credential(username=entry.username, password=secret, password_file=file)


def _controllers(
    home: Path, fleet: _FleetFile, credentials: dict[str, Credential], origins: list[str], problems: list[str]
) -> list[ControllerSettings]:
    seen_names: dict[str, str] = {}
    seen_urls: dict[str, str] = {}
    controllers = []
    for entry, origin in zip(fleet.controllers, origins, strict=True):
        for seen, value, what in ((seen_names, entry.name, "name"), (seen_urls, entry.url, "url")):
            if value in seen:
                problems.append(f"{origin}: {what}: {value!r} stands already at {seen[value]}")
            seen.setdefault(value, origin)
        if entry.credentials != "none" and entry.credentials not in fleet.credentials:
            problems.append(f"{origin}: credentials: no [credentials.{entry.credentials}] in this file")
        if entry.ca_file is not None and not (home / entry.ca_file).is_file():
            problems.append(f"{origin}: ca_file: no such file: {entry.ca_file}")
        controllers.append(
            ControllerSettings(
                name=entry.name,
                url=entry.url,
                credential=credentials.get(entry.credentials),
                ca_file=_under(home, entry.ca_file),
                fingerprint=entry.fingerprint,
                insecure=entry.insecure,
                location=Location(**entry.location.model_dump()),
            )
        )
    return controllers
