"""Certificates, made once for all tests here."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.redfish.servers import Identity, make_identity


@pytest.fixture(scope="session")
def identity(tmp_path_factory: pytest.TempPathFactory) -> Identity:
    return make_identity(tmp_path_factory.mktemp("identity"))


@pytest.fixture(scope="session")
def other_identity(tmp_path_factory: pytest.TempPathFactory) -> Identity:
    return make_identity(tmp_path_factory.mktemp("other"))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path
