"""Figures that follow from readings: air, fan effort, room, sums, busbars, phases, what was drawn."""

from __future__ import annotations

import math
import random
from array import array
from collections.abc import Sequence

import numpy as np
import pytest
from msgspec import structs

from collector.assess.looking import Seen
from collector.assess.margins.airing import Air, Airing, air_of, effort_words
from collector.assess.margins.drawn import Drawing, RackDrawing
from collector.assess.margins.electrics import Electrics, bus_of, phases_of, sum_words
from collector.assess.margins.heat import CFM, coolant_power
from collector.assess.margins.places import Place
from collector.assess.margins.power import Sums, sums
from collector.assess.margins.racks import RackPower, Racks
from collector.assess.margins.rooms import FRESH, Rooms
from collector.assess.margins.spell import HALF, Spell
from collector.assess.margins.steady import Calm, Teller
from collector.model import (
    Figure,
    FigureKind,
    Frame,
    Inventory,
    Kind,
    Layout,
    Location,
    Outcome,
    Part,
    Quantity,
    Sensor,
)
from tests.assess.margins.rig import RHO_CP, Rig

RACK = Location(site="Q", row="A", rack="R01")


def air(power: float, inlet: float, outlet: float, altitude: float = 0.0, humidity: float | None = None) -> Air:
    found = air_of(power, inlet, outlet, altitude, humidity)
    assert found is not None
    return found


class Told:
    """An invented controller: sensors in a line, and rounds of values."""

    def __init__(self, name: str = "c1", location: Location = RACK) -> None:
        self.name, self.location = name, location
        self.parts: list[Part] = []
        self.sensors: list[Sensor] = []
        self.time = 1000.0

    def part(self, name: str, kind: Kind, parent: str | None = None) -> str:
        id_ = f"{self.name}:/{name}"
        self.parts.append(
            Part(
                id=id_,
                controller=self.name,
                uri=f"/{name}",
                kind=kind,
                name=name,
                parent=parent,
                location=self.location,
            )
        )
        return id_

    def sensor(self, part: str, name: str, quantity: Quantity, context: str | None = None, unit: str = "") -> None:
        kind = next(each.kind for each in self.parts if each.id == part)
        self.sensors.append(
            Sensor(
                sensor=name,
                controller=self.name,
                part=part,
                kind=kind,
                quantity=quantity,
                unit=unit,
                source=f"{part}/{name}",
                context=context,
            )
        )

    def walk(self, values: Sequence[float]) -> Inventory:
        return Inventory(
            controller=self.name,
            time=self.time,
            parts=tuple(self.parts),
            links=(),
            layout=Layout(self.name, tuple(self.sensors)),
            statuses={},
            frame=Frame(self.time, array("d", values), bytes(len(values))),
        )

    def seen(self, values: Sequence[float], idle: frozenset[str] = frozenset()) -> Seen:
        self.time += 60.0
        frame = Frame(self.time, array("d", values), bytes(len(values)))
        return Seen(time=self.time, frame=frame, statuses={}, idle=idle, outcome=Outcome.OK)


def sled(name: str = "c1", *, liquid: bool = False) -> Told:
    """A sled: inlet, exhaust, input power, one fan's speed; liquid: supply, return, flow as well."""
    told = Told(name)
    whole = told.part("Sled", Kind.SLED)
    told.sensor(whole, "inlet", Quantity.TEMPERATURE, "Intake")
    told.sensor(whole, "exhaust", Quantity.TEMPERATURE, "Exhaust")
    told.sensor(whole, "input power", Quantity.POWER)
    told.sensor(told.part("Fan", Kind.FAN, whole), "speed", Quantity.SPEED_RATIO)
    if liquid:
        told.sensor(whole, "supply", Quantity.TEMPERATURE, "LiquidInlet")
        told.sensor(whole, "return", Quantity.TEMPERATURE, "LiquidOutlet")
        told.sensor(whole, "coolant", Quantity.LIQUID_FLOW)
    return told


