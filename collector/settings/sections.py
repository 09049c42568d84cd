"""The sections of the fleet file that are not about one controller."""

from __future__ import annotations

import ssl
from pathlib import Path
from typing import Annotated
from urllib.parse import urlsplit

from pydantic import Field, field_validator, model_validator

from collector.settings.base import Section, address, checked_address, reason


class CollectorSettings(Section):
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
    registries: Path | None = None
    """Folder or zip archive of standard message registries, for services that bring none of their own."""

    @field_validator("listen")
    @classmethod
    def _host_and_port(cls, value: str) -> str:
        return checked_address(value)

    @property
    def listen_address(self) -> tuple[str, int]:
        """Host and port to listen on."""
        return address(self.listen)

    @property
    def round_deadline(self) -> float:
        """Seconds that one round may take."""
        return self.deadline if self.deadline is not None else min(60.0, 0.8 * self.poll_interval)


class StoreSettings(Section):
    """[store]: what is kept for how long."""

    hot_hours: Annotated[int, Field(ge=1, le=168)] = 2
    """Full hours of samples kept in the database besides the current one before they are sealed."""
    retention_days: Annotated[float, Field(gt=0)] = 30.0
    """Days that sealed hours and closed conditions are kept."""


class EventSettings(Section):
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
        return checked_address(value)

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
        return address(self.listen)


class MqttSettings(Section):
    """[mqtt]: publish to a broker; without this section nothing is published."""

    host: str
    port: Annotated[int, Field(ge=1, le=65535)] = 1883
    username: str | None = None
    password_file: Path | None = None
    password_env: str | None = None
    ca_file: Path | None = None
    tls: bool = False
    client_id: str | None = None


def checked_events(home: Path, told: EventSettings | None, problems: list[str]) -> EventSettings | None:
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
            why = getattr(error, "reason", None) or reason(error)
            problems.append(f"events.cert_file: {told.cert_file} and {told.key_file} can't be used: {why}")
    return told.model_copy(update={key: home / file for key, file in files.items()})
