"""Lamps and power on a simulated sled: what is done, what is refused, and the sentence that the person reads."""

from __future__ import annotations

from pathlib import Path

import pytest
from msgspec import structs

from collector.assess import asking, deeds
from collector.cli.errands import INTERRUPTED
from collector.model import Kind, LampState, PowerWish, RequestState, Verb
from collector.redfish.flow import Ask
from simulators.service.manners import Manner
from simulators.service.wire import Wire
from tests.cli.acted import WHO, acting


@pytest.mark.parametrize("dialect", ["modern", "classic", "push", "server", "both"])
async def test_a_lamp_is_switched_read_back_kept_and_told(tmp_path: Path, dialect: str) -> None:
    async with acting(tmp_path, dialect) as site:
        blade = site.part(Kind.BLADE)
        done = await site.done(site.ask(site.locate(blade)))
        assert done.state is RequestState.DONE, done.result
        assert "says so" in done.result
        assert "goes off after 15 minutes" in done.result
        assert (done.who, done.why, done.done_at) == (WHO, "to find it", site.pace.time)
        assert site.lamp("blade1") is True
        assert [(lit.part, lit.who, lit.until) for lit in site.lit()] == [(blade.id, WHO, site.pace.time + 900.0)]
        assert site.keeper.looks == 1, "the lamp shows with the next round"
        (event,) = [event for update in site.told if update.assessment for event in update.assessment.events]
        assert (event.part, event.subject) == (blade.id, "locate")
        assert WHO in event.text
        off = await site.done(site.ask(site.locate(blade, on=False)))
        assert off.state is RequestState.DONE
        assert site.lamp("blade1") is False
        assert site.lit() == []


async def test_a_lamp_that_was_as_wanted_is_left_alone(tmp_path: Path) -> None:
    async with acting(tmp_path) as site:
        blade = site.part(Kind.BLADE, 2)
        done = await site.done(site.ask(site.locate(blade, on=False)))
        assert (done.state, done.result.endswith("was off already")) == (RequestState.DONE, True)


async def test_a_lamp_goes_off_by_itself_also_after_a_restart(tmp_path: Path) -> None:
    async with acting(tmp_path) as site:
        await site.done(site.ask(site.locate(site.part(Kind.BLADE), minutes=5.0)))
        site.pace.pass_by(299.0)
        await site.errands.once()
        await site.errands.finish()
        assert site.lamp("blade1") is True
        world, time = site.source.world, site.pace.time
    async with acting(tmp_path, world=world, time=time + 2.0, walked=False) as again:
        await again.errands.once()  # asks for it
        await again.errands.once()
        await again.errands.finish()
        assert again.lamp("blade1") is False
        assert again.lit() == []
        newest = again.reader.asked.requests()[0]
        assert (newest.who, newest.state) == ("sledkeeper", RequestState.DONE)
        assert WHO in newest.why


async def test_a_lamp_is_lit_no_longer_than_the_fleet_file_allows(tmp_path: Path) -> None:
    async with acting(tmp_path, actions={"locate_minutes": 10}) as site:
        await site.done(site.ask(site.locate(site.part(Kind.BLADE), minutes=600.0)))
        assert [lit.until - lit.since for lit in site.lit()] == [600.0]


async def test_who_may_only_read_is_refused_with_what_to_do(tmp_path: Path) -> None:
    async with acting(tmp_path, role="ReadOnly") as site:
        refused = await site.done(site.ask(site.locate(site.part(Kind.BLADE))))
        assert refused.state is RequestState.REFUSED
        assert "account" in refused.result
        assert "action_credentials" in refused.result
        assert site.lit() == [], "what was not lit needs no switching off"


async def test_other_credentials_for_actions_and_their_session_is_gone_afterwards(tmp_path: Path) -> None:
    async with acting(tmp_path, role="ReadOnly", action_role="Operator") as site:
        done = await site.done(site.ask(site.locate(site.part(Kind.BLADE))))
        assert done.state is RequestState.DONE, done.result
        assert len(site.service.login.sessions) == 1, "the one that it is read with"


async def test_a_lamp_that_does_not_follow_is_half_done(tmp_path: Path) -> None:
    async with acting(tmp_path) as site:
        site.source.deaf = True
        half = await site.done(site.ask(site.locate(site.part(Kind.BLADE))))
        assert half.state is RequestState.HALF_DONE
        assert "look at the front" in half.result
        assert len(site.lit()) == 1, "it may be lit all the same, so it is switched off in time"


