"""A whole fleet: its files, its passing time, its faults, and the command that serves it."""

from __future__ import annotations

import asyncio
import signal
import ssl
import stat
import subprocess
import sys
from pathlib import Path

import httpx
import pytest

from collector.settings import Settings, load
from simulators.faults import FaultError
from simulators.serve import Fleet, list_faults, run_simulate, with_dialect
from simulators.service import plans
from simulators.service.fleetfile import INLINE
from simulators.service.wire import KINDS, Wire
from simulators.site import demo_site, scaled_site
from simulators.world import World


def client(settings: Settings, name: str) -> httpx.AsyncClient:
    """A client that knows a controller from the fleet file alone."""
    (one,) = (each for each in settings.controllers if each.name == name)
    assert one.credential is not None
    assert one.ca_file is not None
    return httpx.AsyncClient(
        base_url=one.url,
        verify=ssl.create_default_context(cafile=str(one.ca_file)),
        auth=(one.credential.username, one.credential.password.get_secret_value()),
    )


async def until(fact: object) -> None:
    while not fact():  # type: ignore[operator]
        await asyncio.sleep(0.01)


@pytest.mark.parametrize("controllers", [3, INLINE + 1])
async def test_the_fleet_file_is_what_a_collector_reads(tmp_path: Path, controllers: int) -> None:
    site = scaled_site(controllers)
    async with Fleet(World(site), tmp_path, poll_interval=7, listen="127.0.0.1:0") as fleet:
        settings = load(fleet.path)
        assert settings.collector.poll_interval == 7
        assert settings.collector.listen == "127.0.0.1:0"
        assert (settings.collector.controllers_file is not None) == (controllers > INLINE)
        assert [each.name for each in settings.controllers] == [sled.name for sled in site.sleds]
        assert len({each.url for each in settings.controllers}) == controllers
        for each in settings.controllers:
            place = site.place(each.name)
            where = each.location
            assert (where.site, where.row, where.rack, where.enclosure) == (
                place.site,
                place.row,
                place.rack,
                place.enclosure,
            )
            assert (where.offset, where.offset_unit) == (place.offset, "EIA_310")
            assert where.sled is None  # the controller tells that itself
        last = settings.controllers[-1].name
        async with client(settings, last) as http:
            sled = (await http.get("/redfish/v1/Chassis/Sled")).json()
        assert sled["SerialNumber"] == site.sled(last).serial
    secret = tmp_path / "secrets" / "monitor"
    assert stat.S_IMODE(secret.stat().st_mode) == 0o600
    assert fleet.password not in fleet.path.read_text()
    assert b"PRIVATE" not in b"".join(path.read_bytes() for path in tmp_path.rglob("*") if path.is_file())


async def test_each_controller_has_a_certificate_of_its_own(tmp_path: Path) -> None:
    async with Fleet(World(scaled_site(2)), tmp_path) as fleet:
        shown = {
            await asyncio.to_thread(ssl.get_server_certificate, ("127.0.0.1", listener.port))
            for listener in fleet.listeners.values()
        }
    assert len(shown) == 2


async def test_time_passes_as_fast_as_asked(tmp_path: Path) -> None:
    world = World(scaled_site(1))
    start = world.time
    async with Fleet(world, tmp_path, time_factor=100.0, tick=0.02) as fleet:
        acquired = fleet.acquired
        await until(lambda: world.time >= start + 20.0)
        assert fleet.acquired > acquired
        settings = load(fleet.path)
        async with client(settings, world.site.sleds[0].name) as http:
            path = "/redfish/v1/Chassis/Sled/Thermal"
            before = (await http.get(path)).json()
            seen = world.time
            await until(lambda: world.time >= seen + 20.0)
            assert (await http.get(path)).json() != before


async def test_a_controller_hangs_reboots_and_recovers_on_the_wire(tmp_path: Path) -> None:
    world = World(scaled_site(1))
    name = world.site.sleds[0].name
    async with Fleet(world, tmp_path, tick=0.02) as fleet, client(load(fleet.path), name) as http:
        assert (await http.get("/redfish/v1/")).status_code == 200
        fleet.inject(f"controller-hung@{name}/controller")
        with pytest.raises(httpx.ReadTimeout):
            await http.get("/redfish/v1/", timeout=0.1)
        fleet.clear("controller-hung", f"{name}/controller")
        assert (await http.get("/redfish/v1/")).status_code == 200
        fleet.inject(f"controller-rebooting@{name}/controller:seconds=86400")
        with pytest.raises(httpx.TransportError):  # the connection that was open is gone
            await http.get("/redfish/v1/")
        with pytest.raises(httpx.ConnectError):
            await http.get("/redfish/v1/")
        fleet.clear("controller-rebooting", f"{name}/controller")
        await until(lambda: fleet.services[name].listening and fleet.listeners[name].open)
        reply = await http.get("/redfish/v1/")
        assert reply.status_code == 503
        assert int(reply.headers["retry-after"]) >= 1


