"""What looks have learnt over a restart: kept, refused when damaged, and worth it for what comes on slowly."""

from __future__ import annotations

import math
import struct
import zlib
from collections.abc import Mapping

import msgspec
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import structs

from collector.assess.delays import HABITS
from collector.assess.diagnosis import Diagnosis
from collector.assess.looking import Look
from collector.assess.looks import memory
from collector.assess.looks.air import AirLook
from collector.assess.looks.busbar import BusbarLook
from collector.assess.looks.memory import MOST_UNPACKED, Damaged, Learnt, Table, pack, table, unpack
from collector.assess.looks.power import PowerLook
from collector.assess.looks.sensors import SensorsLook
from collector.assess.looks.told import Told
from collector.assess.looks.wear import WearLook
from collector.assess.margins.baseline import Baselines
from collector.assess.ward import Ward
from collector.assess.watch import Watch
from collector.model import Assessment, Identity, Inventory, Kind, Outcome, Quantity, Round, Sensor, Sign
from tests.assess.fleet import NAME, inventory, part, pid
from tests.assess.isolate.kit import pid as sled_pid
from tests.assess.isolate.kit import sled
from tests.assess.looks.seeing import seen, signs
from tests.assess.looks.simulated import Fleet
from tests.assess.margins.rig import Rig
from tests.assess.test_bad_input import well

SOME = Learnt(
    tables={"t": table(["a", "b", "c"], np.array([True, False, True]), x=np.array([1.5, 2.0, math.nan]))},
    figures={"f": (1.0, -2.5)},
    words={"w": ("port", "<b>\u202e")},
)


def test_what_is_packed_comes_back() -> None:
    told = pack({"look": SOME}, 1_790_000_000.5)
    assert told is not None
    back = unpack(told)
    assert back.time == 1_790_000_000.5
    assert (back.looks["look"].figures, back.looks["look"].words) == (SOME.figures, SOME.words)
    kept = back.looks["look"].table("t")
    assert kept.keys == ("a", "c")
    assert np.array_equal(kept.column("x"), [1.5, math.nan], equal_nan=True)
    rows, places = kept.meet(["z", "c", "b"])
    assert (rows.tolist(), places.tolist()) == ([1], [1])


@given(st.data())
def test_whatever_is_damaged_is_refused(data: st.DataObject) -> None:
    told = bytearray(pack({"look": SOME}, 5.0) or b"")
    at = data.draw(st.integers(0, len(told) - 1))
    if data.draw(st.booleans()):
        told[at] ^= data.draw(st.integers(1, 255))
    else:
        del told[at:]
    with pytest.raises(Damaged):
        unpack(bytes(told))


def test_what_another_version_wrote_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    told = pack({"look": SOME}, 5.0)
    assert told is not None
    monkeypatch.setattr(memory, "VERSION", memory.VERSION + 1)
    with pytest.raises(Damaged, match="has version 1, this program reads version 2"):
        unpack(told)


@pytest.mark.parametrize("plain", [b"", b"\xc1", msgspec.msgpack.encode([1, 2]), b"\0" * (MOST_UNPACKED + 10)])
def test_what_is_whole_but_no_memory_is_refused(plain: bytes) -> None:
    packed = zlib.compress(plain)
    for body in (packed, packed[:-3], b"no zlib"):
        with pytest.raises(Damaged):
            unpack(struct.pack("<4sII", b"SLKM", memory.VERSION, zlib.crc32(body)) + body)


def test_too_much_is_not_kept() -> None:
    rows = 400_000
    big = table([str(row) for row in range(rows)], np.ones(rows, dtype=bool), x=np.arange(rows) * 1.7)
    assert pack({"look": Learnt(tables={"t": big})}, 5.0) is None


def test_a_column_that_does_not_fit_is_damage() -> None:
    odd = Table(("a", "b"), {"x": b"\0" * 16, "y": b"\0" * 9})
    assert odd.column("x").tolist() == [0.0, 0.0]
    for name, shape in (("y", ()), ("z", ()), ("x", (2,))):
        with pytest.raises(Damaged):
            odd.column(name, *shape)


# Wards