def last(found: Sequence[Figure]) -> dict[FigureKind, Figure]:
    return {figure.kind: figure for figure in found}


# --- air ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("altitude", "wanted"), [(0, 87.5), (1000, 98.7), (2000, 111.6), (3000, 126.5)])
def test_air_for_heat_by_altitude(altitude: float, wanted: float) -> None:
    """500 W, 10 K, 20 Cel at standard pressure: check-values section 2, 0.5 %."""
    found = air(500.0, 20.0, 30.0, altitude)
    assert found.flow / CFM == pytest.approx(wanted, rel=5e-3)
    assert found.low < found.flow < found.high
    assert found.per_kilowatt == pytest.approx(2.0 * found.flow)


def test_a_worked_example_of_air() -> None:
    """Fan-engineering note: 800 W, 3 K, 35 Cel, 98066 Pa: 0.2393 m3/s; that pressure is the standard one of 274 m."""
    altitude = (1.0 - (98_066.0 / 101_325.0) ** (1.0 / 5.2559)) / 2.25577e-5
    assert air(800.0, 35.0, 38.0, altitude).flow == pytest.approx(0.2393, rel=2e-3)


def test_humid_air_is_lighter_and_carries_more_a_kilogram() -> None:
    """Both against CoolProp's humid air at 25 Cel, 60 %: density and specific heat a kilogram of the mixture."""
    from CoolProp.HumidAirProp import HAPropsSI  # type: ignore[import-untyped]

    state = ("T", 298.15, "P", 101_325.0, "R", 0.6)
    ratio = HAPropsSI("W", *state)
    rho = (1.0 + ratio) / HAPropsSI("Vda", *state)
    cp = HAPropsSI("Cha", *state)
    assert air(600.0, 25.0, 37.0, 0.0, 0.6).flow == pytest.approx(600.0 / (rho * cp * 12.0), rel=3e-3)


@pytest.mark.parametrize(
    ("power", "inlet", "outlet"),
    [(500.0, 20.0, 21.0), (5.0, 20.0, 30.0), (500.0, 30.0, 20.0), (math.nan, 20.0, 30.0), (500.0, math.nan, 30.0)],
)
def test_no_air_follows_from_readings_that_do_not_carry_it(power: float, inlet: float, outlet: float) -> None:
    assert air_of(power, inlet, outlet) is None


def test_bounds_hold_what_sensors_may_be_off_by() -> None:
    chance = random.Random(5)
    for _ in range(200):
        off = [chance.uniform(-0.5, 0.5) for _ in range(2)]
        found = air(700.0 * chance.uniform(0.98, 1.02), 24.0 + off[0], 36.0 + off[1])
        true = air(700.0, 24.0, 36.0)
        assert 0.99 * found.low <= true.flow <= 1.01 * found.high


def test_a_sled_tells_its_air_once_it_is_steady_and_not_again_for_nothing() -> None:
    told = sled()
    work = Airing("c1", [Place(Location(site="Q"), 240.0, "A2")])
    values = [24.0, 38.0, 1000.0, 50.0]
    work.inventory(told.walk(values), told.time)
    rounds = [work.round(told.seen(values)) for _ in range(8)]
    assert [len(each) for each in rounds[:3]] == [0, 0, 0]
    first = last(rounds[3])
    assert first[FigureKind.AIR_RISE].value == pytest.approx(14.0)
    assert (first[FigureKind.AIR_RISE].low, first[FigureKind.AIR_RISE].high) == (13.0, 15.0)
    assert first[FigureKind.AIR_FLOW].value == pytest.approx(air(1000.0, 24.0, 38.0, 240.0).flow)
    assert "at 240 m" in first[FigureKind.AIR_FLOW].basis
    assert first[FigureKind.AIR_PER_POWER].unit == "m3/s/kW"
    assert not any(rounds[4:]), "nothing moved"
    told.time += 5.0 - 60.0
    assert work.round(told.seen(values)) == (), "between two looks nothing is done"