async def test_faults_of_the_wire_are_asked_for_by_name_and_may_wait(tmp_path: Path) -> None:
    world = World(scaled_site(2))
    first, second = (sled.name for sled in world.site.sleds)
    async with Fleet(world, tmp_path, tick=0.02) as fleet:
        fleet.inject(f"wire-html@{first}")
        fleet.inject(f"wire-slow@{second}:delay=0.25:under=/redfish/v1/Chassis+0.1")
        assert fleet.services[first].wire == Wire(kind="html")
        assert fleet.services[second].wire == Wire()
        await until(lambda: fleet.services[second].wire.kind == "slow")
        assert fleet.services[second].wire == Wire(kind="slow", delay=0.25, under="/redfish/v1/Chassis")
        fleet.clear("wire-html", first)
        assert fleet.services[first].wire == Wire()


@pytest.mark.parametrize(
    "text",
    [
        "wire-gremlins@r01-e1-s1",
        "wire-html@nowhere",
        "wire-html",
        "wire-html@r01-e1-s1:colour=blue",
        "wire-slow@r01-e1-s1:delay=soon",
        "wire-slow@r01-e1-s1:delay",
        "wire-slow@r01-e1-s1+soon",
        "fan-seized@r01-e1-s1/fan9",
        "gremlins@r01-e1-s1",
    ],
)
def test_a_fault_that_does_not_fit_is_refused_with_a_reason(text: str) -> None:
    with pytest.raises(FaultError, match=r"\w{4,}"):
        plans.parse(text, demo_site())


def test_a_fault_of_the_wire_takes_a_part_for_its_controller() -> None:
    plan = plans.parse("wire-drip@r01-e1-s2/fan1:delay=2:spare=3+20", demo_site())
    assert (plan.name, plan.part, plan.after) == ("wire-drip", "r01-e1-s2", 20.0)
    assert plans.wire(plan.name, plan.arguments) == Wire(kind="drip", delay=2.0, spare=3)


def test_the_list_of_faults_names_all(capsys: pytest.CaptureFixture[str]) -> None:
    assert list_faults() == 0
    told = capsys.readouterr().out
    assert all(f"wire-{kind}@" in told for kind in KINDS if kind != "clean")
    assert "fan-seized@" in told


def test_one_dialect_for_all() -> None:
    site = with_dialect(demo_site(), "classic")
    assert {sled.dialect for sled in site.sleds} == {"classic"}
    assert [sled.name for sled in site.sleds] == [sled.name for sled in demo_site().sleds]


async def test_a_world_that_breaks_is_told_and_not_swallowed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    world = World(scaled_site(1))

    def broken(seconds: float) -> None:
        raise ArithmeticError("the air is on fire")

    async def serve() -> None:
        async with Fleet(world, tmp_path, tick=0.01) as fleet:
            monkeypatch.setattr(world, "advance", broken)
            await fleet.failed()

    with pytest.raises(ArithmeticError):
        await serve()


def test_what_can_not_be_had_ends_with_two_and_a_message(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").write_text("")
    assert run_simulate(tmp_path / "file" / "below", seconds=0.0) == 2
    assert run_simulate(tmp_path / "x", controllers=0, seconds=0.0) == 2
    assert run_simulate(tmp_path / "x", seconds=0.0, faults=["gremlins@r01-e1-s1"]) == 2
    told = capfd.readouterr()
    assert told.out == ""
    assert told.err.count("sledkeeper simulate: ") == 3
    assert not (tmp_path / "x" / "fleet.toml").exists()


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_the_command_says_ready_once_and_stops_cleanly(tmp_path: Path, number: signal.Signals) -> None:
    code = (
        "import sys; from pathlib import Path; from simulators.serve import run_simulate; "
        "sys.exit(run_simulate(Path(sys.argv[1]), controllers=2, listen='127.0.0.1:0', "
        "faults=['fan-seized@r001-e1-s1/fan1+0.1']))"
    )
    child = subprocess.Popen(
        [sys.executable, "-W", "error", "-c", code, str(tmp_path)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert child.stdout is not None
        assert child.stdout.readline() == "ready\n"
        settings = load(tmp_path / "fleet.toml")
        assert len(settings.controllers) == 2
        child.send_signal(number)
        out, err = child.communicate()
    finally:
        child.kill()
        child.wait()
    assert (child.returncode, out, err) == (0, "", "")


def test_the_command_ends_by_itself(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    assert run_simulate(tmp_path, controllers=1, seconds=0.1, dialect="modern") == 0
    assert capfd.readouterr().out == "ready\n"
