"""What every section of the fleet file is made of: strict sections, addresses, secrets, problems told at once."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from pydantic import BaseModel, ConfigDict, SecretStr


class SettingsError(Exception):
    """The fleet file, or a file that it names, is wrong. ``problems`` holds one line an error, each with its key."""

    def __init__(self, path: Path, problems: list[str]) -> None:
        self.path = path
        self.problems = problems
        super().__init__(f"{path}: " + "; ".join(problems))


class Section(BaseModel):
    """A table of the fleet file: unknown keys are errors, values never change."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def checked_address(value: str) -> str:
    """``host:port``, or ValueError."""
    host, colon, port = value.rpartition(":")
    if not colon or not host or not port.isdigit() or int(port) > 65535:
        raise ValueError("must be host:port, for example 127.0.0.1:9460")
    return value


def address(value: str) -> tuple[str, int]:
    """Host and port of a checked address; an IPv6 host without its brackets."""
    host, _, port = value.rpartition(":")
    return host.strip("[]"), int(port)


def under(home: Path, path: Path | None) -> Path | None:
    """A path as the fleet file's folder gives it."""
    return None if path is None else home / path


def reason(error: Exception) -> str:
    """An error in few words."""
    return error.strerror or str(error) if isinstance(error, OSError) else str(error)


def secret_of(
    home: Path, key: str, file: Path | None, env: str | None, environ: Mapping[str, str], problems: list[str]
) -> SecretStr | None:
    """The secret that a file or a variable holds, without its trailing newline; a lack of it is a problem."""
    if file is not None:
        try:
            text = (home / file).read_text(encoding="utf-8").rstrip("\r\n")
        except (OSError, UnicodeDecodeError) as error:
            problems.append(f"{key}.password_file: {file} can't be read: {reason(error)}")
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
