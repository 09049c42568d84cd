"""Every page of the live demo with five faults, in a real browser: sound at three sizes, light and dark, and in print.

One demo and one browser for all of it. With SLEDKEEPER_PICTURES=1 the pictures that the README shows are taken anew.
"""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from collector.model import WorkOrder
from collector.store.reader import Reader
from dashboard.panels.frame import PAGES
from tests.cli.processes import running, until
from tests.system.browser import Visit, chromium, visiting
from tests.system.soundness import complaints, violations
from tests.system.test_pages import pages_of

pytestmark = pytest.mark.system

SEIZED = "r01-e1-s2"
FAULTS = (
    f"fan-seized@{SEIZED}/fan1+1",
    "drive-failure-predicted@r02-e1-s1/blade1/drive2+1",
    "blade-power-lost@r03-e1-s1/blade2+1",
    "clock-off@r01-e1-s3/controller+1",
    "wire-expired-certificate@r02-e2-s1+1",
)
NAMED = ("r01-e1-s2", "r02-e1-s1", "r03-e1-s1", "r02-e2-s1")
"""Sleds in trouble that a work order or a condition must have named before anything is looked at."""
SIZES = {"phone": (390, 844), "desk": (1440, 900), "wide": (2560, 1440)}
PATIENCE = 60_000
"""Milliseconds that a fact may take to show on a busy machine."""
PICTURES = Path(__file__).parent / "pictures"
HEAVIEST = 150_000
"""Bytes of a picture."""
TAKE = os.environ.get("SLEDKEEPER_PICTURES") == "1"


@dataclass
class Demo:
    """A running demo."""

    origin: str
    state: Path


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.fixture(scope="module")
def demo(browser: Browser) -> Iterator[Demo]:
    options = [word for fault in FAULTS for word in ("--fault", fault)]
    with running("demo", "--headless", "--port", "0", *options, output=subprocess.PIPE) as process:
        assert process.stdout is not None
        told: dict[str, str] = {}
        while "state" not in told:
            line = process.stdout.readline()
            assert line, "the demo ended before it was up"
            if line.startswith("demo is up"):
                told["origin"] = line.split()[-1].rstrip("/")
            elif line.startswith("state: "):
                told["state"] = line.removeprefix("state: ").split("   ")[0]
        found = Demo(told["origin"], Path(told["state"]))
        until(lambda: _all_named(found.state) or None)
        yield found


def _all_named(state: Path) -> bool:
    with Reader(state) as reader:
        known = {each.controller for each in reader.conditions()} | {
            each.controller for each in reader.answers.orders()
        }
        return known >= set(NAMED) and len(reader.answers.orders()) >= 3


def orders(demo: Demo) -> list[WorkOrder]:
    with Reader(demo.state) as reader:
        return reader.answers.orders()


def addresses(demo: Demo) -> dict[str, str]:
    """Every page by a short name: those of the navigation, and those that open from them."""
    found = {name.lower().replace(" ", "-"): address.removeprefix(".") for name, address in PAGES}
    return {
        **found,
        "sled": f"/?sled={SEIZED}",
        "order-sheets": "/?page=orders&sheets=all",
        "margins-rack": "/?page=margins&rack=Quellmark+/+A+/+R01",
        "parts-found": "/?page=parts&kind=drive&find=r02",
    }


def come(visit: Visit, demo: Demo, address: str) -> Page:
    visit.page.goto(demo.origin + address)
    expect(visit.page.locator("footer.foot")).to_be_visible(timeout=PATIENCE)
    visit.page.wait_for_function("document.fonts.status === 'loaded'", timeout=PATIENCE)
    return visit.page