class Run:
    """A ward over a rig, through restarts."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.told: list[Assessment] = []
        self.walked: Inventory = rig.inventory()
        self.ward = self.start(None)

    def start(self, learnt: bytes | None) -> Ward:
        """A new run of the collector."""
        name = self.rig.name
        self.ward = Diagnosis().ward(Watch(name, 60.0, habits=HABITS), learnt=learnt)
        assert self.ward.remember(self.rig.time) is None, "nothing to keep before a walk"
        walked = structs.replace(self.walked, frame=self.rig.frame(), time=self.rig.time)
        self.told = [self.ward.inventory(walked, self.rig.time)]
        return self.ward

    def minutes(self, count: int) -> set[str]:
        """Let rounds pass; the parts accused first in them."""
        named = set()
        for _ in range(count):
            self.rig.step(60.0)
            now = self.rig.time
            done = Round(
                controller=self.rig.name, started=now, finished=now, outcome=Outcome.OK, frame=self.rig.frame()
            )
            self.told.append(self.ward.round(done, now))
            named |= {each.suspects[0].part for each in self.told[-1].troubles if each.closed is None}
        return named

    def remember(self) -> bytes:
        told = self.ward.remember(self.rig.time)
        assert told is not None
        return told

    def events(self) -> list[str]:
        return [each.text for told in self.told for each in told.events if each.subject == "learns anew"]


def closing(run: Run, minutes: int, by: float) -> set[str]:
    """A blade's air path closes slowly."""
    named = set()
    for _ in range(minutes):
        run.rig.opened[2] -= by / minutes
        named |= run.minutes(1)
    return named


@pytest.mark.parametrize("kept", [True, False])
def test_what_comes_on_slowly_is_named_after_a_restart_in_its_middle_where_what_was_learnt_is_kept(kept: bool) -> None:
    """Without it the half-closed path is learnt as normal, and the rest of the way is not enough."""
    run = Run(Rig())
    assert run.minutes(240) == set()
    assert closing(run, 20, 0.16) == set()
    run.start(run.remember() if kept else None)
    assert closing(run, 60, 0.25) | run.minutes(60) == ({"s1:/Blade2"} if kept else set())
    assert run.events() == []


def test_what_was_there_before_a_restart_is_seen_again_at_once() -> None:
    run = Run(Rig())
    run.minutes(240)
    run.rig.opened[2] = 0.6
    assert run.minutes(10) == {"s1:/Blade2"}
    run.start(run.remember())
    assert run.minutes(15) == {"s1:/Blade2"}


def test_a_restart_in_health_raises_nothing_however_long_nobody_looked() -> None:
    run = Run(Rig())
    for hours, warmer in ((0.0, 0.0), (8.0, 6.0), (200.0, -4.0)):
        assert run.minutes(150) == set()
        told = run.remember()
        run.rig.time += 3600.0 * hours
        run.rig.room += warmer
        run.rig.step(1800.0)
        run.start(told)
    assert run.minutes(150) == set()


def test_what_is_taken_up_is_what_was_kept() -> None:
    run = Run(Rig())
    run.minutes(300)
    kept = unpack(run.remember())
    assert kept.looks.keys() == {*("told", "sensors", "air", "peers", "power", "busbar", "wear"), "drawn", "rack drew"}
    now = run.rig.time
    for again in (SensorsLook("s1"), AirLook("s1")):
        again.inventory(run.walked, now)
        first = kept.looks[again.kept]
        again.recall(first, now, now)
        second = again.learnt()
        assert first.figures == second.figures
        assert first.words == second.words
        for name, one in first.tables.items():
            other = second.tables[name]
            assert one.keys == other.keys
            assert len(one.keys) >= 8
            for column, told in one.columns.items():
                was, is_ = np.frombuffer(told), np.frombuffer(other.columns[column])
                assert np.allclose(was, is_, rtol=1e-6, equal_nan=True), (name, column)
    assert len(run.remember()) < 40_000


@pytest.mark.parametrize(
    ("spoil", "why"),
    [
        (lambda told: told[:-1], "checksum"),
        (lambda told: b"", "cut short"),
        (lambda told: told[:4] + b"\x63\0\0\0" + told[8:], "version 99"),
        (lambda told: pack({"air": Learnt(tables={"laws": Table(("x",), {})})}, 5.0), "column scale"),
        (lambda told: pack({}, 1e12), "later than now"),
    ],
)
def test_what_can_not_be_taken_up_is_said_and_learnt_anew(spoil: object, why: str) -> None:
    run = Run(Rig())
    run.minutes(60)
    run.start(spoil(run.remember()))  # type: ignore[operator]
    (text,) = run.events()
    assert why in text
    run.minutes(180)
    run.rig.opened[2] = 0.5
    assert run.minutes(15) == {"s1:/Blade2"}
    assert len(run.events()) == 1


