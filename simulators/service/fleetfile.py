"""Writing what a collector needs to find a simulated fleet: fleet.toml, its CSV, the CA and the secret."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from simulators.service.siteplan import ground, text
from simulators.site import Place, Site

INLINE = 50
"""Controllers up to which they stand in fleet.toml itself; more go into a CSV beside it."""

CA_FILE = "ca.pem"
SECRET_FILE = "secrets/monitor"  # noqa: S105 - where the secret is, not what
CSV_FILE = "controllers.csv"
CREDENTIALS = "monitor"


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One controller: where it listens, and where it stands as far as it does not know that itself."""

    name: str
    url: str
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetFile:
    """What is to be written."""

    entries: Sequence[Entry]
    ca_pem: bytes
    username: str
    password: str
    poll_interval: float
    """Seconds."""
    listen: str
    """host:port of the collector's own metrics and health."""
    power: bool = False
    """Whether it lets hosts be switched."""
    site: Site | None = None
    """Whose places and designs are told; None: no site's."""

    def write(self, folder: Path) -> Path:
        """Write all files, fleet.toml last and at once, so that whoever sees it can use it; returns its path."""
        folder.mkdir(parents=True, exist_ok=True)
        secret = folder / SECRET_FILE
        secret.parent.mkdir(mode=0o700, exist_ok=True)
        _replace(secret, self.password.encode() + b"\n", mode=0o600)
        _replace(folder / CA_FILE, self.ca_pem)
        inline = len(self.entries) <= INLINE
        if not inline:
            _replace(folder / CSV_FILE, self._csv().encode())
        path = folder / "fleet.toml"
        _replace(path, self._toml(inline).encode())
        return path

    def _toml(self, inline: bool) -> str:
        lines = [
            "# An invented fleet on loopback, written by its simulator. Good as long as that runs.",
            "[collector]",
            f"poll_interval = {self.poll_interval:g}",
            f"listen = {text(self.listen)}",
        ]
        if not inline:
            lines.append(f"controllers_file = {text(CSV_FILE)}")
        lines += [
            "",
            f"[credentials.{CREDENTIALS}]",
            f"username = {text(self.username)}",
            f"password_file = {text(SECRET_FILE)}",
        ]
        if self.power:
            lines += ["", "[actions]", "power = true"]
        if self.site is not None:
            lines += ground(self.site)
        for entry in self.entries if inline else ():
            where = ", ".join(f"{key} = {_value(value)}" for key, value in _location(entry.place).items())
            lines += [
                "",
                "[[controllers]]",
                f"name = {text(entry.name)}",
                f"url = {text(entry.url)}",
                f"credentials = {text(CREDENTIALS)}",
                f"ca_file = {text(CA_FILE)}",
                f"location = {{ {where} }}",
            ]
        return "\n".join(lines) + "\n"

    def _csv(self) -> str:
        table = io.StringIO()
        writer = csv.writer(table, lineterminator="\n")
        keys = list(_location(self.entries[0].place))
        writer.writerow(["name", "url", "credentials", "ca_file", *keys])
        for entry in self.entries:
            where = _location(entry.place)
            writer.writerow([entry.name, entry.url, CREDENTIALS, CA_FILE, *(where.get(key, "") for key in keys)])
        return table.getvalue()


def _location(place: Place) -> dict[str, str | int]:
    told: dict[str, str | int | None] = {
        "site": place.site,
        "row": place.row,
        "rack": place.rack,
        "offset": place.offset,
        "offset_unit": "EIA_310",
        "enclosure": place.enclosure,
    }
    return {key: value for key, value in told.items() if value is not None}


def _value(value: str | int) -> str:
    return text(value) if isinstance(value, str) else str(value)


def _replace(path: Path, content: bytes, mode: int = 0o644) -> None:
    """Write a file as a whole: readers see the old one or the new one."""
    draft = path.with_name(f".{path.name}.{os.getpid()}")
    descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_NOFOLLOW, mode)
    with os.fdopen(descriptor, "wb") as file:
        file.write(content)
    draft.replace(path)
