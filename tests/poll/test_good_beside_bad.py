"""One controller of each fault of the wire among good ones: each bad one named rightly, no good one touched."""

from __future__ import annotations

import asyncio
import time
from pathlib import Path
from typing import NamedTuple

import pytest

from collector.model import Defect, DefectKind, Outcome, Update
from collector.poll.fleet import Fleet
from collector.redfish.wire import Limits
from collector.settings import load
from collector.store.reader import Reader
from simulators import serve
from simulators.service.wire import KINDS
from simulators.site import Site, scaled_site
from simulators.world import World
from tests.cli.processes import running, simulated, until


class Named(NamedTuple):
    """What the collector must say of a controller with this fault."""

    outcome: Outcome
    words: str = ""
    """In its error."""
    defect: DefectKind | None = None
    arguments: str = ""
    """Of the fault."""


BAD: dict[str, Named] = {
    "refuse": Named(Outcome.UNREACHABLE, "connection refused"),
    "login-lost": Named(Outcome.OK, arguments=":spare=20"),
    "slow": Named(Outcome.OK, arguments=":delay=0.03"),
    "hang": Named(Outcome.TIMED_OUT, "no answer in time"),
    "stall": Named(Outcome.TIMED_OUT, "0 bytes of the body had come"),
    "drip": Named(Outcome.TIMED_OUT, "no answer in time"),
    "reset": Named(Outcome.MALFORMED, "reset by peer"),
    "truncated": Named(Outcome.MALFORMED, "not a JSON object"),
    "html": Named(Outcome.MALFORMED, "it is markup"),
    "endless": Named(Outcome.MALFORMED, "its body is over"),
    "nan": Named(Outcome.OK, defect=DefectKind.NOT_A_NUMBER),
    "text-numbers": Named(Outcome.OK, defect=DefectKind.WRONG_TYPE),
    "page-loop": Named(Outcome.OK, defect=DefectKind.LINK_LOOP),
    "redirect": Named(Outcome.MALFORMED, "leads to another origin"),
    "gzip-bomb": Named(Outcome.MALFORMED, "decompressed body is over"),
    "deep-nesting": Named(Outcome.MALFORMED, "nested too deeply"),
    "many-members": Named(Outcome.OK, defect=DefectKind.TOO_BIG),
    "link-loop": Named(Outcome.OK, defect=DefectKind.LINK_LOOP),
    "expired-certificate": Named(Outcome.UNTRUSTED, "expired"),
    "wrong-certificate": Named(Outcome.UNTRUSTED, "IP address mismatch"),
    "sessions-full": Named(Outcome.OK, "the session table is full", defect=DefectKind.HTTP_ERROR),
    "clock-off": Named(Outcome.OK, defect=DefectKind.BAD_TIME),
}


def among(site: Site, every: int) -> dict[str, str]:
    """Where the bad ones are: the kind of fault by controller, spread over the site.

    All on sleds of the newer model: only it tells the times that a wrong clock spoils.
    """
    places = [sled.name for sled in site.sleds if sled.dialect == "modern"][::every]
    return dict(zip(places, BAD, strict=False))


def check(kind: str, outcome: Outcome | None, error: str, defects: list[Defect]) -> None:
    wanted = BAD[kind]
    assert (kind, outcome) == (kind, wanted.outcome), error
    assert wanted.words in error, (kind, error)
    found = {defect.kind for defect in defects}
    if wanted.defect is None:
        assert not found, (kind, found)
    else:
        assert wanted.defect in found, (kind, found)


def test_no_fault_of_the_wire_is_left_out() -> None:
    assert set(BAD) == set(KINDS) - {"clean"}


async def test_each_is_named_and_its_neighbours_are_read(tmp_path: Path) -> None:
    site = scaled_site(2 * len(BAD) + 4)
    bad = among(site, 1)
    assert len(bad) == len(BAD)
    defects: dict[str, list[Defect]] = {sled.name: [] for sled in site.sleds}

    async def tell(update: Update) -> None:
        for told in (update.inventory, update.round):
            if told is not None:
                defects[update.controller] += told.defects

    async with serve.Fleet(World(site), tmp_path, tick=3600.0) as simulator:
        for name, kind in bad.items():
            # with one collection of 100,000 this takes a second, with all of them ten
            under = ":under=/redfish/v1/Systems" if kind == "many-members" else ""
            simulator.inject(f"wire-{kind}@{name}{BAD[kind].arguments}{under}")
        fleet = Fleet(load(simulator.path), tell, limits=Limits(response_timeout=6.0, max_body=8_000_000))
        reports = {report.controller: report for report in await fleet.once()}
        left = {name: len(service.login.sessions) for name, service in simulator.services.items()}
    for name, report in reports.items():
        if name in bad:
            check(bad[name], report.outcome, report.error, defects[name])
        else:
            assert (name, report.outcome, report.error, defects[name]) == (name, Outcome.OK, "", [])
            assert report.readings > 40
            assert left[name] == 0
    assert len(reports) - len(bad) > 20


@pytest.mark.slow
@pytest.mark.system
async def test_not_one_good_round_of_two_hundred_is_late(tmp_path: Path) -> None:
    """Simulator and collector as processes, as in life, for ten rounds of the good ones and walks of all."""
    site = scaled_site(200 + len(BAD))
    bad = among(site, 5)
    assert len(bad) == len(BAD)
    faults = [f"wire-{kind}@{name}{BAD[kind].arguments}" for name, kind in bad.items()]
    state = tmp_path / "state"
    options = [word for fault in faults for word in ("--fault", fault)]
    interval = 15
    with (
        simulated(
            tmp_path / "fleet", "--controllers", str(len(site.sleds)), "--poll-interval", str(interval), *options
        ) as path,
        running("collect", "--config", path, "--state", state) as collector,
    ):
        until(lambda: (state / "state.sqlite").exists() or any(state.glob("*")) or None)
        end = time.monotonic() + 12 * interval
        while time.monotonic() < end:
            assert collector.poll() is None
            await asyncio.sleep(1.0)
    reader = Reader(state)
    told = {one.controller: one for one in reader.controllers()}
    assert set(told) == {sled.name for sled in site.sleds}
    for name, one in told.items():
        if name in bad:
            check(bad[name], one.outcome, one.error, reader.defects(name))
        else:
            assert (name, one.outcome, one.late_rounds, one.failed_rounds) == (name, Outcome.OK, 0, 0)
            assert one.rounds >= 8
            assert one.defects == 0
