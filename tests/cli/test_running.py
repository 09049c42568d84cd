"""What the event loop has to say is logged, but for handshakes that were given up."""

from __future__ import annotations

import asyncio
import logging

import pytest

from collector.cli.running import quietly


@pytest.mark.parametrize(
    ("message", "error", "told"),
    [
        ("Fatal error on SSL protocol", RuntimeError("the handler is closed"), False),
        ("Fatal error on SSL protocol", OSError("broken"), True),
        ("Task exception was never retrieved", RuntimeError("a bug"), True),
    ],
)
async def test_only_handshakes_that_were_given_up_are_no_news(
    message: str, error: Exception, told: bool, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    quietly(asyncio.get_running_loop(), {"message": message, "exception": error})
    assert bool(caplog.records) is told