async def test_what_has_no_lamp_leads_to_the_lamp_of_what_holds_it(tmp_path: Path) -> None:
    async with acting(tmp_path) as site:
        memory = site.part(Kind.MEMORY)
        request = site.locate(memory)
        assert request.target == site.part(Kind.BLADE).id
        direct = structs.replace(request, target=memory.id)
        refused = await site.done(site.ask(direct))
        assert refused.state is RequestState.REFUSED
        assert "no locate lamp" in refused.result


async def test_asked_twice_is_done_once(tmp_path: Path) -> None:
    async with acting(tmp_path) as site:
        request = site.locate(site.part(Kind.BLADE))
        first, second = site.ask(request), site.ask(structs.replace(request, who="Ivo Maan"))
        assert first == second
        await site.done(first)
        assert site.ask(request) != first, "what is done can be asked for again"


async def test_an_unreachable_controller_and_one_that_falls_silent(tmp_path: Path) -> None:
    async with acting(tmp_path) as site:
        site.service.wire = Wire(kind="refuse")
        refused = await site.done(site.ask(site.locate(site.part(Kind.BLADE))))
        assert refused.state is RequestState.REFUSED
        assert refused.result.startswith("nothing was changed")
        site.service.wire = Wire()
        exchange = site.keeper.client.exchange

        async def lost(ask: Ask, *, timeout: float | None = None):  # type: ignore[no-untyped-def]
            if ask.method == "PATCH":
                site.service.wire = Wire(kind="refuse")
            return await exchange(ask, timeout=timeout)

        site.keeper.client.exchange = lost  # type: ignore[method-assign]
        late = await site.done(site.ask(site.locate(site.part(Kind.BLADE))))
        assert late.state is RequestState.TIMED_OUT
        assert "what came of it is not known" in late.result
        assert len(site.lit()) == 1


async def test_what_comes_too_late_is_not_done(tmp_path: Path) -> None:
    async with acting(tmp_path) as site:
        number = site.ask(site.locate(site.part(Kind.BLADE)))
        site.pace.pass_by(121.0)
        assert (await site.done(number)).state is RequestState.EXPIRED
        assert site.lamp("blade1") is False


async def test_what_an_earlier_run_was_at_is_told_and_not_done_again(tmp_path: Path) -> None:
    async with acting(tmp_path) as site:
        number = site.ask(site.locate(site.part(Kind.BLADE)))
        request = site.reader.asked.request(number)
        assert request is not None
        await site.errands._writer.settle([structs.replace(request, state=RequestState.TAKEN_UP)])
    async with acting(tmp_path) as again:
        told = await again.done(number)
        assert (told.state, told.result) == (RequestState.HALF_DONE, INTERRUPTED)
        assert again.lamp("blade1") is False


async def test_what_the_fleet_file_does_not_allow(tmp_path: Path) -> None:
    async with acting(tmp_path, "server", actions={"locate": False}) as site:
        refused = await site.done(site.ask(site.locate(site.part(Kind.BLADE))))
        assert (refused.state, "[actions] locate" in refused.result) == (RequestState.REFUSED, True)
        host = site.part(Kind.HOST)
        refused = await site.done(site.ask(site.power(host, PowerWish.FORCE_OFF, "Blade 1")))
        assert (refused.state, "[actions] power" in refused.result) == (RequestState.REFUSED, True)
        assert site.host(1) == "On"


def test_words() -> None:
    assert Verb("locate") is Verb.LOCATE
    assert LampState("blink") is LampState.BLINK


POWER = {"power": True}


async def test_power_is_switched_and_seen_to_be(tmp_path: Path) -> None:
    async with acting(tmp_path, "server", actions=POWER) as site:
        blade = site.part(Kind.BLADE, 2)
        done = await site.done(site.ask(site.power(blade, PowerWish.FORCE_OFF, " blade  2 ")))
        assert (done.state, site.host(2), site.host(1)) == (RequestState.DONE, "Off", "On"), done.result
        assert "told Off after ForceOff" in done.result
        again = await site.done(site.ask(site.power(blade, PowerWish.FORCE_OFF, "BLADE 2")))
        assert (again.state, again.result.endswith("was off already")) == (RequestState.DONE, True)
        done = await site.done(site.ask(site.power(blade, PowerWish.ON, "BLADE 2")))
        assert (done.state, site.host(2)) == (RequestState.DONE, "On"), done.result
        done = await site.done(site.ask(site.power(site.part(Kind.HOST, 2), PowerWish.FORCE_RESTART, "BLADE 2")))
        assert (done.state, site.host(2)) == (RequestState.DONE, "On"), done.result
        assert "told On after ForceRestart" in done.result