def test_fans_that_need_more_speed_for_the_same_air_show_it() -> None:
    """Fan laws: air goes with speed; 10 % more speed for the same air is 33 % more power (1.1 cubed)."""
    told, work = sled(), Airing("c1")
    work.inventory(told.walk([24.0, 38.0, 1000.0, 50.0]), told.time)
    found: list[Figure] = []
    for _ in range(30):
        found += work.round(told.seen([24.0, 38.0, 1000.0, 50.0]))
    effort = last(found)[FigureKind.FAN_EFFORT]
    assert effort.value == pytest.approx(1.0, abs=0.01)
    for _ in range(60):
        found += work.round(told.seen([24.0, 38.0, 1000.0, 62.5]))
    worse = last(found)[FigureKind.FAN_EFFORT]
    assert worse.value == pytest.approx(1.25, abs=0.04), "half the way is not learnt away"
    assert "+33 % fan power" in effort_words(1.1)
    assert "resists 21 % more at least" in effort_words(1.1)
    assert "resists" not in effort_words(1.02)


def test_what_coolant_carries_off_is_not_in_the_air() -> None:
    """1 L/min of water and 1 K: 69.4 W (CoolProp, check-values); 10 L/min and 1 K leave 306 W of 1000."""
    told, work = sled(liquid=True), Airing("c1")
    values = [24.0, 30.0, 1000.0, 30.0, 31.0, 32.0, 10.0]
    work.inventory(told.walk(values), told.time)
    found = [figure for _ in range(6) for figure in work.round(told.seen(values))]
    wanted = air(1000.0 - coolant_power(10.0, 1.0), 24.0, 30.0)
    assert last(found)[FigureKind.AIR_FLOW].value == pytest.approx(wanted.flow)
    gone = Airing("c1")
    values[6] = math.nan
    gone.inventory(told.walk(values), told.time)
    assert not [figure for _ in range(6) for figure in gone.round(told.seen(values))], "how much is not known"


def test_blades_of_a_rig_get_the_air_that_they_get() -> None:
    """Truth from the rig's own heat balance."""
    rig = Rig(power=lambda blade, time: 220.0, warmer=[0.0, 0.0, 4.0, 0.0])
    work = Airing(rig.name)
    work.inventory(rig.inventory(), rig.time)
    found: list[Figure] = []
    for _ in range(40):
        rig.step(60.0)
        seen = Seen(time=rig.time, frame=rig.frame(), statuses={}, idle=frozenset(), outcome=Outcome.OK)
        found += work.round(seen)
    blade = last([figure for figure in found if figure.part.endswith("/Blade1")])
    true = 0.024 * rig.turn * RHO_CP / (1.19 * 1006.0)  # the rig's air is of 1.2 kg/m3
    flow = blade[FigureKind.AIR_FLOW]
    assert flow.value == pytest.approx(true, rel=0.05)
    assert flow.low is not None
    assert flow.high is not None
    assert flow.low < true < flow.high
    preheated = last([figure for figure in found if figure.part.endswith("/Blade2")])[FigureKind.PREHEATING]
    assert preheated.value == pytest.approx(4.0, abs=0.6)
    assert "Sled" in preheated.basis
    assert blade[FigureKind.PREHEATING].value == pytest.approx(0.0, abs=0.6)


def test_a_sled_that_draws_in_its_own_exhaust_is_warmer_than_the_room() -> None:
    rooms = Rooms()
    fleet = [(told := sled(f"c{number}"), Airing(told.name, rooms=rooms)) for number in range(5)]
    found: list[Figure] = []
    for told, work in fleet:
        work.inventory(told.walk([24.0, 38.0, 1000.0, 50.0]), told.time)
    for _ in range(8):
        for number, (told, work) in enumerate(fleet):
            inlet = 29.0 if number == 4 else 24.0
            found += work.round(told.seen([inlet, inlet + 15.0, 1000.0, 50.0]))
    told_of = {figure.controller: figure for figure in found if figure.kind is FigureKind.RECIRCULATION}
    assert told_of["c4"].value == pytest.approx(5.0)
    assert "25 % of what it draws in" in told_of["c4"].basis, "5 K of the 20 K between its exhaust and the room"
    assert told_of["c0"].value == pytest.approx(0.0)
    assert "%" not in told_of["c0"].basis


