"""A controller whose clock goes wrong while it is read: told in the next round, once, and again after a walk."""

from __future__ import annotations

import pytest
from pydantic import SecretStr

from collector.model import DefectKind, Location, Outcome
from collector.poll.interpret import interpret
from collector.poll.rounds import Rounds
from collector.redfish.client import Client
from collector.redfish.walk import walk
from collector.settings import ControllerSettings, Credential
from simulators.service.inprocess import InProcess
from tests.poll.doubles import QuickClock
from tests.simulators.service_kit import NOW, PASSWORD, USER, asker


@pytest.mark.parametrize("dialect", ["classic", "modern"])
@pytest.mark.parametrize("offset", [-3600.0, 31_536_000.0])
async def test_a_clock_that_goes_wrong_is_told_in_the_next_round(dialect: str, offset: float) -> None:
    """The classic dialect has no ETags, no events and no Sensors: all that tells its time is its manager's DateTime."""
    one = asker(dialect=dialect, own_world=True)
    clock = QuickClock(NOW)
    settings = ControllerSettings(
        name="bmc", url="https://192.0.2.7", credential=Credential(username=USER, password=SecretStr(PASSWORD))
    )
    async with Client(settings, transport=InProcess(one.service, clock.now)) as client:
        first = interpret(await walk(client, clock=clock.now), Location())
        assert first.inventory.clock_offset == pytest.approx(0.0, abs=1.0)
        rounds = Rounds(client, first, clock)
        assert not [one for one in (await rounds.run(60.0)).round.defects if one.kind is DefectKind.BAD_TIME]

        one.world.inject("clock-off", f"{one.sled.name}/controller", offset=offset)
        told = []
        for _ in range(3):
            clock.time += 30.0
            done = (await rounds.run(60.0)).round
            assert done.outcome is Outcome.OK, "its readings are as good as before"
            assert done.clock_offset == pytest.approx(offset, abs=1.0)
            told += [one for one in done.defects if one.property == "/DateTime"]
        assert [one.kind for one in told] == [DefectKind.BAD_TIME], "once a walk"

        again = interpret(await walk(client, clock=clock.now), Location())
        assert [one.kind for one in again.inventory.defects if one.property == "/DateTime"] == [DefectKind.BAD_TIME]
        one.world.clear("clock-off", f"{one.sled.name}/controller")
        done = (await Rounds(client, again, clock).run(60.0)).round
        assert done.clock_offset == pytest.approx(0.0, abs=1.0)
