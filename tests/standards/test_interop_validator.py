"""DMTF redfish_interop_validator with the Open Compute Project's profiles, against a simulated service over HTTPS.

The dialect ``server`` has what these profiles ask for; they want the older Thermal and Power, so the others can't.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from simulators.serve import Fleet, with_dialect
from simulators.service.accounts import ADMIN
from simulators.site import scaled_site
from simulators.world import World
from tests.conftest import standard
from tests.standards.validators import logs, run, summary, tool

BASELINE = "OCPBaselineHardwareManagement.v1_0_1.json"
SERVER = "OCPServerHardwareManagement.v0_2_4.json"


def profile(name: str, folder: Path) -> Path:
    """A published profile where the validator can use it.

    The server profile spells one member ``ConditionalRequirement`` that its own schema (DSP8013) spells in the plural,
    whereupon the validator refuses the whole profile: the copy has it right. It requires the baseline by the oldest
    version that will do, which the validator takes for a file name: release 1.0.1 stands under that name.
    """
    folder.mkdir()
    baseline = standard("redfish", "profiles", BASELINE)
    shutil.copy(baseline, folder / BASELINE)
    shutil.copy(baseline, folder / "OCPBaselineHardwareManagement.v1_0_0.json")
    text = standard("redfish", "profiles", SERVER).read_text()
    (folder / SERVER).write_text(text.replace('"ConditionalRequirement"', '"ConditionalRequirements"'))
    return folder / name


async def validate(name: str, dialect: str, folder: Path) -> tuple[int, tuple[int, int, int], set[str], str]:
    """Exit code; what passed, warned, failed; the resources that were looked at; the log."""
    site = with_dialect(scaled_site(1), dialect)
    unit = site.sleds[0]
    path = profile(name, folder / "profiles")
    async with Fleet(World(site), folder / "fleet", tick=3600.0) as fleet:
        command = (
            *(tool("rf_interop_validator"), "--rhost", fleet.listeners[unit.name].url, "--user", ADMIN),
            *("--password", fleet.admin_password, "--authtype", "Session", "--logdir", str(folder / "logs"), str(path)),
        )
        code, out = await run(command, folder, fleet.out_dir / "ca.pem")
        resources = set(fleet.services[unit.name].tree.resources)
        assert len(fleet.services[unit.name].login.sessions) == 0
    looked_at = set(re.findall(r"^Validating (\S+?)\.\.\.$", out, re.M)) & resources
    assert len(looked_at) > 0.9 * len(resources), out[-2000:]
    return code, summary(out), looked_at, logs(folder / "logs")


@pytest.mark.system
@pytest.mark.parametrize(("name", "least"), [(BASELINE, 300), (SERVER, 450)])
async def test_the_published_profiles_are_met(name: str, least: int, tmp_path: Path) -> None:
    code, (passed, _, failed), _, log = await validate(name, "server", tmp_path)
    assert [line for line in log.splitlines() if "FAIL - " in line] == []
    assert (failed, code) == (0, 0)
    assert passed > least


@pytest.mark.system
async def test_a_service_without_what_a_profile_asks_for_does_not_meet_it(tmp_path: Path) -> None:
    """The check of the check: the newer model alone lacks the controller's reset and network, Thermal and Power."""
    code, (_, _, failed), _, log = await validate(SERVER, "modern", tmp_path)
    assert code == 1
    assert failed > 0
    told = "\n".join(line for line in log.splitlines() if "FAIL - " in line)
    for lacking in ("#Manager.Reset", "/NetworkProtocol", "/EthernetInterfaces", "/Boot"):
        assert lacking in told
