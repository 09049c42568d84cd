"""The standards body's own validator and client against the simulated services, live over HTTPS.

DMTF redfish_service_validator with the schemas of DSP8010 release 2025.4, and the DMTF ``redfish`` client library.
"""

from __future__ import annotations

import asyncio
import os
import re
import sys
from pathlib import Path
from typing import Any

import pytest

from simulators.serve import Fleet, with_dialect
from simulators.service.accounts import ADMIN
from simulators.site import Site, Sled, demo_site
from simulators.world import World
from tests.conftest import standard
from tests.simulators.service_kit import KINDS

EVERY = pytest.mark.parametrize(("design", "dialect"), sorted(KINDS))
MORE = [("quad", "plain"), ("quad", "push"), ("quad", "reports"), ("liquid", "both"), ("liquid", "classic")]
"""Kinds that the demo site has not."""
_COLOURS = re.compile(r"\x1b\[[0-9;]*m")
_SUMMARY = re.compile(r"PASS\s*\|\s*WARN\s*\|\s*FAIL\s*\|.*?\n\+[-+]+\n\|\s*(\d+)\s*\|\s*(\d+)\s*\|\s*(\d+)\s*\|", re.S)
_OLDER = {"classic", "slow", "both"}
"""Dialects with the older model."""
_PASSING = re.compile(r"/(Sessions|Entries|Subscriptions|Accounts|MetricReports)\b|\?\$skiptoken=")
_DEPRECATED = re.compile(r"Deprecated (Property|URI|Value) Warning")


def troubled(sled: Sled, site: Site | None = None) -> World:
    """A world in which that sled tells of every kind of trouble: nulls, states, conditions, lit lamps."""
    world = World(site or demo_site())
    world.inject("blade-power-lost", f"{sled.name}/blade1")
    world.inject("fan-seized", f"{sled.name}/fan1")
    world.inject("drive-failure-predicted", f"{sled.name}/blade2/drive0")
    world.set_locate(f"{sled.name}/blade2", True)
    world.advance(60.0)
    return world


async def validate(url: str, user: str, password: str, folder: Path, *options: str) -> tuple[int, str, str]:
    """Run the validator; returns its exit code, what it printed, and its log."""
    tool = Path(sys.executable).with_name("rf_service_validator")
    if not tool.exists():
        pytest.skip("redfish_service_validator is not installed")
    clean = {key: value for key, value in os.environ.items() if "proxy" not in key.lower()}
    child = await asyncio.create_subprocess_exec(
        # "=" because a random password may begin with a dash
        *(str(tool), f"--rhost={url}", f"--user={user}", f"--password={password}", "--authtype=Session"),
        "--skipschema",
        *("--schema_directory", str(standard("redfish", "csdl")), "--logdir", str(folder / "logs")),
        *options,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.STDOUT,
        cwd=folder,
        env=clean | {"NO_PROXY": "*"},
    )
    try:
        out, _ = await child.communicate()
    finally:
        if child.returncode is None:
            child.kill()
            await child.wait()
    logs = "".join(path.read_text() for path in (folder / "logs").rglob("*.log"))
    return child.returncode or 0, _COLOURS.sub("", out.decode()), logs


@pytest.mark.system
@pytest.mark.parametrize(("design", "dialect"), [*sorted(KINDS), *MORE, ("shelf", "modern")])
async def test_the_validator_finds_no_fault(design: str, dialect: str, tmp_path: Path) -> None:
    site = demo_site() if (design, dialect) in KINDS or design == "shelf" else with_dialect(demo_site(), dialect)
    unit = next(one for one in site.equipment if (one.design.name, one.dialect) == (design, dialect))
    if isinstance(unit, Sled):
        world = troubled(unit, site)
    else:
        world = World(site)
        world.inject("sensor-stuck", f"{unit.name}/psu2", value=99.0)
        world.set_locate(f"{unit.name}/psu3", True)
    async with Fleet(world, tmp_path / "fleet", tick=3600.0) as fleet:
        url = fleet.listeners[unit.name].url
        resources = set(fleet.services[unit.name].tree.resources)
        # what it may not see it can't judge, so it comes as the one who may see all
        code, out, log = await validate(url, ADMIN, fleet.admin_password, tmp_path)
        sessions = fleet.services[unit.name].login.sessions
        assert (sessions.opened, len(sessions)) == (1, 0)
    summary = _SUMMARY.search(out)
    assert summary, out[-2000:]
    passed, warned, failed = (int(count) for count in summary.groups())
    failures = [line for line in log.splitlines() if "FAIL - " in line]
    assert (failed, failures, code) == (0, [], 0)

    # it really went everywhere and looked at what is there
    validated = set(re.findall(r"^Validating (\S+?)\.\.\.$", out, re.M))
    assert resources <= validated
    # what comes and goes stands in no tree
    assert [path for path in validated - resources if not _PASSING.search(path)] == []
    assert passed > 10 * len(validated)

    # the older model can't but say what newer schemas call deprecated, and reports number themselves as they always
    # did; nothing else may be warned of
    warnings = [line for line in log.splitlines() if "WARN - " in line]
    assert len(warnings) == warned
    allowed = _DEPRECATED if dialect in _OLDER else re.compile(r" /ReportSequence .*Deprecated Property Warning")
    assert [line for line in warnings if not allowed.search(line)] == []


@pytest.mark.system
async def test_the_validator_does_find_faults(tmp_path: Path) -> None:
    """The check of the check: one wrong word in one body is one failure."""
    sled = KINDS["quad", "classic"]
    async with Fleet(World(demo_site()), tmp_path / "fleet", tick=3600.0) as fleet:
        tree = fleet.services[sled.name].tree
        blade = "/redfish/v1/Chassis/Blade1"
        tree.resources[blade].body["ChassisType"] = "Cabinet"
        url = fleet.listeners[sled.name].url
        code, out, log = await validate(url, fleet.username, fleet.password, tmp_path, "--payload", "Single", blade)
    summary = _SUMMARY.search(out)
    assert summary
    assert (summary[3], code) == ("1", 1)
    assert "Cabinet" in log


@pytest.mark.system
@EVERY
async def test_the_standard_client_logs_in_reads_and_writes(design: str, dialect: str, tmp_path: Path) -> None:
    redfish: Any = pytest.importorskip("redfish")
    sled = KINDS[design, dialect]
    world = World(demo_site())
    async with Fleet(world, tmp_path, tick=3600.0) as fleet:
        service = fleet.services[sled.name]

        def talk() -> dict[str, Any]:
            client = redfish.redfish_client(
                base_url=fleet.listeners[sled.name].url,
                username=fleet.username,
                password=fleet.password,
                cafile=str(tmp_path / "ca.pem"),
                default_prefix="/redfish/v1/",
            )
            client.login(auth="session")
            name, value = ("LocationIndicatorActive", True) if dialect != "classic" else ("IndicatorLED", "Blinking")
            blade = client.patch("/redfish/v1/Chassis/Blade2", body={name: value})
            assert blade.status == 200, blade.text
            told: dict[str, Any] = client.get("/redfish/v1/Chassis/Sled").dict
            client.logout()
            return told

        told = await asyncio.to_thread(talk)
        assert told["SerialNumber"] == sled.serial
        assert world.telemetry(sled.name).parts[f"{sled.name}/blade2"].locate is True
        assert (service.login.sessions.opened, len(service.login.sessions)) == (1, 0)
