"""Certificates, made once for all tests here; and both event loops for the tests that go down to the sockets."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping

import pytest
import uvloop

from tests.redfish.servers import Identity, make_identity

_ON_BOTH_LOOPS = {"test_transport.py", "test_tls.py"}
"""The collector runs on uvloop; where that is missing, or a debugger wants it, on asyncio's own."""


@pytest.hookimpl(optionalhook=True)
def pytest_asyncio_loop_factories(
    config: pytest.Config, item: pytest.Item
) -> Mapping[str, Callable[[], asyncio.AbstractEventLoop]]:
    loops: dict[str, Callable[[], asyncio.AbstractEventLoop]] = {"asyncio": asyncio.new_event_loop}
    if item.path.name in _ON_BOTH_LOOPS:
        loops["uvloop"] = uvloop.new_event_loop
    return loops


@pytest.fixture(scope="session")
def identity(tmp_path_factory: pytest.TempPathFactory) -> Identity:
    return make_identity(tmp_path_factory.mktemp("identity"))


@pytest.fixture(scope="session")
def other_identity(tmp_path_factory: pytest.TempPathFactory) -> Identity:
    return make_identity(tmp_path_factory.mktemp("other"))