def test_a_room_is_known_from_several_and_not_from_one_that_reads_too_little() -> None:
    rooms = Rooms()
    for number, inlet in enumerate([5.0, 23.0, 23.5]):
        rooms.tell("r", f"c{number}", 0.0, inlet)
        assert (rooms.of("r", 0.0) is None) is (number < 2)
    for number in range(3, 9):
        rooms.tell("r", f"c{number}", 0.0, 24.0)
    room = rooms.of("r", 0.0)
    assert room is not None
    assert room.temperature >= 23.0
    assert rooms.of("r", 2.0 * FRESH) is None
    rooms.gauge("r", 0.0, 21.0)
    room = rooms.of("r", 10.0)
    assert room is not None
    assert (room.temperature, room.basis) == (21.0, "as a sensor of the room tells")


# --- power ----------------------------------------------------------------------------------------------------------


def test_twelve_kilowatts_at_forty_eight_volts_are_250_amperes() -> None:
    """check-values section 3. A shelf counts what it puts on its busbar, never what it takes from the mains."""
    told = Told()
    shelf = told.part("Shelf", Kind.ENCLOSURE)
    told.sensor(shelf, "Shelf input power", Quantity.POWER, "ACInput")
    told.sensor(shelf, "Busbar voltage", Quantity.VOLTAGE, "DCBus")
    told.sensor(shelf, "Busbar current", Quantity.CURRENT, "DCBus")
    for number in (1, 2):
        told.sensor(told.part(f"Bus{number}", Kind.OUTLET, shelf), "output power", Quantity.POWER)
    work = Electrics("c1")
    values = [12_500.0, 48.0, 249.0, 7000.0, 5000.0]
    work.inventory(told.walk(values), told.time)
    (figure,) = work.round(told.seen(values))
    assert (figure.kind, figure.value, figure.unit) == (FigureKind.BUSBAR_CURRENT, 250.0, "A")
    assert figure.basis == "12000 W at 48.00 V; told: 249.0 A"
    assert work.current == 250.0
    assert work.round(told.seen([12_500.0, 0.0, 249.0, 7000.0, 5000.0])) == []
    assert work.current is None


def test_a_sled_without_voltage_of_its_busbar_tells_no_current() -> None:
    told = sled()
    assert bus_of(told.walk([24.0, 38.0, 1000.0, 50.0])) is None


def test_phases_are_told_apart_by_their_names_and_held_against_their_mean() -> None:
    """460, 467 and 450 V: mean 459, the largest departure 9, 1.96 % (the example of NEMA MG 1 12.45, from memory)."""
    told = Told()
    feed = told.part("Feed", Kind.CIRCUIT)
    for phase in ("1", "2", "3"):
        told.sensor(feed, f"line {phase} current", Quantity.CURRENT, unit="A")
    for pair in ("1 to line 2", "2 to line 3", "3 to line 1"):
        told.sensor(feed, f"line {pair} voltage", Quantity.VOLTAGE, unit="V")
    told.sensor(feed, "line input voltage", Quantity.VOLTAGE, unit="V")
    told.sensor(feed, "L1 cache power", Quantity.POWER, unit="W")
    assert [(each.name, len(each.columns)) for each in phases_of(told.sensors)] == [
        ("# current", 3),
        ("# to # voltage", 3),
    ]
    work = Electrics("c1")
    values = [10.0, 12.0, 8.0, 460.0, 467.0, 450.0, 230.0, 5.0]
    work.inventory(told.walk(values), told.time)
    found = {figure.of: figure for figure in work.round(told.seen(values))}
    assert found["# current"].value == pytest.approx(20.0)
    assert found["# to # voltage"].value == pytest.approx(1.96, abs=0.005)
    values[0] = math.nan
    assert work.round(told.seen(values)) == []


