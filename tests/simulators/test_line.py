"""What a round meets at controllers that serve, dawdle, hang, reboot or are cut off; over HTTP and without."""

from __future__ import annotations

import httpx
import pytest

from collector.model import Outcome
from simulators.service.inprocess import NO_ROUTE, Hurry, InProcess
from simulators.service.line import USUAL, Line, Met
from simulators.service.service import WARM_UP
from tests.simulators.service_kit import NOW, PASSWORD, USER, asker

TARGETS = ("/redfish/v1/Chassis/Sled", "/redfish/v1/Systems?$expand=.($levels=1)", "/redfish/v1/Managers/Controller")


def test_the_words_are_those_of_a_rounds_outcome() -> None:
    assert {Outcome(met.value).value for met in Met} == {met.value for met in Met}


def test_a_controller_that_serves_brings_the_bodies_that_http_brings() -> None:
    one = asker("quad", "modern", own_world=True)
    told = Line(one.service).ask(TARGETS, NOW)
    assert (told.met, told.error, told.clock) == (Met.OK, "", 0.0)
    assert told.seconds == pytest.approx(len(TARGETS) * USUAL)
    assert told.bodies == {target: one.ask("GET", target).body for target in TARGETS}


def test_what_each_fault_makes_of_a_round() -> None:
    one = asker("quad", "modern", own_world=True)
    line, controller = Line(one.service), f"{one.sled.name}/controller"
    line.ask(TARGETS, NOW)

    one.world.inject("controller-slow", controller, seconds=4.0)
    told = line.ask(TARGETS, NOW, deadline=30.0)
    assert told.met is Met.OK
    assert told.seconds == pytest.approx(3 * (4.0 + USUAL))
    told = line.ask(TARGETS, NOW, deadline=10.0)
    assert (told.met, told.seconds, list(told.bodies)) == (Met.PARTIAL, 10.0, list(TARGETS[:2]))
    told = line.ask(TARGETS, NOW, deadline=3.0)
    assert (told.met, told.bodies) == (Met.TIMED_OUT, {})
    one.world.clear("controller-slow", controller)

    one.world.inject("clock-off", controller, offset=-600.0)
    told = line.ask(TARGETS, NOW)
    assert (told.met, told.clock) == (Met.OK, -600.0)
    one.world.clear("clock-off", controller)

    one.world.inject("controller-hung", controller)
    told = line.ask(TARGETS, NOW, deadline=25.0)
    assert (told.met, told.seconds, told.bodies) == (Met.TIMED_OUT, 25.0, {})
    one.world.clear("controller-hung", controller)

    mgmt = one.world.site.network.neighbours(one.sled.name)[controller].system
    one.world.inject("management-switch-lost", f"~{mgmt}")
    told = line.ask(TARGETS, NOW)
    assert (told.met, told.seconds, told.error) == (Met.UNREACHABLE, NO_ROUTE, "no route to host")
    one.world.clear("management-switch-lost", f"~{mgmt}")
    assert line.ask(TARGETS, NOW).met is Met.OK

    one.world.inject("controller-rebooting", controller, seconds=60.0)
    told = line.ask(TARGETS, NOW)
    assert (told.met, told.error) == (Met.UNREACHABLE, "connection refused")
    one.world.advance(61.0)
    assert line.ask(TARGETS, NOW + 61.0).met is Met.UNAVAILABLE
    assert line.ask(TARGETS, NOW + 61.0 + WARM_UP).met is Met.OK


@pytest.mark.parametrize(
    ("fault", "error", "waited"),
    [
        ("controller-hung", httpx.ReadTimeout, 20.0),
        ("controller-rebooting", httpx.ConnectError, 0.0),
        ("cut off", httpx.ConnectError, NO_ROUTE),
    ],
)
async def test_over_http_silence_is_counted_not_waited(fault: str, error: type[Exception], waited: float) -> None:
    one, hurry = asker("quad", "modern", own_world=True), Hurry()
    if fault == "cut off":
        mgmt = one.world.site.network.neighbours(one.sled.name)[f"{one.sled.name}/controller"].system
        one.world.inject("management-switch-lost", f"~{mgmt}")
    else:
        one.world.inject(fault, f"{one.sled.name}/controller")
    transport = InProcess(one.service, lambda: NOW, hurry)
    async with httpx.AsyncClient(
        transport=transport, base_url="https://192.0.2.7", auth=(USER, PASSWORD), timeout=20.0
    ) as client:
        with pytest.raises(error):
            await client.get("/redfish/v1/")
    assert hurry.waited == waited


async def test_over_http_a_slow_answer_comes_and_its_time_is_counted() -> None:
    one, hurry = asker("quad", "modern", own_world=True), Hurry()
    one.world.inject("controller-slow", f"{one.sled.name}/controller", seconds=2.0)
    transport = InProcess(one.service, lambda: NOW + hurry.waited, hurry)
    async with httpx.AsyncClient(
        transport=transport, base_url="https://192.0.2.7", auth=(USER, PASSWORD), timeout=20.0
    ) as client:
        assert (await client.get("/redfish/v1/")).status_code == 200
        assert (await client.get("/redfish/v1/Chassis")).status_code == 200
    assert hurry.waited == pytest.approx(4.0)
