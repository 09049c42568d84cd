"""Standard message registries from a folder and from an archive, as the standard body publishes them (DSP8011)."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path
from typing import Any

import pytest

from collector.model import DefectKind
from collector.poll.fleet import Fleet
from collector.poll.keeper import Keeper
from collector.poll.listening import Listening
from collector.redfish.registries import message_id
from collector.redfish.standard_registries import MAX_BYTES, RegistriesUnusable, standard_registries
from collector.settings import SettingsError, load
from tests.conftest import standard


@pytest.fixture
def published() -> Path:
    return standard("redfish", "registries")


def packed(folder: Path, into: Path) -> Path:
    """An archive like the published one: files in a folder, documents beside them."""
    with zipfile.ZipFile(into, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("DSP8011/README.txt", "documents and such")
        for path in folder.glob("*.json"):
            archive.write(path, f"DSP8011/registries/{path.name}")
    return into


def test_a_folder_an_archive_and_an_archive_in_a_folder_bring_the_same(published: Path, tmp_path: Path) -> None:
    folder, defects = standard_registries(published)
    assert not defects
    assert {"Base", "Environmental", "ResourceEvent"} <= folder.prefixes
    archive, _ = standard_registries(packed(published, tmp_path / "registries.zip"))
    both, _ = standard_registries(tmp_path)
    assert folder.prefixes == archive.prefixes == both.prefixes
    for shelf in (folder, archive, both):
        found = shelf.find(message_id("Base.1.0.Success"))
        assert found is not None
        published_text = json.loads((published / f"{found[0].name}.json").read_text())["Messages"]["Success"]["Message"]
        assert found[1].text == published_text


def test_what_is_wrong_in_it_is_told_and_the_rest_taken(published: Path, tmp_path: Path) -> None:
    base = next(published.glob("Base.*.json")).read_bytes()
    (tmp_path / "base.json").write_bytes(base)
    (tmp_path / "half.json").write_bytes(base[: len(base) // 2])
    (tmp_path / "notes.txt").write_text("none")
    shelf, defects = standard_registries(tmp_path)
    assert shelf.prefixes == {"Base"}
    assert [(Path(one.resource).name, one.kind) for one in defects] == [("half.json", DefectKind.NOT_JSON)]


def test_a_bomb_is_not_unpacked(published: Path, tmp_path: Path) -> None:
    path = packed(published, tmp_path / "r.zip")
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("bomb.json", b" " * (50 * MAX_BYTES))
    shelf, defects = standard_registries(path)
    assert "Base" in shelf.prefixes
    assert [one.kind for one in defects] == [DefectKind.NOT_JSON]


@pytest.mark.parametrize("what", ["nothing", "no archive", "cut off", "empty archive"])
def test_where_there_is_none_it_says_so(what: str, tmp_path: Path, published: Path) -> None:
    path = tmp_path / "r.zip"
    if what == "nothing":
        path = tmp_path
    elif what == "no archive":
        path.write_bytes(b"none")
    elif what == "cut off":
        path.write_bytes(packed(published, path).read_bytes()[:3000])
    else:
        made = io.BytesIO()
        zipfile.ZipFile(made, "w").close()
        path.write_bytes(made.getvalue())
    with pytest.raises(RegistriesUnusable):
        standard_registries(path)


CONTROLLER = '[[controllers]]\nname = "a"\nurl = "https://192.0.2.17"\n'


async def test_the_fleet_file_names_them_and_every_controller_gets_them(
    published: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    packed(published, tmp_path / "standard.zip")
    config = tmp_path / "fleet.toml"
    config.write_text(f'[collector]\nregistries = "standard.zip"\n{CONTROLLER}')
    shelves = []

    class Listens(Keeper):
        """A keeper whose shelf of registries is seen."""

        def __init__(self, *args: Any, listening: Listening, **more: Any) -> None:
            shelves.append(listening.standard)
            super().__init__(*args, listening=listening, **more)

    monkeypatch.setattr("collector.poll.fleet.Keeper", Listens)

    async def tell(update: object) -> None:
        raise AssertionError

    Fleet(load(config), tell)
    assert shelves[0].find(message_id("Base.1.0.Success")) is not None


def test_a_folder_that_is_not_there_is_an_error_of_the_fleet_file(tmp_path: Path) -> None:
    config = tmp_path / "fleet.toml"
    config.write_text(f'[collector]\nregistries = "nowhere"\n{CONTROLLER}')
    with pytest.raises(SettingsError, match=r"collector.registries: no such folder or file: nowhere"):
        load(config)
