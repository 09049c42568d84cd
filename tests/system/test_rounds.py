"""Rounds in a real browser: a floor that folds, the filter in the address, the browser's own memory, the choices."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from tests.dashboard.crowd import A_RACK, RACKS, WRONG, crowd
from tests.dashboard.invented import SEIZED, fleet
from tests.dashboard.kept import collected
from tests.system.browser import chromium, visiting
from tests.system.pages_server import served
from tests.system.test_pages import DESK, OUTSIDE, PATIENCE, PHONE, assert_sound, come

pytestmark = pytest.mark.system
WIDE = (2560, 1440)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as running:
        yield running


@dataclass
class Sites:
    """Two fleets, served."""

    small: str
    large: str


@pytest.fixture(scope="module")
def sites(tmp_path_factory: pytest.TempPathFactory, browser: Browser) -> Iterator[Sites]:
    few, many, now = tmp_path_factory.mktemp("few"), tmp_path_factory.mktemp("many"), time.time()
    with (
        collected(few, fleet(now), now),
        collected(many, crowd(now), now),
        served(few, few / "pages.log") as small,
        served(many, many / "pages.log") as large,
    ):
        yield Sites(small, large)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESK, WIDE], ids=["phone", "desk", "wide"])
def test_a_large_floor_is_whole_and_sound_on_every_screen(
    sites: Sites, browser: Browser, size: tuple[int, int], scheme: str
) -> None:
    with visiting(browser, *size, color_scheme=scheme) as visit:
        page = come(visit, sites.large, "/")
        expect(page.locator("[data-cell]")).to_have_count(RACKS)
        expect(page.locator("a[data-sled]")).to_have_count(3 * A_RACK)
        assert_sound(visit, sites.large)
        assert page.evaluate(OUTSIDE) == []


def test_the_first_screen_shows_trouble_and_racks_side_by_side(sites: Sites, browser: Browser) -> None:
    with visiting(browser, *DESK) as visit:
        page = come(visit, sites.small, "/")
        for place in ('[data-block="hands-first"]', '[data-block="racks"]', f'a[data-sled="{SEIZED}"]'):
            box = page.locator(place).first.bounding_box()
            assert box is not None
            assert box["y"] + min(box["height"], 100) < DESK[1], place


def test_a_cell_opens_its_rack_and_the_way_back_shows_all(sites: Sites, browser: Browser) -> None:
    with visiting(browser, *DESK) as visit:
        page = come(visit, sites.large, "/")
        page.locator(".lane", has_text="row 1").first.locator("summary, .cells").first.click()
        page.locator('a[data-cell][aria-label^="Rack R02"]').click()
        page.wait_for_url("**/?site=Quellmark&row=1&rack=R02", timeout=PATIENCE)
        expect(page.locator("svg.rack")).to_have_count(1, timeout=PATIENCE)
        page.get_by_text("Show all").click()
        expect(page.locator("[data-cell]")).to_have_count(RACKS, timeout=PATIENCE)


def test_words_to_find_narrow_the_page_and_stand_in_the_address(sites: Sites, browser: Browser) -> None:
    with visiting(browser, *DESK) as visit:
        page = come(visit, sites.large, "/")
        field = page.get_by_label("Find")
        field.fill(WRONG[0])
        field.press("Enter")
        expect(page.locator("a[data-sled]")).to_have_count(1, timeout=PATIENCE)
        assert page.url.endswith(f"?text={WRONG[0]}")
        with visiting(browser, *DESK) as other:
            again = come(other, sites.large, f"/?text={WRONG[0]}")
            expect(again.locator(f'a[data-sled="{WRONG[0]}"]')).to_be_visible()
        page.locator('[data-taken="text"]').click()
        expect(page.locator("[data-cell]")).to_have_count(RACKS, timeout=PATIENCE)


def test_the_browser_remembers_when_it_looked(sites: Sites, browser: Browser) -> None:
    with visiting(browser, *DESK) as visit:
        page = come(visit, sites.small, "/")
        changed = page.locator('[data-block="changed"]')
        expect(changed).to_contain_text("Lately")
        expect(changed).to_contain_text("opened")
        changed.get_by_text("All seen").click()
        expect(changed).to_contain_text("Nothing opened or closed", timeout=PATIENCE)
        come(visit, sites.small, "/")
        expect(page.locator('[data-block="changed"]')).to_contain_text("Since you last looked", timeout=PATIENCE)
        expect(page.locator('[data-block="changed"]')).to_contain_text("Nothing opened or closed")


def test_what_a_viewer_chooses_holds_on_every_page_and_in_a_shared_address(sites: Sites, browser: Browser) -> None:
    with visiting(browser, *DESK, timezone_id="Asia/Tokyo") as visit:
        page = come(visit, sites.small, "/")
        expect(page.locator("footer.foot")).to_contain_text("UTC)")
        page.get_by_text("Times, units and motion").click()
        page.get_by_role("button", name="UTC", exact=True).click()
        expect(page.locator("footer.foot")).to_contain_text("Times are UTC", timeout=PATIENCE)
        page.get_by_role("button", name="stand still").click()
        expect(page.get_by_role("button", name="stand still")).to_have_attribute(
            "aria-pressed", "true", timeout=PATIENCE
        )
        come(visit, sites.small, "/?sled=r02-s1")
        expect(page.locator("footer.foot")).to_contain_text("Times are UTC")
        expect(page.locator(".lamp .blink").first).to_have_css("animation-name", "none")
    with visiting(browser, *DESK, timezone_id="Asia/Tokyo") as visit:
        page = come(visit, sites.small, "/?view=utc.F")
        expect(page.locator("footer.foot")).to_contain_text("Times are UTC")
        come(visit, sites.small, "/")
        expect(page.locator("footer.foot")).not_to_contain_text("Times are UTC")


def test_every_cell_and_sled_is_reached_by_the_keyboard(sites: Sites, browser: Browser) -> None:
    with visiting(browser, *DESK) as visit:
        page = come(visit, sites.large, "/")
        reached = set()
        for _ in range(60):
            page.keyboard.press("Tab")
            reached.add(
                page.evaluate(
                    """() => { let at = document.activeElement;
                    while (at && at.shadowRoot && at.shadowRoot.activeElement) at = at.shadowRoot.activeElement;
                    return at ? (at.dataset.cell ? "cell" : at.dataset.sled ? "sled" : at.localName) : ""; }"""
                )
            )
        assert {"cell", "sled", "input", "a"} <= reached


def test_nothing_to_read_yet_is_said_with_what_to_do(tmp_path: Path, browser: Browser) -> None:
    with served(tmp_path, tmp_path / "pages.log") as origin, visiting(browser, *PHONE) as visit:
        page = come(visit, origin, "/")
        expect(page.locator('[data-notice="nothing-yet"]')).to_contain_text("sledkeeper demo")
