"""Where sealed files lie, and how they are made to last.

``history/2031-05-04/2031-05-04T13Z-001.parquet``: the hour that begins at 13:00 UTC, first file. While it is written it
ends in ``.part``.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

HISTORY = "history"
HOUR = 3600
_SUFFIX = ".parquet"
_TEMPORARY = ".part"


def new_path(state_dir: Path, hour: int) -> Path:
    """A free name for a file of the hour that begins at ``hour`` (epoch seconds), its folder made; ``OSError``."""
    begin = datetime.fromtimestamp(hour, UTC)
    folder = state_dir / HISTORY / f"{begin:%Y-%m-%d}"
    if not folder.is_dir():
        folder.mkdir(parents=True)
        sync(folder.parent)
        sync(state_dir)
    number = 1
    while (path := folder / f"{begin:%Y-%m-%dT%HZ}-{number:03d}{_SUFFIX}").exists():
        number += 1
    return path


def temporary(path: Path) -> Path:
    """The name of a file while it is written."""
    return path.with_name(path.name + _TEMPORARY)


def settle(path: Path, hook: Callable[[str], None]) -> None:
    """Give a finished temporary file its name, so that neither a kill nor a power cut can take it back; ``OSError``."""
    sync(temporary(path))
    hook("seal: file synced")
    temporary(path).rename(path)
    hook("seal: renamed")
    sync(path.parent)
    hook("seal: folder synced")


def remove(state_dir: Path, name: str) -> None:
    """Delete a sealed file by its recorded name, and its folder with the last one in it; ``OSError``."""
    path = state_dir / name
    path.unlink(missing_ok=True)
    if path.parent.is_dir() and not any(path.parent.iterdir()):
        path.parent.rmdir()


def recorded_name(state_dir: Path, path: Path) -> str:
    """The name under which the database knows a file."""
    return path.relative_to(state_dir).as_posix()


def sealed_on_disk(state_dir: Path) -> Iterator[Path]:
    """All files with a sealed file's name; ``OSError``."""
    yield from sorted((state_dir / HISTORY).glob(f"*/*{_SUFFIX}"))


def temporary_on_disk(state_dir: Path) -> Iterator[Path]:
    """All files that were being written; ``OSError``."""
    yield from sorted((state_dir / HISTORY).glob(f"*/*{_SUFFIX}{_TEMPORARY}"))


def sync(path: Path) -> None:
    """Have the disk hold a file or folder, not only the page cache; ``OSError``."""
    descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