def test_sums_say_which_bounds_they_leave() -> None:
    assert "at least" in sum_words("S", _sums(1000.0, [900.0]), "input", "supplies' input")
    assert "meter is off" in sum_words("S", _sums(900.0, [1000.0]), "input", "output")
    assert "more goes out than comes in" in sum_words("S", _sums(900.0, [1000.0]), "input", "output")
    assert "agree" in sum_words("S", _sums(1000.0, [990.0]), "input", "output")


def _sums(feed: float, parts: Sequence[float]) -> Sums:
    found = sums(feed, parts)
    assert found is not None
    return found


def test_a_feed_tells_more_than_what_hangs_on_it_within_bounds() -> None:
    told = Told()
    whole = told.part("Sled", Kind.SLED)
    told.sensor(whole, "input power", Quantity.POWER)
    for number in (1, 2):
        supply = told.part(f"PSU {number}", Kind.POWER_SUPPLY, whole)
        told.sensor(supply, "input power", Quantity.POWER)
    work = Electrics("c1")
    values = [1000.0, 440.0, 460.0]
    work.inventory(told.walk(values), told.time)
    found = [figure for _ in range(5) for figure in work.round(told.seen(values))]
    (figure,) = found
    assert (figure.kind, figure.of, figure.value) == (FigureKind.UNACCOUNTED, "feed", 100.0)
    assert (figure.low, figure.high) == (pytest.approx(61.0), pytest.approx(139.0)), (
        "2 % of either and half a watt each"
    )
    assert "at least 61 W" in figure.basis
    assert work.round(told.seen([math.nan, 440.0, 460.0])) == []


# --- what was drawn -------------------------------------------------------------------------------------------------


def test_energy_of_a_spell_is_that_under_the_line() -> None:
    """check-values section 3: t 0, 10, 25, 40 s, P 100, 200, 200, 0 W: 6000 J."""
    spell = Spell()
    assert spell.drawn is None
    for time, watts in ((0.0, 100.0), (10.0, 200.0), (25.0, 200.0), (40.0, 0.0)):
        spell.add(time, watts)
    spell.add(39.0, 9000.0)
    spell.add(41.0, math.nan)
    drawn = spell.drawn
    assert drawn is not None
    assert (drawn.joules, drawn.seconds) == (6000.0, 40.0)
    assert (drawn.peak, drawn.peak_time) == (200.0, 10.0)


def test_a_spell_forgets_what_is_more_than_a_day_ago_and_is_right_of_the_rest() -> None:
    chance = np.random.default_rng(3)
    spell, every = Spell(), 60.0
    watts = chance.normal(800.0, 60.0, round(3.3 * HALF / every))
    watts[10] = 5000.0
    for number, value in enumerate(watts):
        spell.add(number * every, float(value))
    drawn = spell.drawn
    assert drawn is not None
    end = (len(watts) - 1) * every
    assert HALF <= end - drawn.since <= 2.0 * HALF
    kept = watts[round(drawn.since / every) :]
    assert drawn.peak == pytest.approx(kept.max())
    assert drawn.high == pytest.approx(float(np.percentile(kept, 95.0)), rel=0.012)
    assert drawn.joules == pytest.approx(float(np.trapezoid(kept, dx=every)), rel=1e-3)
    spell.add(end - 3600.0, 10.0)
    again = spell.drawn
    assert again is not None
    assert again.peak == 10.0, "a clock that was put back starts anew"


