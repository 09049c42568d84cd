"""A store filled with the invented fleet, stopped cleanly, read by many tests and changed by none."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from dashboard.queries import Source
from tests.dashboard.invented import fleet
from tests.dashboard.kept import fill


@pytest.fixture(scope="package")
def filled(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, float]:
    """The state directory and the moment at which it was filled."""
    state, now = tmp_path_factory.mktemp("state"), time.time()
    asyncio.run(fill(state, fleet(now), now))
    return state, now


@pytest.fixture
def source(filled: tuple[Path, float]) -> Iterator[Source]:
    """A source of its own on the filled store."""
    made = Source(filled[0])
    yield made
    made.close()
