"""Finishes, on opening, what a kill interrupted."""

from __future__ import annotations

from pathlib import Path

from collector.model import Seconds
from collector.store import files
from collector.store.archive import Archive
from collector.store.book import Book
from collector.store.errors import StoreDamaged
from collector.store.files import HOUR


def recover(state_dir: Path, book: Book, archive: Archive, limit: Seconds) -> list[str]:
    """Make files and records agree; a line for everything that a person should know.

    Half-written files go. A whole file that is not on record is recorded, or deleted where retention (all that ended
    before ``limit``) has forgotten it. A file on record that is not there any more is taken off.
    Raises what SQLite and the system raise.
    """
    for path in files.temporary_on_disk(state_dir):
        path.unlink()
    recorded = archive.names()
    present = {files.recorded_name(state_dir, path): path for path in files.sealed_on_disk(state_dir)}
    notes = []
    for name in sorted(present.keys() - recorded):
        note = _adopt(state_dir, book, archive, name, limit)
        if note is not None:
            notes.append(note)
    missing = sorted(recorded - present.keys())
    if missing:
        with book.transaction():
            archive.forget_names(missing)
        notes.append(f"{len(missing)} sealed files are gone, the first is {missing[0]}: their samples are lost")
    return notes


def _adopt(state_dir: Path, book: Book, archive: Archive, name: str, limit: Seconds) -> str | None:
    """Record a whole file that was renamed but not recorded; a line where it stays a stranger."""
    from collector.store.parquet import sealed_of  # heavy, and seldom needed

    path = state_dir / name
    try:
        sealed = sealed_of(state_dir, path)
    except StoreDamaged as error:
        return f"{name} is left alone: {error.problem}"
    if sealed.store != archive.store_id():
        return f"{name} is left alone: another store sealed it"
    if sealed.hour + HOUR <= limit:
        files.remove(state_dir, name)
        return None
    with book.transaction():
        archive.record(name, path.stat().st_size, sealed)
    return None