async def test_a_host_that_does_not_follow_times_out(tmp_path: Path) -> None:
    async with acting(tmp_path, "server", actions=POWER) as site:
        site.source.deaf = True
        late = await site.done(site.ask(site.power(site.part(Kind.BLADE), PowerWish.FORCE_OFF, "BLADE 1")))
        assert late.state is RequestState.TIMED_OUT
        assert "after 180 s" in late.result
        assert site.pace.time - late.asked_at >= 180.0


async def test_a_warm_restart_shows_in_no_power_state(tmp_path: Path) -> None:
    async with acting(tmp_path, "server", actions=POWER) as site:
        site.source.deaf = True
        done = await site.done(site.ask(site.power(site.part(Kind.BLADE), PowerWish.FORCE_RESTART, "BLADE 1")))
        assert (done.state, "throughout" in done.result) == (RequestState.DONE, True)


async def test_what_the_host_does_not_allow_is_refused_with_what_it_does(tmp_path: Path) -> None:
    async with acting(tmp_path, "server", actions=POWER) as site:
        refused = await site.done(site.ask(site.power(site.part(Kind.BLADE), PowerWish.SHUT_DOWN, "BLADE 1")))
        assert refused.state is RequestState.REFUSED
        assert "it allows: on, force off, force restart" in refused.result
        assert site.host(1) == "On", "what was to end in order is not forced"


async def test_a_blade_swapped_meanwhile_is_left_alone(tmp_path: Path) -> None:
    async with acting(tmp_path, "server", actions=POWER) as site:
        request = site.power(site.part(Kind.BLADE), PowerWish.FORCE_OFF, "BLADE 1")
        site.source.world.inject("part-swapped", f"{site.sled.name}/blade1")
        refused = await site.done(site.ask(request))
        assert refused.state is RequestState.REFUSED
        assert "was swapped since it was asked for" in refused.result
        await site.walk()  # also where the collector knows of it already
        refused = await site.done(site.ask(request))
        assert "was swapped since it was asked for" in refused.result
        assert site.host(1) == "On"


async def test_the_label_and_the_hosts_must_be_those_of_the_asking(tmp_path: Path) -> None:
    async with acting(tmp_path, "server", actions=POWER) as site:
        request = site.power(site.part(Kind.BLADE), PowerWish.FORCE_OFF, "BLADE 1")
        for changed, said in (({"confirm": "BLADE 2"}, "label"), ({"hosts": ""}, "what goes down")):
            wrong = structs.replace(request, arguments={**request.arguments, **changed})
            refused = await site.done(site.ask(wrong))
            assert (refused.state, said in refused.result) == (RequestState.REFUSED, True)
        with pytest.raises(asking.CantAsk, match="type the label to make sure: BLADE 1"):
            site.power(site.part(Kind.BLADE), PowerWish.FORCE_OFF, "BLADE 2")
        with pytest.raises(asking.CantAsk, match="no host, blade or sled"):
            site.power(site.part(Kind.FAN), PowerWish.FORCE_OFF, "FAN 1")


async def test_one_controller_may_be_otherwise_than_the_fleet(tmp_path: Path) -> None:
    async with acting(tmp_path, "server", actions=POWER, power=False) as site:
        refused = await site.done(site.ask(site.power(site.part(Kind.BLADE), PowerWish.FORCE_OFF, "BLADE 1")))
        assert (refused.state, site.host(1)) == (RequestState.REFUSED, "On")


async def test_who_may_only_read_switches_no_power(tmp_path: Path) -> None:
    async with acting(tmp_path, "server", actions=POWER, role="ReadOnly") as site:
        refused = await site.done(site.ask(site.power(site.part(Kind.BLADE), PowerWish.FORCE_OFF, "BLADE 1")))
        assert (refused.state, "account" in refused.result) == (RequestState.REFUSED, True)


async def test_a_host_is_asked_to_end_in_order(tmp_path: Path) -> None:
    async with acting(tmp_path, "modern", actions=POWER) as site:
        done = await site.done(site.ask(site.power(site.part(Kind.BLADE), PowerWish.SHUT_DOWN, "BLADE 1")))
        assert (done.state, site.host(1)) == (RequestState.DONE, "Off"), done.result
        assert "GracefulShutdown" in done.result
        done = await site.done(site.ask(site.power(site.part(Kind.BLADE, 2), PowerWish.CYCLE, "BLADE 2")))
        assert (done.state, "PowerCycle" in done.result, site.host(2)) == (RequestState.DONE, True, "On")


