"""The pages in a real browser, from a real store, served by the real server."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import Browser, Locator, Page, expect

from collector.model import (
    Assessment,
    Health,
    Lamps,
    LampState,
    Rolled,
    Update,
)
from collector.store.reader import Reader
from dashboard.drawings.ink import sled_link
from tests.dashboard.invented import DRIVE, DRIVE_ORDER, FAN, FAN_ORDER, SEIZED, fleet
from tests.dashboard.kept import Say, collected
from tests.system.browser import Visit, chromium, visiting
from tests.system.pages_server import served

pytestmark = pytest.mark.system

PHONE, DESK = (390, 844), (1440, 900)
ORDER = f"/?{urlencode({'page': 'orders', 'order': FAN_ORDER})}"
ADDRESSES = (
    "/",
    f"/?{urlencode({'sled': SEIZED, 'place': FAN})}",
    "/?sled=r02-s1",
    "/?page=orders",
    ORDER,
    "/?page=lamps",
    f"/?{urlencode({'page': 'lamps', 'at': SEIZED, 'part': f'{SEIZED}:/redfish/v1/Chassis/Sled', 'blue': 'on'})}",
    "/?page=margins",
    "/?page=controllers",
)
PATIENCE = 20_000
"""Milliseconds that a fact may take to show on a busy machine."""


@dataclass
class Site:
    """Pages to look at."""

    origin: str
    state: Path
    say: Say


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as running:
        yield running


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory, browser: Browser) -> Iterator[Site]:
    state, now = tmp_path_factory.mktemp("state"), time.time()
    with collected(state, fleet(now), now) as say, served(state, state / "pages.log") as origin:
        yield Site(origin, state, say)


def come(visit: Visit, origin: str, address: str) -> Page:
    visit.page.goto(origin + address)
    expect(visit.page.locator("footer.foot")).to_be_visible(timeout=PATIENCE)
    return visit.page


def assert_sound(visit: Visit, origin: str) -> None:
    """No exception on screen, no script error, no request to anyone else, nothing wider than the screen."""
    page = visit.page
    assert page.locator('[data-testid="stException"], [data-testid="stErrorElement"]').count() == 0
    assert visit.errors == []
    assert visit.dialogs == []
    assert visit.origins == {origin.removeprefix("http://")}
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_every_page_loads_without_an_error_and_asks_nobody_else(
    site: Site, browser: Browser, size: tuple[int, int], scheme: str
) -> None:
    with visiting(browser, *size, color_scheme=scheme) as visit:
        for address in ADDRESSES:
            page = come(visit, site.origin, address)
            assert_sound(visit, site.origin)
            assert outside_their_boxes(page) == []
            assert page.locator("[data-testid='stToolbar'], [data-testid='stAppDeployButton']").count() == 0 or not (
                page.locator("[data-testid='stToolbar']").first.is_visible()
            )


OUTSIDE = """() => {
  const found = [];
  const roots = [document];
  while (roots.length) {
    const root = roots.pop();
    for (const each of root.querySelectorAll("*")) if (each.shadowRoot) roots.push(each.shadowRoot);
    for (const text of root.querySelectorAll("svg text")) {
      if (text.closest("details:not([open])") !== null) continue;
      const box = text.getBoundingClientRect();
      const svg = text.closest("svg").getBoundingClientRect();
      const face = text.closest("g.blade")?.querySelector("rect")?.getBoundingClientRect() ?? svg;
      for (const outer of [svg, face])
        if (box.left < outer.left - 1.5 || box.right > outer.right + 1.5
            || box.top < outer.top - 2.5 || box.bottom > outer.bottom + 2.5) found.push(text.textContent);
    }
    for (const cell of root.querySelectorAll("td, th, .line > *, .lamp-line > *"))
      if (cell.scrollWidth > cell.clientWidth + 2 && cell.clientWidth > 0 && !cell.closest(".scroll"))
        found.push(`cell: ${cell.textContent}`);
    const said = [...root.querySelectorAll("svg.rack .said, svg.rack .ruler, svg.chart .said")];
    said.forEach((one, place) => said.slice(place + 1).forEach((other) => {
      if (one.closest("svg") !== other.closest("svg")) return;
      const a = one.getBoundingClientRect(), b = other.getBoundingClientRect();
      if (a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 4 && b.top < a.bottom - 4)
        found.push(`${one.textContent} on ${other.textContent}`);
    }));
  }
  return found;
}"""
"""Texts of drawings and tables that leave their drawing, slot or cell, and labels that stand on each other."""


def outside_their_boxes(page: Page) -> list[str]:
    found: list[str] = page.evaluate(OUTSIDE)
    return found


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_the_faulty_sled_is_marked_and_reached_by_its_link(site: Site, browser: Browser, size: tuple[int, int]) -> None:
    with visiting(browser, *size) as visit:
        page = come(visit, site.origin, "/")
        drawn = page.locator(f'a[data-sled="{SEIZED}"]')
        expect(drawn).to_have_attribute("data-part-health", "Critical")
        expect(drawn).to_contain_text("Critical")
        expect(drawn.locator("g.blade[data-at-risk]")).to_have_count(4)
        line = page.locator(f'[data-task="{FAN}"]')
        expect(line).to_contain_text("Quellmark / A / R01 / U5 / E1 / Sled 2")
        for link in (line.locator("a"), drawn):
            come(visit, site.origin, "/")
            page.get_by_text("that the orders above mend").click()  # what an order mends is folded under it
            link.click()
            page.wait_for_url(f"**/?sled={SEIZED}", timeout=PATIENCE)
            expect(page.locator("svg.front")).to_be_visible(timeout=PATIENCE)
            expect(page.locator(f'[data-shared="{FAN}"]')).to_have_attribute("data-health", "Critical")


def test_every_lamp_drawn_is_the_indicator_in_the_store(site: Site, browser: Browser) -> None:
    with Reader(site.state) as reader, visiting(browser, *DESK) as visit:
        for name in (SEIZED, "r02-s1", "r03-s1"):
            page = come(visit, site.origin, f"/?sled={name}")
            told = reader.lamps(name)
            assert told
            for part, lamps in told.items():
                for colour, state in (("blue", lamps.blue), ("amber", lamps.amber)):
                    drawn = page.locator(f'[data-lamp="{colour}"][data-part="{part}"]')
                    expect(drawn.nth(1)).to_be_attached()  # in the front, and beside it in words
                    for place in range(drawn.count()):
                        expect(drawn.nth(place)).to_have_attribute("data-lamp-state", state.value)


def computed(drawn: Locator, name: str) -> str:
    value: str = drawn.first.evaluate(f"each => getComputedStyle(each).{name}")
    return value


def test_a_blinking_lamp_blinks_at_its_own_pace_and_stands_still_on_request(site: Site, browser: Browser) -> None:
    """500 ms on, 500 ms off: OCP Panel Indicator Specification 1.0 (shared/standards/check-values.md, 1)."""
    with visiting(browser, *DESK) as visit:
        lamp = come(visit, site.origin, "/?sled=r02-s1").locator('[data-lamp-state="blink"]').first
        lens = lamp.locator(".blink")
        assert computed(lens, "animationName") == "lamp-blink"
        assert computed(lens, "animationDuration") == "1s"
        assert computed(lens, "animationIterationCount") == "infinite"
        seen = lens.evaluate(
            """async each => {
                const animation = each.getAnimations()[0];
                animation.pause();
                const seen = [];
                const delay = animation.effect.getTiming().delay;
                for (const at of [0, 100, 499, 501, 900, 1001, 1499, 1501]) {
                    animation.currentTime = 2000 + delay + at;
                    seen.push(getComputedStyle(each).opacity);
                }
                animation.play();
                return seen;
            }"""
        )
        assert seen == ["1", "1", "1", "0", "0", "1", "1", "0"]
    with visiting(browser, *DESK, reduced_motion="reduce") as visit:
        page = come(visit, site.origin, "/?sled=r02-s1")
        lamp = page.locator('[data-lamp-state="blink"]').first
        assert computed(lamp.locator(".blink"), "animationName") == "none"
        assert computed(lamp.locator(".half"), "display") == "inline"
        expect(page.locator("[data-lamps-of]").first).to_contain_text("amber blinking")


def test_the_page_refreshes_without_a_jump_and_keeps_what_is_unfolded(site: Site, browser: Browser) -> None:
    with visiting(browser, *PHONE) as visit:
        page = come(visit, site.origin, f"/?sled={SEIZED}")
        evidence = page.locator('[data-block="conditions"] details').first
        evidence.locator("summary").click()
        expect(evidence.locator("li").first).to_be_visible()
        main = page.locator('[data-testid="stMain"]')
        main.evaluate("each => each.scrollTo(0, 500)")
        before = page.locator("footer.foot").inner_text()
        expect(page.locator("footer.foot")).not_to_have_text(before, timeout=PATIENCE)
        assert main.evaluate("each => each.scrollTop") == pytest.approx(500, abs=40)
        expect(evidence.locator("li").first).to_be_visible()
        assert page.url == f"{site.origin}/?sled={SEIZED}"


def test_new_trouble_shows_by_itself(site: Site, browser: Browser) -> None:
    blade, name = "r01-s3:/redfish/v1/Chassis/Blade2", "r01-s3"
    with visiting(browser, *DESK) as visit:
        page = come(visit, site.origin, f"/?sled={name}")
        lamp = page.locator(f'svg.front [data-part="{blade}"] [data-lamp="amber"]')
        expect(lamp).to_have_attribute("data-lamp-state", "off")
        change = Assessment(
            controller=name,
            time=time.time(),
            rolled={blade: Rolled(own=Health.WARNING, worst=Health.WARNING)},
            lamps={blade: Lamps(LampState.ON, LampState.BLINK)},
        )
        site.say(Update(controller=name, assessment=change))
        expect(lamp).to_have_attribute("data-lamp-state", "blink", timeout=PATIENCE)
        expect(page.locator(f'svg.front g.blade[data-part="{blade}"]')).to_have_attribute("data-health", "Warning")
        assert_sound(visit, site.origin)


def test_a_part_is_picked_in_the_drawing_by_finger_and_by_key_and_comes_into_sight(
    site: Site, browser: Browser
) -> None:
    with visiting(browser, *PHONE) as visit:
        page = come(visit, site.origin, "/?sled=r02-s1")
        fan = page.locator('svg.cutaway a[data-kind="fan"]').first
        held = page.locator("[data-part-panel]")
        expect(held).to_have_attribute("data-part-panel", DRIVE)
        fan.click()
        expect(held).to_have_attribute("data-part-panel", fan.get_attribute("data-part") or "", timeout=PATIENCE)
        expect(page.locator("[data-part-head] h2")).to_be_in_viewport(timeout=PATIENCE)
        assert "place=" in page.url
        blade = page.locator("svg.front g.blade a").first
        blade.focus()
        blade.press("Enter")
        expect(held).to_have_attribute("data-part-panel", "r02-s1:/redfish/v1/Chassis/Blade1", timeout=PATIENCE)
        assert_sound(visit, site.origin)


def test_a_sensor_is_picked_by_its_name_and_stays_in_the_address(site: Site, browser: Browser) -> None:
    with visiting(browser, *PHONE) as visit:
        page = come(visit, site.origin, f"/?sled={SEIZED}")
        page.locator('[data-section="r01-s2:/redfish/v1/Chassis/Sled"] > summary').click()
        page.locator('[data-block="readings"] [data-reading="/redfish/v1/Chassis/Sled|inlet air"] button').click()
        row = page.locator('[data-part-panel] [data-reading="/redfish/v1/Chassis/Sled|inlet air"]')
        history = page.locator('[data-history="/redfish/v1/Chassis/Sled|inlet air"]')
        expect(history.locator("svg.chart")).to_be_visible(timeout=PATIENCE)
        page.locator('[data-pick="span=15 min"]').click()
        expect(page.locator('[data-pick="span=15 min"]')).to_have_attribute("aria-pressed", "true", timeout=PATIENCE)
        assert "sensor=" in page.url
        assert "span=15" in page.url
        page.reload()
        expect(history.locator("svg.chart")).to_be_visible(timeout=PATIENCE)
        row.locator("button").click()
        expect(page.locator("[data-history]")).to_have_count(0, timeout=PATIENCE)
        assert_sound(visit, site.origin)


def test_a_page_that_waited_for_a_collector_fills_by_itself(tmp_path: Path, browser: Browser) -> None:
    state, now = tmp_path / "state", time.time()
    with served(state, tmp_path / "pages.log") as origin, visiting(browser, *PHONE) as visit:
        page = come(visit, origin, "/")
        expect(page.locator('[data-notice="nothing-yet"]')).to_be_visible()
        with collected(state, fleet(now)[:2], now):
            expect(page.locator("a[data-sled]")).to_have_count(2, timeout=PATIENCE)
            expect(page.locator("[data-notice]")).to_have_count(0)
        expect(page.locator('[data-notice="collector-stopped"]')).to_be_visible(timeout=PATIENCE)
        assert_sound(visit, origin)


def test_a_server_that_went_away_is_said(tmp_path: Path, browser: Browser) -> None:
    with visiting(browser, *PHONE) as visit:
        with served(tmp_path, tmp_path / "pages.log") as origin:
            page = come(visit, origin, "/")
            expect(page.locator(".lost:not([hidden])")).to_have_count(0)
        expect(page.locator(".lost:not([hidden])")).to_be_visible(timeout=40_000)


def test_the_warned_drive_is_drawn_on_its_blade(site: Site, browser: Browser) -> None:
    with visiting(browser, *DESK) as visit:
        page = come(visit, site.origin, "/?sled=r02-s1")
        expect(page.locator(f'svg.front [data-part="{DRIVE}"]')).to_have_attribute("data-health", "Warning")


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_an_order_prints_on_one_page_and_a_walk_on_one_each(site: Site, browser: Browser, paper: str) -> None:
    """One tap from the opening page to the sheet; pages are counted in the PDF that the browser prints."""
    with visiting(browser, *DESK) as visit:
        page = come(visit, site.origin, "/")
        page.locator(f'[data-order="{FAN_ORDER}"] a').click()
        sheet = page.locator(f'[data-sheet="{FAN_ORDER}"]')
        expect(sheet).to_be_visible(timeout=PATIENCE)
        assert_sound(visit, site.origin)
        assert pages_of(page.pdf(format=paper)) == 1
        page.emulate_media(media="print")
        expect(page.locator("nav.ways")).to_be_hidden()
        expect(page.locator("footer.foot")).to_be_hidden()
        expect(sheet).to_be_visible()
        page.emulate_media(media="screen")
        come(visit, site.origin, "/?page=orders&sheets=all")
        expect(page.locator(f'[data-sheet="{DRIVE_ORDER}"]')).to_be_visible(timeout=PATIENCE)
        page.emulate_media(media="print")
        assert pages_of(page.pdf(format=paper)) == 2


def pages_of(pdf: bytes) -> int:
    """Page objects in a PDF as Chromium writes it (ISO 32000-1, 7.7.3.3: /Type /Page)."""
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


def test_three_taps_lead_from_the_opening_page_to_the_printed_order_and_its_code_leads_back(
    site: Site, browser: Browser, tmp_path: Path
) -> None:
    with visiting(browser, *PHONE) as visit:
        visit.page.add_init_script("window.printed = 0; window.print = () => { window.printed += 1; };")
        page = come(visit, site.origin, "/")
        page.locator(f'[data-order="{FAN_ORDER}"] a').click()
        sheet = page.locator(f'[data-sheet="{FAN_ORDER}"]')
        expect(sheet).to_be_visible(timeout=PATIENCE)
        page.locator("[data-print]").click()
        assert page.evaluate("window.printed") == 1
        picture = tmp_path / "code.png"
        page.set_viewport_size({"width": 1000, "height": 1400})
        page.locator("svg.qr").screenshot(path=picture)
        (found,) = zxingcpp.read_barcodes(Image.open(picture))
        assert found.text == site.origin + sled_link(SEIZED, place=FAN).removeprefix(".")
        page.goto(found.text)
        expect(page.locator("[data-part-panel]")).to_have_attribute("data-part-panel", FAN, timeout=PATIENCE)
        assert_sound(visit, site.origin)


def test_the_lamp_reader_is_worked_with_a_thumb(site: Site, browser: Browser) -> None:
    with visiting(browser, *PHONE) as visit:
        page = come(visit, site.origin, "/?page=lamps")
        page.locator('[data-block="choose-rack"] button', has_text="R03").click()
        page.locator('[data-pick="at=r03-s1"]').click()
        page.locator('[data-block="choose-front"] button', has_text="Blade 2").click()
        page.locator('[data-pick="blue=on"]').click()
        expect(page.locator('[data-pick="blue=on"]')).to_have_attribute("aria-pressed", "true", timeout=PATIENCE)
        page.locator('[data-pick="amber=off"]').click()
        answer = page.locator("[data-means]")
        expect(answer).to_have_text("On, and all is well.", timeout=PATIENCE)
        expect(answer).to_be_in_viewport(timeout=PATIENCE)
        expect(page.locator("[data-against]")).to_have_attribute("data-against", "differs")
        for size in page.locator("button.thumb").evaluate_all(
            "all => all.map(each => each.getBoundingClientRect()).map(box => [box.width, box.height])"
        ):
            assert min(size) >= 44
        assert "amber=off" in page.url
        assert_sound(visit, site.origin)


def test_a_filter_of_the_work_orders_stays_in_the_address(site: Site, browser: Browser) -> None:
    with visiting(browser, *PHONE) as visit:
        page = come(visit, site.origin, "/?page=orders")
        expect(page.locator("[data-order]")).to_have_count(2)
        page.get_by_role("link", name="next visit (1)").click()
        expect(page.locator("[data-order]")).to_have_count(1, timeout=PATIENCE)
        assert "urgency=next+visit" in page.url
        page.reload()
        expect(page.locator("[data-order]")).to_have_count(1, timeout=PATIENCE)
        assert_sound(visit, site.origin)
