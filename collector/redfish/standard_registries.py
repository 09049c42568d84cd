"""The standard message registries that the user has at hand: a folder of JSON files, or the archive they come in.

The standard body publishes its registries (DSP8011) one by one as JSON files and all together in a zip archive, where
they stand in folders beside their documents. What else is in a folder or an archive is passed over. All of it is
bounded: a file is no bigger unpacked than :data:`MAX_BYTES`, whatever the archive says of it.
"""

from __future__ import annotations

import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path

from collector.model import Defect
from collector.redfish.flow import Place
from collector.redfish.registries import Shelf
from collector.redfish.registry_files import from_files

MAX_BYTES = 4 * 1024 * 1024
"""Of one file; the largest published one has 0.15 MB."""
MAX_FILES = 2_000
"""Of a folder and its archives: the published one has every version of every registry."""


class RegistriesUnusable(Exception):
    """The folder or archive can't be read; the text says why."""


def standard_registries(path: Path) -> tuple[Shelf, tuple[Defect, ...]]:
    """The registries in a folder, with the archives in it, or in one archive; and what can't be read in them.

    Raises :class:`RegistriesUnusable` where there is none at all.
    """
    place = Place("", "https://localhost")
    try:
        found = from_files(_files(path), place, most=MAX_FILES)
    except (OSError, zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError) as error:
        raise RegistriesUnusable(f"{path}: {getattr(error, 'strerror', None) or error}") from error
    if not found.registries:
        raise RegistriesUnusable(f"{path}: no message registry there; it takes JSON files, or the zip of DSP8011")
    return Shelf(found.registries), found.defects


def _files(path: Path) -> Iterator[tuple[str, bytes]]:
    if not path.is_dir():
        yield from _packed(path)
        return
    for file in sorted(path.rglob("*")):
        if file.suffix.lower() == ".zip" and file.is_file():
            yield from _packed(file)
        elif file.suffix.lower() == ".json" and file.is_file():
            with file.open("rb") as opened:
                yield str(file), opened.read(MAX_BYTES + 1)[:MAX_BYTES]


def _packed(path: Path) -> Iterator[tuple[str, bytes]]:
    with zipfile.ZipFile(path) as archive:
        names = sorted(one.filename for one in archive.infolist() if one.filename.lower().endswith(".json"))
        for name in names[: MAX_FILES + 1]:
            with archive.open(name) as opened:
                yield f"{path}: {name}", opened.read(MAX_BYTES + 1)[:MAX_BYTES]
