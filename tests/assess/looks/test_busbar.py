"""The busbar look on invented racks: Ohm's law from the shelf to the sleds. Common practice, no source."""

from __future__ import annotations

from array import array

from msgspec import structs

from collector.assess.looking import Seen
from collector.assess.looks.busbar import Bars, BusbarLook
from collector.model import Frame, Inventory, Kind, Layout, Location, Outcome, Part, Quantity, Sensor, Sign

OHM = 0.008
"""Of every sound joint here."""
SHELF = 50.5


def _inventory(name: str, enclosure: str | None, *, shelf: bool = False) -> Inventory:
    place = Location(site="Quellmark", row="A", rack="R1", enclosure=enclosure)
    kinds = (Kind.ENCLOSURE, Kind.OUTLET) if shelf else (Kind.SLED,)
    parts = tuple(
        Part(id=f"{name}:{at}", controller=name, uri=f"/{at}", kind=kind, name=f"{name} {at}", location=place)
        for at, kind in enumerate(kinds)
    )
    sensors = tuple(
        Sensor(
            sensor=label,
            controller=name,
            part=parts[0].id,
            kind=parts[0].kind,
            quantity=quantity,
            unit=quantity.unit if hasattr(quantity, "unit") else "",
            source=f"/{label}",
            context="DCBus",
        )
        for label, quantity in (("Busbar voltage", Quantity.VOLTAGE), ("Input power", Quantity.POWER))
    )
    return Inventory(
        controller=name,
        time=0.0,
        parts=parts,
        links=(),
        layout=Layout(name, sensors),
        statuses={},
        frame=Frame(time=0.0, values=array("d", [SHELF, 0.0]), healths=bytes(2)),
    )


class Rack:
    """A shelf, and two enclosures of two sleds each."""

    def __init__(self) -> None:
        self.bars, self.now = Bars(), 0.0
        self.ohm = {"E1": OHM, "E2": OHM}
        self.lies = dict.fromkeys(("e1s1", "e1s2", "e2s1", "e2s2", "shelf"), 0.0)
        self.amperes = {"e1s1": 18.0, "e1s2": 22.0, "e2s1": 16.0, "e2s2": 20.0}
        self.looks = {name: BusbarLook(name, self.bars) for name in self.lies}
        for name, look in self.looks.items():
            enclosure = None if name == "shelf" else f"E{name[1]}"
            look.inventory(_inventory(name, enclosure, shelf=name == "shelf"), 0.0)

    def rounds(self, count: int = 8) -> set[str]:
        """Some rounds; who shows a low voltage then."""
        for number in range(count):
            for name, look in self.looks.items():
                self.now += 6.0
                values = [SHELF + self.lies["shelf"], 0.0]
                if name != "shelf":
                    joint = f"E{name[1]}"
                    swing = 1.0 + 0.2 * (number % 3 - 1)
                    through = swing * sum(a for sled, a in self.amperes.items() if sled[1] == name[1])
                    volts = SHELF - self.ohm[joint] * through
                    values = [volts + self.lies[name], volts * swing * self.amperes[name]]
                look.round(
                    Seen(
                        time=self.now,
                        frame=Frame(time=self.now, values=array("d", values), healths=bytes(2)),
                        statuses={},
                        idle=frozenset(),
                        outcome=Outcome.OK,
                    )
                )
        return {name for name, look in self.looks.items() if look.present}

    def weight(self, name: str) -> float:
        (only,) = self.looks[name].present.values()
        assert only.sign is Sign.LOW_VOLTAGE
        return only.weight


def test_sound_joints_show_nothing_at_any_load() -> None:
    rack = Rack()
    assert rack.rounds(20) == set()
    rack.amperes = {name: 1.6 * amperes for name, amperes in rack.amperes.items()}
    assert rack.rounds(20) == set()
    assert rack.looks["e1s1"].visible == {"e1s1:0": frozenset({Sign.LOW_VOLTAGE})}
    assert rack.looks["shelf"].visible == {}


def test_a_bad_joint_shows_at_all_sleds_behind_it_and_at_no_other() -> None:
    rack = Rack()
    rack.rounds(20)
    rack.ohm["E1"] = OHM + 0.03
    assert rack.rounds() == {"e1s1", "e1s2"}
    assert rack.weight("e1s1") > 0.8
    rack.ohm["E1"] = OHM
    assert rack.rounds() == set()


def test_a_meter_of_the_shelf_that_drifts_is_no_joint() -> None:
    rack = Rack()
    rack.rounds(20)
    rack.lies["shelf"] = 3.0
    assert rack.rounds() == set()


def test_a_meter_of_one_sled_that_drifts_is_doubted() -> None:
    rack = Rack()
    rack.rounds(20)
    rack.lies["e1s1"] = -1.5
    assert rack.rounds() == {"e1s1"}
    assert rack.weight("e1s1") < 0.5


def test_rubbish_is_borne() -> None:
    rack = Rack()
    rack.rounds(20)
    for lie in (float("nan"), float("inf"), -1e308, 1e308):
        rack.lies["e1s1"] = rack.lies["shelf"] = lie
        rack.rounds(2)
    look = rack.looks["e1s1"]
    look.inventory(structs.replace(_inventory("e1s1", "E1"), parts=()), 0.0)
    assert rack.rounds(1) is not None
