"""Signing in to the pages in a real browser, with a small OpenID provider of the tests' own."""

from __future__ import annotations

import asyncio
import secrets
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from tests.dashboard.invented import fleet
from tests.dashboard.kept import fill
from tests.system.browser import chromium, visiting
from tests.system.pages_server import free_port, served
from tests.system.provider import CLIENT_ID, Provider, provider

pytestmark = pytest.mark.system
PATIENCE = 60_000
"""ms; far beyond what anything takes here."""
IDA = {"sub": "1", "name": "Ida Brandt", "email": "ida@site.example", "email_verified": True, "groups": ["rack hands"]}
ROLES = """
[people.roles]
viewer = ["*"]
technician = ["rack hands"]
operator = ["ivo@site.example"]
"""


def people_file(folder: Path, told: Provider, port: int, roles: str = ROLES) -> Path:
    """A people file with its secrets beside it."""
    (folder / "client").write_text(told.secret + "\n")
    (folder / "cookie").write_text(secrets.token_urlsafe(40) + "\n")
    path = folder / "people.toml"
    path.write_text(
        f"""
[people]
metadata_url = "{told.origin}/.well-known/openid-configuration"
client_id = "{CLIENT_ID}"
client_secret_file = "client"
cookie_secret_file = "cookie"
redirect_uri = "http://127.0.0.1:{port}/oauth2callback"
{roles}
"""
    )
    return path


@pytest.fixture(scope="module")
def state(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder, now = tmp_path_factory.mktemp("state"), time.time()
    asyncio.run(fill(folder, fleet(now), now))
    return folder


@pytest.fixture(scope="module")
def browser(state: Path) -> Iterator[Browser]:
    with chromium() as found:  # after the store is filled: it leaves an event loop running
        yield found


@pytest.mark.parametrize(
    ("claims", "role"),
    [
        (IDA, "technician"),
        ({**IDA, "groups": []}, "viewer"),
        ({**IDA, "name": "Ivo Maan", "email": "Ivo@site.example"}, "operator"),
        ({**IDA, "email": "ivo@site.example", "email_verified": False, "groups": []}, "viewer"),
    ],
    ids=["technician", "viewer", "operator", "unverified"],
)
def test_nobody_sees_anything_before_signing_in_and_then_what_the_role_shows(
    browser: Browser, state: Path, tmp_path: Path, claims: dict[str, Any], role: str
) -> None:
    with provider() as told:
        told.claims = claims
        port = free_port()
        file = people_file(tmp_path, told, port)
        log = tmp_path / "pages.log"
        with served(state, log, file, port) as origin, visiting(browser, 1440, 900) as visit:
            page = visit.page
            page.goto(origin + "/")
            page.get_by_role("button", name="Sign in").wait_for(timeout=PATIENCE)
            expect(page.get_by_role("heading", name="Rounds")).to_have_count(0)
            expect(page.get_by_text("Sign in first.")).to_be_visible()
            page.get_by_role("button", name="Sign in").click()
            mark = page.locator("[data-role]")
            expect(mark).to_have_text(f"Signed in as {claims['name']}, {role}.", timeout=PATIENCE)
            expect(page.get_by_role("heading", name="Rounds").first).to_be_visible(timeout=PATIENCE)
            page.get_by_role("button", name="Sign out").click()
            page.get_by_role("button", name="Sign in").wait_for(timeout=PATIENCE)
        assert told.problems == []
        cookie = (tmp_path / "cookie").read_text().strip()
        for secret in (told.secret, cookie):
            assert secret not in log.read_text()
            for kept in state.rglob("*"):
                assert not kept.is_file() or secret.encode() not in kept.read_bytes(), kept


def test_who_has_no_role_is_told_so(browser: Browser, state: Path, tmp_path: Path) -> None:
    with provider() as told:
        told.claims = {**IDA, "groups": ["gardeners"]}
        port = free_port()
        file = people_file(tmp_path, told, port, '[people.roles]\noperator = ["rack hands"]')
        with served(state, tmp_path / "pages.log", file, port) as origin, visiting(browser, 390, 844) as visit:
            visit.page.goto(origin + "/?page=orders")
            visit.page.get_by_role("button", name="Sign in").click(timeout=PATIENCE)
            visit.page.get_by_text("Ida Brandt has no role here").wait_for(timeout=PATIENCE)
            expect(visit.page.get_by_role("heading", name="Work orders")).to_have_count(0)