def test_another_part_in_its_place_is_learnt_anew() -> None:
    run = Run(Rig())

    def serial(word: str) -> Inventory:
        parts = (
            structs.replace(each, identity=Identity(serial=word)) if each.id == "s1:/Blade2/Cpu" else each
            for each in run.rig.inventory().parts
        )
        return structs.replace(run.rig.inventory(), parts=tuple(parts))

    run.walked = serial("SN-100001")
    run.start(None)
    run.minutes(200)
    told = run.remember()
    laws = []
    for word in ("SN-100001", "SN-100002"):
        run.walked = serial(word)
        run.start(told)
        laws.append((unpack(run.remember()).looks["air"].table("laws").column("samples") > 10).sum())
    assert laws[0] == laws[1] + 1


# Looks


@pytest.mark.parametrize("kept", [True, False])
def test_a_drift_is_seen_although_half_of_it_came_before_a_restart(kept: bool) -> None:
    def make(name: str) -> Mapping[str, Look]:
        return {"sensors": SensorsLook(name)}

    one = Fleet(2, make, seed=6)
    one.rounds(130, 60.0)
    name = one.world.site.sleds[0].name
    one.world.inject("sensor-drifting", f"{name}/blade1", sensor="Blade1Inlet", size=1.5, over=5400.0)
    one.rounds(45, 60.0)
    before = one.looks[name]["sensors"]
    assert isinstance(before, SensorsLook)
    after = SensorsLook(name)
    after.inventory(one._controllers[name]._inventory, one.world.time)
    if kept:
        after.recall(before.learnt(), one.world.time, one.world.time)
    one.looks[name] = {"sensors": after}
    one.rounds(70, 60.0)
    shown = Sign.READING_DRIFTS in one.signs(f"{name}:/redfish/v1/Chassis/Blade1")
    assert shown is kept


def worn(name: str, quantity: Quantity) -> WearLook:
    look = WearLook(NAME)
    told = Sensor(
        sensor=name, controller=NAME, part=pid("drive"), kind=Kind.DRIVE, quantity=quantity, unit="1", source="/x"
    )
    parts = (part("sled", Kind.SLED), part("drive", Kind.DRIVE, "sled"))
    look.inventory(inventory(parts=parts, links=(), sensors=(told,)), 0.0)
    return look


def test_a_drive_s_life_goes_on_over_a_restart() -> None:
    """Six changes make a trend: three before the restart, three after it."""
    day, look = 86_400.0, worn("predicted media life left", Quantity.PERCENT)
    for turn in range(10):
        if turn == 5:
            kept, look = look.learnt(), worn("predicted media life left", Quantity.PERCENT)
            assert not look.present
            look.recall(kept, 4.0 * day, 5.0 * day)
        look.round(seen(day * turn, [40.0 - turn]))
    assert signs(look) == {("drive", Sign.WORN)}
    alone = worn("predicted media life left", Quantity.PERCENT)
    for turn in range(5, 10):
        alone.round(seen(day * turn, [40.0 - turn]))
    assert not alone.present


@pytest.mark.parametrize(("away", "shown"), [(600.0, True), (8 * 3600.0, False)])
def test_corrected_errors_of_a_long_absence_are_nobody_s_storm(away: float, shown: bool) -> None:
    look = worn("correctable errors", Quantity.COUNT)
    look.round(seen(1e6, [10.0]))
    again = worn("correctable errors", Quantity.COUNT)
    again.recall(look.learnt(), 1e6, 1e6 + away)
    again.round(seen(1e6 + away, [70.0]))
    assert bool(again.present) is shown


def test_an_uncorrectable_error_of_an_absence_is_one() -> None:
    look = worn("uncorrectable errors", Quantity.COUNT)
    look.round(seen(1e6, [1.0]))
    look.round(seen(1e6 + 60.0, [2.0]))
    kept = look.learnt()
    again = worn("uncorrectable errors", Quantity.COUNT)
    again.recall(kept, 1e6 + 60.0, 1e6 + 90_000.0)
    again.round(seen(1e6 + 90_000.0, [3.0]))
    assert signs(again) == {("drive", Sign.UNCORRECTABLE)}
    assert again.learnt().figures.keys() == kept.figures.keys()


