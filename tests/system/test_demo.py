"""The demo as a newcomer runs it, looked at in a real browser."""

from __future__ import annotations

import signal
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from collector.model import Condition, Health, Kind, WorkOrder
from collector.store.reader import Reader
from tests.cli.processes import PATIENCE, running, until
from tests.system.browser import chromium, visiting

SEIZED = "r01-e1-s2"
DARK = "r03-e1-s1"


@dataclass
class Demo:
    """A running demo."""

    origin: str
    state: Path
    process: subprocess.Popen[str]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.fixture(scope="module")
def demo(browser: Browser) -> Iterator[Demo]:
    with running("demo", "--headless", "--port", "0", output=subprocess.PIPE) as process:
        assert process.stdout is not None
        told: dict[str, str] = {}
        while "state" not in told:
            line = process.stdout.readline()
            assert line, "the demo ended before it was up"
            if line.startswith("demo is up"):
                told["origin"] = line.split()[-1].rstrip("/")
            elif line.startswith("state: "):
                told["state"] = line.removeprefix("state: ").split("   ")[0]
        yield Demo(told["origin"], Path(told["state"]), process)


def open_conditions(demo: Demo, controller: str) -> list[Condition]:
    with Reader(demo.state) as reader:
        return reader.conditions(controller=controller)


def test_each_default_fault_ends_in_an_order_for_the_part_that_has_it(demo: Demo) -> None:
    """Of a part in the sled that each of them was put into, and nothing else is ordered."""
    wanted = {"r01-e1-s2": Kind.FAN, "r02-e1-s1": Kind.DRIVE, "r03-e1-s1": Kind.BLADE}

    def ordered() -> dict[str | None, Kind] | None:
        with Reader(demo.state) as reader:
            found = {order.controller: order.kind for order in reader.answers.orders()}
        return found if found == wanted else None

    until(ordered)
    with Reader(demo.state) as reader:
        assert {trouble.suspects[0].kind for trouble in reader.answers.troubles()} == set(wanted.values())


def test_both_pages_show_the_faulty_sled(demo: Demo, browser: Browser) -> None:
    until(lambda: open_conditions(demo, SEIZED))
    with visiting(browser, 1440, 900) as visit:
        page = visit.page
        page.goto(demo.origin + "/")
        drawn = page.locator(f'a[data-sled="{SEIZED}"]')
        expect(drawn).to_have_attribute("data-part-health", Health.CRITICAL.word, timeout=PATIENCE * 1000)
        with Reader(demo.state) as reader:
            assert page.locator("a[data-sled]").count() == len(reader.controllers()) >= 18
        drawn.click()
        page.wait_for_url(f"**/?sled={SEIZED}", timeout=PATIENCE * 1000)
        expect(page.locator("svg.front")).to_be_visible(timeout=PATIENCE * 1000)
        assert page.locator('[data-testid="stException"]').count() == 0
        assert visit.errors == []
        assert visit.origins == {demo.origin.removeprefix("http://")}


def test_the_lamps_drawn_are_the_indicators_in_the_store(demo: Demo, browser: Browser) -> None:
    """Also of a sled with a blade that lost its power: dark blue lamp, lit amber (OCP Panel Indicator 1.0, 6.1)."""
    until(lambda: open_conditions(demo, DARK))
    with Reader(demo.state) as reader, visiting(browser, 390, 844) as visit:
        for name in (SEIZED, DARK):
            visit.page.goto(f"{demo.origin}/?sled={name}")
            blades = [part for part in reader.parts(name) if part.kind is Kind.BLADE]
            assert blades
            for part in blades:
                lamps = reader.lamps(name)[part.id]
                for colour, state in (("blue", lamps.blue), ("amber", lamps.amber)):
                    lamp = visit.page.locator(f'[data-lamp="{colour}"][data-part="{part.id}"]').first
                    expect(lamp).to_have_attribute("data-lamp-state", state.value, timeout=PATIENCE * 1000)
        lost = next(lamps for part, lamps in reader.lamps(DARK).items() if lamps.blue == "off" and lamps.amber == "on")
        assert lost


@pytest.mark.parametrize("size", [(390, 844), (1440, 900)], ids=["phone", "desk"])
def test_the_order_for_the_seized_fan_is_one_tap_away(demo: Demo, browser: Browser, size: tuple[int, int]) -> None:
    """On what the collector itself found out of the simulated faults: orders, suspects, margins, controllers."""

    def ordered() -> WorkOrder | None:
        with Reader(demo.state) as reader:
            return next((order for order in reader.answers.orders() if order.controller == SEIZED), None)

    order = until(ordered)
    assert order is not None
    assert order.kind is Kind.FAN
    with visiting(browser, *size) as visit:
        page = visit.page
        page.goto(demo.origin + "/")
        page.locator(f'[data-order="{order.id}"] a').click(timeout=PATIENCE * 1000)
        sheet = page.locator(f'[data-sheet="{order.id}"]')
        expect(sheet).to_be_visible(timeout=PATIENCE * 1000)
        expect(sheet.locator("svg.spot [data-here]")).not_to_have_count(0)
        for address, shown in (
            (f"/?sled={SEIZED}", f'[data-block="suspects"] [data-suspect="{order.part}"]'),
            ("/?page=orders", f'[data-order="{order.id}"]'),
            ("/?page=margins", "[data-rack-left]"),
            ("/?page=controllers", f'tr[data-controller="{SEIZED}"]'),
        ):
            page.goto(demo.origin + address)
            expect(page.locator(shown).first).to_be_visible(timeout=PATIENCE * 1000)
            assert page.locator('[data-testid="stException"]').count() == 0
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        assert visit.errors == []
        assert visit.origins == {demo.origin.removeprefix("http://")}


def test_the_demo_stops_all_of_itself(demo: Demo) -> None:
    """The last test of this module: one SIGTERM, as Ctrl-C, ends every process that the demo started."""
    import psutil

    children = psutil.Process(demo.process.pid).children(recursive=True)
    assert len(children) >= 3
    demo.process.send_signal(signal.SIGTERM)
    assert demo.process.wait(timeout=PATIENCE) == 0
    assert not [child for child in children if child.is_running() and child.status() != psutil.STATUS_ZOMBIE]
    assert not demo.state.exists()


pytestmark = pytest.mark.system
