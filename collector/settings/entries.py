"""Controllers and credentials as the fleet file and its table of controllers write them."""

from __future__ import annotations

import csv
import re
from pathlib import Path
from typing import Annotated, Any, Literal
from urllib.parse import urlsplit

from pydantic import Field, field_validator, model_validator

from collector.settings.base import Section, reason

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
_CSV_LOCATION = ("site", "row", "rack", "offset", "offset_unit", "enclosure", "sled", "slot")
_CSV_COLUMNS = {
    "name",
    "url",
    "credentials",
    "action_credentials",
    "power",
    "ca_file",
    "fingerprint",
    "insecure",
    *_CSV_LOCATION,
}


class CredentialEntry(Section):
    """[credentials.NAME]: a user name and where its password stands."""

    username: Annotated[str, Field(min_length=1)]
    password_file: Path | None = None
    password_env: str | None = None

    @model_validator(mode="after")
    def _one_source(self) -> CredentialEntry:
        if (self.password_file is None) == (self.password_env is None):
            raise ValueError("needs exactly one of password_file and password_env")
        return self


class LocationEntry(Section):
    """controllers.location: where its front is, as the labels say."""

    site: str | None = None
    row: str | None = None
    rack: str | None = None
    offset: float | None = None
    offset_unit: Literal["EIA_310", "OpenU"] | None = None
    enclosure: str | None = None
    sled: str | None = None
    slot: str | None = None


class ControllerEntry(Section):
    """[[controllers]], or a line of the table of controllers."""

    name: str
    url: str
    credentials: str = "none"
    action_credentials: str | None = None
    """With which its lamps and hosts are switched; default: those that it is read with."""
    power: bool | None = None
    """Whether its hosts may be switched; default: as [actions] says."""
    ca_file: Path | None = None
    fingerprint: str | None = None
    insecure: bool = False
    location: LocationEntry = LocationEntry()

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
    def _one_trust(self) -> ControllerEntry:
        ways = [self.ca_file is not None, self.fingerprint is not None, self.insecure]
        if sum(ways) > 1:
            raise ValueError("takes only one of ca_file, fingerprint and insecure")
        if self.url.startswith("http://") and any(ways):
            raise ValueError("ca_file, fingerprint and insecure make sense only with https")
        return self


def inline_origins(raw: dict[str, Any]) -> list[str]:
    """Where each controller entry stands, for messages: ``controllers[0]`` and so on."""
    entries = raw.get("controllers", [])
    return [f"controllers[{index}]" for index in range(len(entries))] if isinstance(entries, list) else []


def append_csv(path: Path, raw: dict[str, Any], origins: list[str], problems: list[str]) -> None:
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
        problems.append(f"collector.controllers_file: {name} can't be read: {reason(error)}")


def _csv_entry(row: dict[str, str]) -> dict[str, Any]:
    told = {key: value.strip() for key, value in row.items() if value.strip() and key in _CSV_COLUMNS}
    location = {key: told.pop(key) for key in _CSV_LOCATION if key in told}
    return {**told, "location": location}