def test_parts_tell_what_they_drew_after_ten_minutes() -> None:
    told, work = sled(), Drawing("c1")
    values = [24.0, 38.0, 1000.0, 50.0]
    work.inventory(told.walk(values), told.time)
    rounds = [work.round(told.seen(values)) for _ in range(12)]
    assert not any(rounds[:10])
    found = last([figure for each in rounds for figure in each])
    assert found[FigureKind.PEAK_POWER].value == 1000.0
    assert found[FigureKind.HIGH_POWER].value == pytest.approx(1000.0, rel=0.01)
    assert found[FigureKind.ENERGY].value == pytest.approx(660_000.0), "eleven minutes of a kilowatt"
    assert "input power, the highest of the last 0.2 h" in found[FigureKind.PEAK_POWER].basis
    assert work.round(told.seen([24.0, 38.0, -5.0, 50.0])) == []
    assert work.round(told.seen(values, frozenset({"c1:/Sled"}))) == []


def test_a_rack_tells_peak_energy_and_the_current_of_its_busbars_once() -> None:
    racks = Racks()
    found: list[Figure] = []
    fleet = []
    for name in ("c1", "c2"):
        told = Told(name)
        whole = told.part("Sled", Kind.SLED)
        blade = told.part("Blade", Kind.BLADE, whole)
        told.sensor(whole, "input power", Quantity.POWER)
        told.sensor(whole, "Busbar voltage", Quantity.VOLTAGE, "DCBus")
        told.sensor(blade, "input power", Quantity.POWER)
        power, electrics = RackPower(name, racks), Electrics(name)
        fleet.append((told, power, electrics, RackDrawing(racks, power, electrics)))
        for each in fleet[-1][1:]:
            each.inventory(told.walk([960.0, 48.0, 900.0]), told.time)
    for _ in range(13):
        for told, power, electrics, drawing in fleet:
            seen = told.seen([960.0, 48.0, 900.0])
            power.round(seen)
            electrics.round(seen)
            found += drawing.round(seen)
    assert {(figure.controller, figure.part) for figure in found} == {(None, RACK.text)}
    newest = last(found)
    assert newest[FigureKind.PEAK_POWER].value == 1920.0
    assert newest[FigureKind.BUSBAR_CURRENT].value == 40.0
    assert newest[FigureKind.BUSBAR_CURRENT].basis == "the sum of what 2 sleds take"
    assert newest[FigureKind.ENERGY].value == pytest.approx(1920.0 * 720.0, rel=1e-3)


# --- steadiness -----------------------------------------------------------------------------------------------------


def test_calmed_values_forget_a_gap_and_follow_a_step() -> None:
    calm = Calm()
    assert [calm.take(60.0 * n, (10.0,)) for n in range(3)] == [None, None, None]
    assert calm.take(180.0, (10.0,)) == (10.0,)
    moved = calm.take(240.0, (20.0,))
    assert moved is not None
    assert 10.0 < moved[0] < 13.0
    for n in range(60):
        moved = calm.take(300.0 + 60.0 * n, (20.0,))
    assert moved == (pytest.approx(20.0, abs=0.01),)
    assert calm.take(300_000.0, (20.0,)) is None
    assert calm.take(1.0, (20.0,)) is None


def test_a_figure_is_told_when_it_moved_and_once_an_hour_when_it_moved_at_all() -> None:
    teller = Teller()
    first = Figure(controller="c", part="p", kind=FigureKind.BUSBAR_CURRENT, time=0.0, value=20.0, unit="A")
    assert teller.news([first]) == [first]
    assert teller.news([structs.replace(first, time=60.0, value=20.3)]) == []
    assert teller.news([structs.replace(first, time=60.0, value=21.0)]) != []
    assert teller.news([structs.replace(first, time=3700.0, value=21.0)]) == []
    assert teller.news([structs.replace(first, time=3700.0, value=21.1)]) != []
    assert teller.news([structs.replace(first, time=3800.0, value=math.inf)]) == []
    teller.keep({"other"})
    assert teller.news([structs.replace(first, time=3900.0, value=21.1)]) != []
