"""What the invented site is said to hold is what its controllers tell, whatever their dialect."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import pytest

from collector.assess.fit import misfits
from collector.assess.tree import Tree
from collector.cli.drilling.stage import Stage
from collector.model import Misfitting
from collector.settings.designs import DesignSettings
from collector.settings.places import PlaceSettings
from simulators.serve import with_dialect
from simulators.service.dialects import DIALECTS
from simulators.service.siteplan import ground
from simulators.site import Site, demo_site, scaled_site
from simulators.world import World


def one_sled_a_design() -> Site:
    """The demo's last rack, with the first sled of each of its enclosures: one of every design, and a shelf."""
    site = demo_site()
    (row,) = site.rows[-1:]
    rack = row.racks[-1]
    few = replace(rack, enclosures=tuple(replace(each, sleds=each.sleds[:1]) for each in rack.enclosures))
    return replace(site, rows=(replace(row, racks=(few,)),))


async def told(site: Site, *faults: tuple[str, str]) -> list[tuple[str, Misfitting]]:
    """Which sleds differ from the designs of the fleet file, and how."""
    plan = tomllib.loads("\n".join(ground(site)))
    designs = [DesignSettings.model_validate(each).design for each in plan["designs"]]
    stage = Stage(World(site, seed=1), 30.0)
    for name, part in faults:
        stage.world.inject(name, part)
    try:
        await stage.round()
        walked = stage.inventories()
        assert len(walked) == len(site.equipment)
        found = [each for one in walked.values() for each in misfits(Tree(one.parts, one.links), one.statuses, designs)]
        return [(each.controller, each.how) for each in found]
    finally:
        await stage.close()


@pytest.mark.parametrize("dialect", ["modern", "classic"])
async def test_a_healthy_sled_has_no_misfit(dialect: str) -> None:
    assert await told(with_dialect(one_sled_a_design(), dialect)) == []


@pytest.mark.slow
@pytest.mark.parametrize("dialect", sorted(DIALECTS.keys() - {"modern", "classic", "odd"}))
async def test_a_healthy_sled_has_no_misfit_in_any_dialect(dialect: str) -> None:
    """But ``odd``: a service that lists no memory is told to have none."""
    assert await told(with_dialect(one_sled_a_design(), dialect)) == []


async def test_a_wrong_board_is_told_of_its_sled_alone() -> None:
    site = one_sled_a_design()
    one, other = site.sleds[:2]
    found = await told(site, ("wrong-board", f"{one.name}/blade1"))
    assert (one.name, Misfitting.WRONG) in found
    assert other.name not in {name for name, _ in found}


def test_places_are_settings_and_the_narrowest_says_all() -> None:
    site = demo_site()
    places = [PlaceSettings.model_validate(each) for each in tomllib.loads("\n".join(ground(site)))["places"]]
    assert {(each.altitude, each.air_class) for each in places} == {(site.altitude, "A2")}
    racks = {each.rack: each for each in places if each.rack is not None}
    assert racks.keys() == {rack.label for rack in site.racks}
    for rack in site.racks:
        feeds = racks[rack.label].feeds
        assert [feed.name for feed in feeds] == ["A", "B"]
        # either feed carries the rack alone
        assert min(feed.rating for feed in feeds) >= sum(each.feed_capacity for each in rack.enclosures)
    large = tomllib.loads("\n".join(ground(scaled_site(200))))
    assert len(large["places"]) == 1, "no rack of it has a shelf with feeds of its own"
