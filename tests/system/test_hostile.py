"""Whatever a controller says is text: on every page, in drawings and print, in the terminal and in files.

In metrics and topics: tests/publish/test_metrics.py, test_messages.py and test_topics.py.
"""

from __future__ import annotations

import csv
import io
import json
import re
import time
import unicodedata
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlencode

import msgspec
import pytest
from playwright.sync_api import Browser, expect

from collector.model import (
    Defect,
    DefectKind,
    Event,
    Health,
    Location,
    Misfit,
    Misfitting,
    Stay,
    Turn,
)
from tests.cli.processes import sledkeeper
from tests.dashboard.invented import SEIZED, Invented, fleet, sled
from tests.dashboard.kept import collected
from tests.dashboard.test_ink import HOSTILE
from tests.system.browser import chromium, visiting
from tests.system.pages_server import served
from tests.system.soundness import complaints
from tests.system.test_pages import DESK, PHONE, assert_sound, come, outside_their_boxes, pages_of

pytestmark = pytest.mark.system


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as running:
        yield running


def _hostile_answers(bad: Invented, now: float) -> None:
    """Answers about a sled whose every name is hostile, as they would come out of the assessment."""
    usual = fleet(now)
    seized = next(each for each in usual if each.name == SEIZED)
    for place, told in enumerate(HOSTILE):
        top = bad.parts[0].id
        order = msgspec.structs.replace(
            seized.orders[0],
            id=f"order-{place}",
            trouble="trouble",
            controller=bad.name,
            part=top,
            name=told,
            task=told,
            reason=told,
            lamp_text=told,
            bundle=told,
            first=(told, told),
            cautions=(told,),
            otherwise=(told,),
        )
        bad.orders.append(order)
        bad.margins.append(
            msgspec.structs.replace(seized.margins[0], controller=bad.name, part=bad.parts[place].id, basis=told)
        )
        bad.figures.append(
            msgspec.structs.replace(
                seized.figures[0], controller=bad.name, part=bad.parts[place].id, of=told, basis=told
            )
        )
    suspects = tuple(
        msgspec.structs.replace(
            seized.troubles[0].suspects[0],
            controller=bad.name,
            part=f"{bad.name}:{place}",
            name=told,
            fault=told,
            remedy=told,
            speaks_for=(told,),
            speaks_against=(told,),
        )
        for place, told in enumerate(HOSTILE)
    )
    bad.troubles.append(
        msgspec.structs.replace(
            seized.troubles[0],
            id="trouble",
            controllers=(bad.name,),
            suspects=suspects,
            group=tuple(each.part for each in suspects),
            signs=tuple(HOSTILE),
            next_look=HOSTILE[0],
        )
    )


def _hostile_records(bad: Invented, now: float) -> None:
    """Conditions, events, defects, stays and misfits with the same words in them."""
    for place, told in enumerate(HOSTILE):
        part = bad.parts[place]
        bad.defects.append(
            Defect(controller=bad.name, resource=told, property=told, kind=DefectKind.WRONG_TYPE, detail=told)
        )
        bad.events.append(
            Event(
                time=now - place, controller=bad.name, part=part.id, subject="log", severity=Health.WARNING, text=told
            )
        )
        bad.misfits.append(
            Misfit(
                controller=bad.name,
                sled=bad.parts[0].id,
                design=told,
                how=Misfitting.WRONG,
                kind=part.kind,
                slot=told,
                part=part.id,
                wanted=told,
                found=told,
                text=told,
            )
        )
        bad.stays.append(
            Stay(
                controller=bad.name,
                position=f"{part.id}/{place}",
                part=f"{part.id}/{place}",
                kind=part.kind,
                name=told,
                location=part.location,
                identity=part.identity,
                since=now - 500,
                began=Turn.APPEARED,
                until=now - 50,
                ended=Turn.MOVED,
                went_to=told,
            )
        )


READERS = (
    *("readings", "parts", "indicators", "conditions", "suspects", "orders", "margins", "events", "defects"),
    "controllers",
)


def _hostile_in_terminal_and_files(state: Path) -> None:
    """What the command line prints holds no control or direction mark, its CSV no formula (OWASP, CSV Injection)."""
    commands = (*((each,) for each in READERS), ("history", "--location", "R1"), ("ledger",))
    for words in commands:
        for form in ("table", "csv", "json"):
            done = sledkeeper(*words, "--state", state, "--format", form)
            assert done.returncode == 0, done.stderr
            if form == "json":
                json.loads(done.stdout)
            hidden = {one for one in done.stdout if unicodedata.category(one) in ("Cc", "Cf", "Cs", "Zl", "Zp")}
            assert hidden <= {"\n"}, words
            if form == "csv":
                for row in csv.reader(io.StringIO(done.stdout)):
                    for told in row:
                        assert told[:1] not in ("=", "+", "@", "\t", "\r")
                        assert told[:1] != "-" or re.fullmatch(r"-[\d.e+-]+", told)


def test_hostile_strings_are_text_on_every_page(tmp_path: Path, browser: Browser) -> None:
    now = time.time()
    state = tmp_path / "state"
    bad = sled("hostile", Location(site="S", row="A", rack="R1", offset=2), "duo", "Sled")
    for place, part in enumerate(bad.parts):
        told = HOSTILE[place % len(HOSTILE)]
        location = msgspec.structs.replace(
            part.location, rack=HOSTILE[0], sled=told if part.location.sled else None, slot=part.location.slot and told
        )
        identity = msgspec.structs.replace(part.identity, serial=told, model=told)
        bad.parts[place] = msgspec.structs.replace(part, name=told, location=location, identity=identity)
    _hostile_answers(bad, now)
    bad.sensors[:] = [msgspec.structs.replace(each, sensor=f"{HOSTILE[1]}{n}") for n, each in enumerate(bad.sensors)]
    _hostile_records(bad, now)
    with collected(state, [bad], now), served(state, tmp_path / "pages.log") as origin:
        _hostile_in_terminal_and_files(state)
        for size in (PHONE, DESK):
            with visiting(browser, *size) as visit:
                for address in (
                    "/",
                    "/?sled=hostile",
                    "/?page=orders",
                    "/?page=orders&sheets=all",
                    "/?page=lamps",
                    "/?page=margins",
                    f"/?{urlencode({'page': 'margins', 'rack': f'S / A / {HOSTILE[0]}'})}",
                    "/?page=parts&find=hostile",
                    f"/?{urlencode({'page': 'parts', 'find': HOSTILE[1]})}",
                    "/?page=controllers&need=defects",
                    "/?sled=%3Cscript%3Ealert(1)%3C/script%3E",
                ):
                    page = come(visit, origin, address)
                    assert_sound(visit, origin)
                    assert page.locator(".sheet script, .sheet img").count() == 0
                    assert outside_their_boxes(page) == []
                    assert complaints(page) == [], address
                    assert not set(page.locator("body").inner_text()) & set("\u202e\u2066\u2069\x1b\x00")
                if size == DESK:
                    sheets = come(visit, origin, "/?page=orders&sheets=all").locator("[data-sheet]").count()
                    assert sheets == len(HOSTILE)
                    # Nothing is cut off a sheet: the one with 10,000 letters in every field may take a second page.
                    assert sheets <= pages_of(visit.page.pdf(format="A4")) <= sheets + 1
                    page = come(visit, origin, "/?sled=%3Cscript%3Ealert(1)%3C/script%3E")
                expect(page.locator('[data-notice="unknown-sled"]')).to_contain_text("<script>alert(1)</script>")
