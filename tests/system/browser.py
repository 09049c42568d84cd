"""A real browser, Debian's Chromium, driven by Playwright; and what a page did while it was looked at."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Dialog, Page, sync_playwright

CHROMIUM = Path("/usr/bin/chromium")
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@contextmanager
def chromium() -> Iterator[Browser]:
    """A running browser; skips the test, naming the package, where there is none."""
    if not CHROMIUM.exists():
        pytest.skip(f"the Debian package chromium is missing: there is no {CHROMIUM}")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        try:
            yield browser
        finally:
            browser.close()


@dataclass
class Visit:
    """A page and all that it asked for and complained of."""

    page: Page
    requests: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    dialogs: list[str] = field(default_factory=list)

    @property
    def origins(self) -> set[str]:
        """Hosts with ports that were asked for anything, WebSockets included; data and blob URLs are nobody's."""
        return {split.netloc for url in self.requests if (split := urlsplit(url)).scheme not in ("data", "blob")}


@contextmanager
def visiting(browser: Browser, width: int, height: int, **context: Any) -> Iterator[Visit]:
    """A page of its own, with a profile of its own, watched from its first request on."""
    opened = browser.new_context(viewport={"width": width, "height": height}, **context)
    try:
        visit = Visit(opened.new_page())
        visit.page.on("request", lambda request: visit.requests.append(request.url))
        visit.page.on("websocket", lambda socket: visit.requests.append(socket.url))
        visit.page.on("pageerror", lambda error: visit.errors.append(str(error)))
        visit.page.on("console", lambda message: _complaint(visit, message))
        visit.page.on("dialog", lambda dialog: _dialog(visit, dialog))
        yield visit
    finally:
        opened.close()


def _complaint(visit: Visit, message: ConsoleMessage) -> None:
    if message.type == "error":
        visit.errors.append(message.text)


def _dialog(visit: Visit, dialog: Dialog) -> None:
    visit.dialogs.append(dialog.message)
    dialog.dismiss()