async def test_a_sled_takes_all_its_hosts_down_and_names_each(tmp_path: Path) -> None:
    async with acting(tmp_path, "modern", actions=POWER) as site:
        sled = site.part(Kind.SLED)
        named = deeds.affected(site.watch.tree, site.watch.tree.at[sled.id])
        assert len(named) == len(site.sled.blades) > 1
        label = deeds.label(site.watch.tree, site.watch.tree.at[sled.id])
        done = await site.done(site.ask(site.power(sled, PowerWish.FORCE_OFF, label)))
        assert done.state is RequestState.DONE, done.result
        assert {site.host(blade.number) for blade in site.sled.blades} == {"Off"}


async def test_half_of_a_sled_is_half_done_and_says_which(tmp_path: Path) -> None:
    async with acting(tmp_path, "modern", actions=POWER) as site:
        site.service.manner = Manner.HALF
        sled = site.part(Kind.SLED)
        label = deeds.label(site.watch.tree, site.watch.tree.at[sled.id])
        half = await site.done(site.ask(site.power(sled, PowerWish.FORCE_OFF, label)))
        assert half.state is RequestState.HALF_DONE
        before, after = half.result.split(" did not tell Off; ")
        assert "BLADE 4" in before
        assert "BLADE 1" in after


async def test_a_reset_that_is_a_task_is_followed_and_its_words_come_from_its_action_info(tmp_path: Path) -> None:
    async with acting(tmp_path, "push", actions=POWER) as site:
        asked: list[str] = []
        exchange = site.keeper.client.exchange

        async def listened(ask: Ask, *, timeout: float | None = None):  # type: ignore[no-untyped-def]
            asked.append(ask.path)
            return await exchange(ask, timeout=timeout)

        site.keeper.client.exchange = listened  # type: ignore[method-assign]
        done = await site.done(site.ask(site.power(site.part(Kind.BLADE), PowerWish.FORCE_OFF, "BLADE 1")))
        assert (done.state, site.host(1)) == (RequestState.DONE, "Off"), done.result
        assert any(path.endswith("/ResetActionInfo") for path in asked)
        assert sum(path.startswith("/redfish/v1/TaskMonitors/") for path in asked) > 2


async def test_a_task_that_never_ends_times_out(tmp_path: Path) -> None:
    async with acting(tmp_path, "push", actions=POWER | {"power_seconds": 10}) as site:
        site.service.manner = Manner.LATE
        late = await site.done(site.ask(site.power(site.part(Kind.BLADE), PowerWish.FORCE_OFF, "BLADE 1")))
        assert late.state is RequestState.TIMED_OUT, late.result


async def test_a_busy_controller_is_told_as_busy(tmp_path: Path) -> None:
    async with acting(tmp_path, "modern", actions=POWER) as site:
        site.service.manner = Manner.REFUSED
        for request in (
            site.locate(site.part(Kind.BLADE)),
            site.power(site.part(Kind.BLADE), PowerWish.FORCE_OFF, "BLADE 1"),
        ):
            refused = await site.done(site.ask(request))
            assert (refused.state, "busy" in refused.result) == (RequestState.REFUSED, True)


async def test_what_is_ignored_shows(tmp_path: Path) -> None:
    async with acting(tmp_path, "modern", actions=POWER | {"power_seconds": 10}) as site:
        site.service.manner = Manner.IGNORED
        half = await site.done(site.ask(site.locate(site.part(Kind.BLADE))))
        late = await site.done(site.ask(site.power(site.part(Kind.BLADE), PowerWish.FORCE_OFF, "BLADE 1")))
        assert (half.state, late.state) == (RequestState.HALF_DONE, RequestState.TIMED_OUT)


async def test_the_button_is_pushed_only_where_there_is_nothing_else(tmp_path: Path) -> None:
    async with acting(tmp_path / "reports", "reports", actions=POWER) as site:
        done = await site.done(site.ask(site.power(site.part(Kind.BLADE), PowerWish.SHUT_DOWN, "BLADE 1")))
        assert (done.state, "PushPowerButton" in done.result, site.host(1)) == (RequestState.DONE, True, "Off")
        refused = await site.done(site.ask(site.power(site.part(Kind.BLADE), PowerWish.FORCE_OFF, "BLADE 1")))
        assert refused.state is RequestState.DONE, "it was off already, so nothing is pushed"
    async with acting(tmp_path / "classic", "classic", actions=POWER) as site:
        done = await site.done(site.ask(site.power(site.part(Kind.BLADE), PowerWish.SHUT_DOWN, "BLADE 1")))
        assert "GracefulShutdown" in done.result


async def test_a_controller_that_offers_no_reset(tmp_path: Path) -> None:
    async with acting(tmp_path, "plain", actions=POWER) as site:
        refused = await site.done(site.ask(site.power(site.part(Kind.BLADE), PowerWish.FORCE_OFF, "BLADE 1")))
        assert (refused.state, "offers no way" in refused.result) == (RequestState.REFUSED, True)
