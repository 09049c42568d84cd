"""``collect --once`` as a user runs it, on published services (DMTF DSP2043): read, named, none invented."""

from __future__ import annotations

import asyncio
import json
from contextlib import AsyncExitStack
from pathlib import Path
from typing import Any

import pytest

from tests.cli.processes import COMMAND, read
from tests.conftest import standard
from tests.mockups import serve_mockup

SERVICES = ("public-bladed", "public-rackmount1", "public-localstorage", "public-telemetry")


async def collected(folder: Path) -> tuple[int, str, str]:
    """Serve the four on loopback and run the command against them: exit code, output, errors."""
    async with AsyncExitStack() as stack:
        lines = ['[conditions]\ndelays = "told"  # one look can\'t wait for a delay\n']
        for name in SERVICES:
            url = await stack.enter_async_context(serve_mockup(standard("redfish", "mockups", name)))
            lines.append(f'[[controllers]]\nname = "{name}"\nurl = "{url}"\n')
        (folder / "fleet.toml").write_text("\n".join(lines))
        argv = [*COMMAND, "collect", "--once", "--config", folder / "fleet.toml", "--state", folder / "state"]
        process = await asyncio.create_subprocess_exec(
            *argv, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE
        )
        out, err = await process.communicate()
        return process.returncode or 0, out.decode(), err.decode()


FACTORS = {
    # canonical unit: what a told number may be multiplied with (UCUM; shared/standards/check-values.md, 8)
    "J": (1.0, 3600.0, 3.6e6),
    "Pa": (1.0, 1000.0),
    "Hz": (1.0, 1e6),
    "s": (1.0, 3600.0, 60.0),
    "1": (1.0, 0.01),
}


def told_at(service: str, place: str) -> Any:
    """The number that stands at a place of a published service, straight from its file."""
    path, _, pointer = place.partition("#")
    body = json.loads(
        (standard("redfish", "mockups", service) / path.removeprefix("/redfish/v1/") / "index.json").read_text()
    )
    for step in (pointer or "/Reading").split("/")[1:]:
        body = body[int(step)] if isinstance(body, list) else body[step]
    return body


@pytest.fixture(scope="module")
def once(tmp_path_factory: pytest.TempPathFactory) -> tuple[int, str, str, Path]:
    folder = tmp_path_factory.mktemp("once")
    return (*asyncio.run(collected(folder)), folder / "state")


def test_each_service_is_read_and_told_in_a_line(once: tuple[int, str, str, Path]) -> None:
    code, out, err, _ = once
    assert code == 0, out + err
    for name in SERVICES:
        assert f"\n{name}" in "\n" + out
        assert f"] {name} ok" in err


def test_every_value_is_the_number_at_its_source(once: tuple[int, str, str, Path]) -> None:
    *_, state = once
    readings = read("readings", state)
    for row in readings:
        told = told_at(row["controller"], row["source"]) if row["value"] is not None else None
        if row["value"] is None:
            continue
        fits = [told * factor == pytest.approx(row["value"]) for factor in FACTORS.get(row["unit"], (1.0,))]
        assert any(fits), (row["source"], told, row["value"], row["unit"])
    counts = {
        name: sum(row["controller"] == name and row["value"] is not None for row in readings) for name in SERVICES
    }
    assert all(counts.values()), counts
    zeros = [row for row in readings if row["controller"] == "public-bladed" and row["value"] == 0]
    assert [row["quantity"] for row in zeros] == ["rotational speed"], "quirk 7: the dead fan's true 0"


def test_what_is_wrong_in_them_is_named(once: tuple[int, str, str, Path]) -> None:
    """Numbers: shared/standards/redfish-notes.md, section 7."""
    *_, state = once
    defects = [
        (row["controller"], row["kind"], row["resource"] + "#" + row["property"]) for row in read("defects", state)
    ]

    def named(service: str, kind: str, place: str) -> bool:
        return any(who == service and what == kind and place in where for who, what, where in defects)

    assert named("public-rackmount1", "dangling link", "PowerSupplies/Bay1/Metrics"), "quirk 3"
    assert named("public-telemetry", "thresholds out of order", "Chassis/1/Thermal#/Fans/0"), "quirk 9"
    assert named("public-telemetry", "unknown word", "Chassis/1/Power#/Redundancy/0"), "quirk 12"
    assert named("public-telemetry", "wrong identity", "Power"), "quirk 13"
    assert named("public-telemetry", "wrong count", "/redfish/v1/Chassis#"), "quirk 15"
    assert named("public-rackmount1", "wrong count", ""), "quirk 15"
    conditions = {(row["controller"], row["severity"], row["kind"]) for row in read("conditions", state, "--all")}
    assert ("public-bladed", "Critical", "fan") in conditions, "quirks 7 and 11"
    assert ("public-bladed", "Warning", "processor") in conditions, "quirk 11"