def test_a_link_lost_while_nobody_looked_is_lost() -> None:
    walked = well(sled("s1"))
    port = sled_pid("s1", "Net/Port1")
    up, down = (
        structs.replace(walked, statuses={**walked.statuses, port: structs.replace(walked.statuses[port], link=linked)})
        for linked in (True, False)
    )
    before, after, new = Told("s1"), Told("s1"), Told("s1")
    before.inventory(up, 0.0)
    for look in (after, new):
        look.inventory(down, 100.0)
    after.recall(before.learnt(), 50.0, 100.0)
    assert (port, Sign.LINK_DOWN, None) in after.present
    assert Sign.LINK_DOWN in after.visible[port]
    assert not new.present


def test_a_busbar_s_usual_drop_is_its_own_place_s() -> None:
    look, other = BusbarLook("a"), BusbarLook("a")
    for _ in range(8):
        look._usual.learn(0.0, 0.25)
    other.recall(look.learnt(), 0.0, 0.0)
    assert other._usual.value == 0.25
    moved = BusbarLook("a")
    moved._rack = "elsewhere"
    moved.recall(look.learnt(), 0.0, 0.0)
    assert not moved._usual.known


def test_laws_of_a_later_clock_are_as_old_as_now() -> None:
    laws, again = Baselines(2), Baselines(2)
    laws.samples[:] = 50.0
    laws.learning_since[:] = 5000.0
    laws.lag[:] = 99
    again.recall(np.arange(2), {name: getattr(laws, name) for name, _ in Baselines.KEPT}, 100.0)
    assert again.learning_since.tolist() == [100.0, 100.0]
    assert again.lag.max() < again._errors.shape[1]


@pytest.mark.parametrize("kept", [True, False])
def test_a_voltage_that_sagged_while_nobody_looked_is_low_and_not_usual(kept: bool) -> None:
    rig, before, after = Rig(), PowerLook("s1"), PowerLook("s1")
    before.inventory(rig.inventory(), rig.time)
    assert rig.run(before, 30.0) == {}
    after.inventory(rig.inventory(), rig.time)
    if kept:
        after.recall(before.learnt(), rig.time, rig.time)
    volts = 5 * 2 + 4
    found = rig.run(after, 30.0, changes={volts: 11.4})
    assert {(part_, sign) for part_, sign, _ in found} == ({("s1:/Blade2", Sign.LOW_VOLTAGE)} if kept else set())


@pytest.mark.parametrize("kept", [True, False])
def test_an_inlet_that_is_warmer_than_its_neighbours_since_the_restart_is_seen(kept: bool) -> None:
    rig, before, after = Rig(), AirLook("s1"), AirLook("s1")
    before.inventory(rig.inventory(), rig.time)
    assert rig.run(before, 60.0) == {}
    rig.warmer[1] = 4.0
    rig.step(600.0)
    after.inventory(rig.inventory(), rig.time)
    if kept:
        after.recall(before.learnt(), rig.time - 36_000.0, rig.time)
    found = rig.run(after, 30.0)
    assert (("s1:/Blade1", Sign.WARM_AIR, None) in found) is kept


def test_what_is_explained_in_another_way_now_is_learnt_anew() -> None:
    """A sensor that had siblings and has none: its weights were of another law."""
    rig, before, after = Rig(), SensorsLook("s1"), SensorsLook("s1")
    whole = rig.inventory()
    before.inventory(whole, rig.time)
    rig.run(before, 90.0)
    few = tuple(each for each in whole.layout.sensors if each.part.split("/")[1] in ("Sled", "Blade0", "Blade1"))
    after.inventory(structs.replace(whole, layout=structs.replace(whole.layout, sensors=few)), rig.time)
    after.recall(before.learnt(), rig.time, rig.time)
    taken = after.learnt().table("columns")
    assert "s1:/Blade0|inlet" in taken.keys, "three of its kind are left"
    assert "s1:/Blade0/Cpu|temperature" in before.learnt().table("columns").keys
    assert "s1:/Blade0/Cpu|temperature" not in taken.keys, "two are no siblings"


def test_nothing_that_a_law_learns_is_left_behind() -> None:
    """Whoever adds to a law decides whether that outlasts a restart."""
    held = {name for name, value in vars(Baselines(2)).items() if isinstance(value, np.ndarray)}
    assert held - {"_prior", "_every"} == {name for name, _ in Baselines.KEPT}