def wrong(visit: Visit, demo: Demo) -> list[str]:
    """An exception on the page, an error of a script, a request to anyone else, and what is laid out badly."""
    page = visit.page
    found = [f"script: {each}" for each in visit.errors + visit.dialogs]
    if page.locator('[data-testid="stException"], [data-testid="stErrorElement"]').count():
        found.append("an exception is on the page")
    found += [f"asks {each}" for each in visit.origins - {demo.origin.removeprefix("http://")}]
    return found + complaints(page)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_each_page_is_sound_at_three_sizes(demo: Demo, browser: Browser, scheme: Any) -> None:
    """Nothing cut, nothing on another; axe-core finds nothing serious (light on the desk, dark on the phone)."""
    found = {}
    with visiting(browser, *SIZES["phone"], color_scheme=scheme) as visit:
        for name, address in addresses(demo).items():
            page = come(visit, demo, address)
            for size, (width, height) in SIZES.items():
                page.set_viewport_size({"width": width, "height": height})
                page.evaluate("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
                bad = wrong(visit, demo)
                if (size, scheme) in (("desk", "light"), ("phone", "dark")):
                    bad += violations(page)
                if bad:
                    found[f"{name}, {size}"] = bad
    assert found == {}


def test_the_check_sees_into_the_pages(demo: Demo, browser: Browser) -> None:
    """Something is broken on purpose in a sound page: the check names it, and it alone."""
    with visiting(browser, *SIZES["desk"]) as visit:
        page = come(visit, demo, "/?page=orders")
        assert complaints(page) == []
        page.locator("h1").evaluate(
            "each => { each.style.cssText = 'width: 20px; overflow: hidden; white-space: nowrap'; }"
        )
        assert any("Work orders" in each for each in complaints(page))


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_from_the_opening_page_to_the_printed_order_in_three_taps(demo: Demo, browser: Browser, size: str) -> None:
    order = next(each for each in orders(demo) if each.controller == SEIZED)
    taps = 0
    with visiting(browser, *SIZES[size]) as visit:
        page = come(visit, demo, "/")
        page.locator(f'[data-order="{order.id}"] a').first.click()
        taps += 1
        expect(page.locator(f'[data-sheet="{order.id}"]')).to_be_visible(timeout=PATIENCE)
        assert taps <= 3
        for paper in ("A4", "Letter"):
            assert pages_of(page.pdf(format=paper)) == 1


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_order_of_the_demo_prints_on_a_page_of_its_own(demo: Demo, browser: Browser, paper: str) -> None:
    with visiting(browser, *SIZES["desk"], color_scheme="dark") as visit:
        page = come(visit, demo, "/?page=orders&sheets=all")
        page.emulate_media(media="print")
        sheets = page.locator("[data-sheet]").count()
        assert sheets == len(orders(demo)) >= 3
        assert pages_of(page.pdf(format=paper)) == sheets


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_every_page_is_reached_by_the_keyboard_and_the_focus_is_seen(demo: Demo, browser: Browser, size: str) -> None:
    with visiting(browser, *SIZES[size]) as visit:
        page = come(visit, demo, "/?page=controllers")
        reached: dict[str, str] = {}
        for _ in range(40):
            page.keyboard.press("Tab")
            told = page.evaluate(
                """() => {
                  let at = document.activeElement;
                  while (at?.shadowRoot?.activeElement) at = at.shadowRoot.activeElement;
                  const style = getComputedStyle(at);
                  return [at.closest("nav.ways") ? at.textContent : "", `${style.outlineStyle} ${style.outlineWidth}`];
                }"""
            )
            if told[0]:
                reached[told[0]] = told[1]
        assert set(reached) == {name for name, _ in PAGES}
        assert set(reached.values()) == {"solid 3px"}


def test_each_kind_of_file_of_the_parts_page_is_handed_out(demo: Demo, browser: Browser, tmp_path: Path) -> None:
    with visiting(browser, *SIZES["desk"], accept_downloads=True) as visit:
        page = come(visit, demo, "/?page=parts&kind=fan")
        for name, ending in (("these parts", "csv"), ("the failure rates", "json")):
            with page.expect_download(timeout=PATIENCE) as download:
                page.get_by_role("button", name=f"{ending.upper()} of {name}").click()
            download.value.save_as(tmp_path / f"file.{ending}")
        assert "part_number" in (tmp_path / "file.csv").read_text(encoding="utf-8-sig").splitlines()[0]
        assert {"kind", "hours", "failures"} <= json.loads((tmp_path / "file.json").read_text())[0].keys()


# --- pictures ------------------------------------------------------------------------------------------------------


def shots(demo: Demo) -> dict[str, tuple[str, str]]:
    """Pictures of the README by file name: (size, address). Each page at desk size; what goes along, on a phone too."""
    order = next(each for each in orders(demo) if each.controller == SEIZED)
    found = addresses(demo)
    desk = {f"{name}.png": ("desk", found[name]) for name in (*_pages(), "sled", "margins-rack")}
    desk["order.png"] = ("desk", f"/?{urlencode({'page': 'orders', 'order': order.id})}")
    phone = {f"{name}-phone.png": ("phone", found[name]) for name in ("rounds", "sled", "lamp-reader") if name in found}
    return {**desk, **phone}


def _pages() -> list[str]:
    return [name.lower().replace(" ", "-") for name, _ in PAGES]


def test_a_picture_of_every_page_is_taken(demo: Demo, browser: Browser, tmp_path: Path) -> None:
    """Light, as high as the page up to two screens, in a palette of 128 colours."""
    folder = PICTURES if TAKE else tmp_path
    folder.mkdir(exist_ok=True)
    taken = shots(demo)
    for size in {size for size, _ in taken.values()}:
        with visiting(browser, *SIZES[size], color_scheme="light") as visit:
            for name, (of, address) in taken.items():
                if of == size:
                    page = come(visit, demo, address)
                    high = page.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
                    page.set_viewport_size({"width": SIZES[size][0], "height": min(max(high, 600), 1600)})
                    expect(page.locator("footer.foot")).to_be_visible(timeout=PATIENCE)
                    _save(page.screenshot(), folder / name)
                    page.set_viewport_size({"width": SIZES[size][0], "height": SIZES[size][1]})
    assert {each.name for each in folder.glob("*.png")} == set(taken)
    assert {each.name: each.stat().st_size for each in folder.glob("*.png") if each.stat().st_size > HEAVIEST} == {}
    (folder / "pages.json").write_text(json.dumps({"pages": _pages(), "pictures": sorted(taken)}, indent=1) + "\n")


def _save(png: bytes, to: Path) -> None:
    image = Image.open(io.BytesIO(png)).convert("RGB")
    # The marks' colours are few pixels of many: a palette by frequency would turn them grey.
    image = image.quantize(128, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    image.save(to, optimize=True)


def test_the_readme_shows_every_page_as_the_pages_are_now() -> None:
    """Pictures that are older than the list of pages don't pass: take them anew with SLEDKEEPER_PICTURES=1."""
    told = json.loads((PICTURES / "pages.json").read_text())
    assert told["pages"] == _pages()
    readme = (Path(__file__).parents[2] / "README.md").read_text()
    named = re.findall(r"\((tests/system/pictures/[a-z-]+\.png)\)", readme)
    assert sorted(Path(each).name for each in named) == told["pictures"]
    for each in named:
        file = Path(__file__).parents[2] / each
        assert 0 < file.stat().st_size <= HEAVIEST
        with Image.open(file) as image:
            assert image.format == "PNG"
    assert {f"{name}.png" for name in _pages()} <= {Path(each).name for each in named}
