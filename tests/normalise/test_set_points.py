"""Settings of parts, after DSP8010 2025.4 (Control, Fan, PowerSubsystem, EnvironmentMetrics, Power) and DSP2043."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from collector.assess.looking import Seen
from collector.assess.margins.electrics import Electrics
from collector.assess.margins.tracker import Margins
from collector.model import DefectKind, Location, MarginKind, Outcome, Quantity, Setting, SettingKind
from collector.normalise.inventory import build
from collector.normalise.set_points import Limits
from collector.redfish.resources import Fetch
from tests.campaigns.mutations import JUNK
from tests.normalise.services import SLED, Bodies, chassis, collection, link, power, read, resource, root, sled
from tests.normalise.walks import example

CONTROLS, METRICS, SUBSYSTEM = f"{SLED}/Controls", f"{SLED}/EnvironmentMetrics", f"{SLED}/PowerSubsystem"
LIMIT = f"{CONTROLS}/Limit"


def service(*controls: dict[str, Any], metrics: dict[str, Any] | None = None, **of_subsystem: Any) -> Bodies:
    links: dict[str, Any] = {"Controls": link(CONTROLS), "PowerSubsystem": link(SUBSYSTEM)}
    bodies = root() | chassis(sled(EnvironmentMetrics=link(METRICS), **links))
    bodies[METRICS] = resource(METRICS, "EnvironmentMetrics", **(metrics or {}))
    bodies[SUBSYSTEM] = resource(SUBSYSTEM, "PowerSubsystem", **of_subsystem)
    uris = [one["@odata.id"] for one in controls]
    bodies[CONTROLS] = collection(CONTROLS, *uris)
    return bodies | dict(zip(uris, controls, strict=True))


def control(name: str = "Limit", **more: Any) -> dict[str, Any]:
    told = {"Name": "Limit", "ControlType": "Power", "SetPointUnits": "W", "SetPoint": 500, "ControlMode": "Automatic"}
    return resource(f"{CONTROLS}/{name}", "Control", **(told | more))


def settings(bodies: Bodies) -> tuple[tuple[Setting, ...], list[tuple[str, DefectKind]]]:
    found = read(bodies)
    return found.settings, [(one.property, one.kind) for one in found.defects]


def test_a_control_and_the_excerpt_that_copies_it_are_one_limit() -> None:
    copy = {"SetPoint": 500, "AllowableMax": 1000, "DataSourceUri": LIMIT}
    (one,), defects = settings(service(control(AllowableMin=150, AllowableMax=1000), metrics={"PowerLimitWatts": copy}))
    assert (one.kind, one.value, one.lowest, one.highest, one.unit) == (SettingKind.POWER_LIMIT, 500, 150, 1000, "W")
    assert (one.part, one.mode, one.active) == (f"n1:{SLED}", "Automatic", True)
    assert (one.source, one.also_at) == (LIMIT, (f"{METRICS}#/PowerLimitWatts/SetPoint",))
    assert not defects


def test_a_copy_that_tells_another_limit_is_a_contradiction_and_the_control_counts() -> None:
    copy = {"SetPoint": 400, "DataSourceUri": LIMIT}
    (one,), defects = settings(service(control(), metrics={"PowerLimitWatts": copy}))
    assert one.value == 500
    assert defects == [("/PowerLimitWatts/SetPoint", DefectKind.CONTRADICTION)]


def test_an_excerpt_without_a_control_stands_for_itself() -> None:
    (one,), _ = settings(service(metrics={"PowerLimitWatts": {"SetPoint": 400, "ControlMode": "Disabled"}}))
    assert (one.name, one.value, one.active) == ("power limit", 400, False)
    assert one.source == f"{METRICS}#/PowerLimitWatts/SetPoint"


def test_allocation_of_the_subsystem_counts_before_the_older_row() -> None:
    older = {"PowerRequestedWatts": 800, "PowerAllocatedWatts": 700, "PowerLimit": {"LimitInWatts": 650}}
    bodies = service(Allocation={"RequestedWatts": 1500, "AllocatedWatts": 1200})
    bodies[SLED]["Power"] = link(f"{SLED}/Power")
    bodies |= power(PowerControl=[{"MemberId": "0", "Name": "Sled", **older}])
    found, defects = settings(bodies)
    assert {(one.kind.value, one.value, len(one.also_at)) for one in found} == {
        ("requested power", 1500.0, 1),
        ("allocated power", 1200.0, 1),
        ("power limit", 650.0, 0),
    }
    assert not defects


def test_rows_that_share_a_chassis_keep_their_names() -> None:
    rows = [{"MemberId": str(k), "Name": f"Feed {k}", "PowerLimit": {"LimitInWatts": 100 * k}} for k in (1, 2)]
    bodies = root() | chassis(sled(Power=link(f"{SLED}/Power"))) | power(PowerControl=rows)
    found, _ = settings(bodies)
    assert [(one.name, one.value) for one in found] == [("Feed 1 power limit", 100.0), ("Feed 2 power limit", 200.0)]


@pytest.mark.parametrize(
    ("told", "quantity", "unit", "value", "kind"),
    [
        ({"ControlType": "Temperature", "SetPointUnits": "Cel"}, Quantity.TEMPERATURE, "Cel", 24.0, None),
        ({"ControlType": "Percent", "SetPointUnits": "Percent"}, Quantity.PERCENT, "%", 24.0, DefectKind.WRONG_UNIT),
        ({"ControlType": "Percent"}, Quantity.PERCENT, "%", 24.0, None),
        ({"ControlType": "PressurekPa", "SetPointUnits": "kPa"}, Quantity.PRESSURE, "Pa", 24_000.0, None),
        ({"ControlType": "Power", "SetPointUnits": "kW"}, Quantity.POWER, "W", 24_000.0, DefectKind.WRONG_UNIT),
        ({"ControlType": "FrequencyMHz", "SetPointUnits": "MHz"}, Quantity.FREQUENCY, "Hz", 24e6, None),
        ({"SetPointUnits": "furlong"}, Quantity.OTHER, "furlong", 24.0, DefectKind.UNKNOWN_UNIT),
        ({"SetPointUnits": "Cel"}, Quantity.TEMPERATURE, "Cel", 24.0, None),
        ({"ControlType": "Mood", "SetPointUnits": "W"}, Quantity.POWER, "W", 24.0, DefectKind.UNKNOWN_WORD),
    ],
)
def test_units_by_the_type_then_by_the_code(
    told: dict[str, Any], quantity: Quantity, unit: str, value: float, kind: DefectKind | None
) -> None:
    blank = {"ControlType": None, "SetPointUnits": None}
    (one,), defects = settings(service(control(SetPoint=24, **(blank | told))))
    assert (one.quantity, one.unit, one.value) == (quantity, unit, value)
    assert [found for _, found in defects] == ([] if kind is None else [kind])


def test_nonsense_is_a_named_defect_and_no_number() -> None:
    found, defects = settings(
        service(
            control(SetPoint="much", AllowableMax=900, ControlMode="Wild"),
            control("Bare", SetPoint=None),
            metrics={"PowerLimitWatts": 7},
            Allocation={"RequestedWatts": True},
        )
    )
    assert [(one.value, one.highest, one.mode) for one in found] == [(None, 900.0, None)]
    assert set(defects) == {
        ("/SetPoint", DefectKind.WRONG_TYPE),
        ("/ControlMode", DefectKind.UNKNOWN_WORD),
        ("/PowerLimitWatts", DefectKind.WRONG_TYPE),
        ("/Allocation/RequestedWatts", DefectKind.WRONG_TYPE),
    }


def test_the_published_services() -> None:
    rack = {
        (one.part.rpartition("/")[2], one.kind): one for one in build(example("public-rackmount1"), Location()).settings
    }
    limit = rack["1U", SettingKind.POWER_LIMIT]
    assert (limit.value, limit.lowest, limit.highest, len(limit.also_at)) == (500.0, 150.0, 1000.0, 2)
    clock = rack["1U", SettingKind.SET_POINT]  # told as 2000 to 2400 "Hz"
    assert (clock.low, clock.high, clock.highest, clock.unit) == (2e9, 2.4e9, 3.7e9, "Hz")
    assert (rack["Bay1", SettingKind.RATED_SPEED].value, rack["CPU1", SettingKind.RATED_SPEED].value) == (
        4900.0,
        3300.0,
    )
    cdu = build(example("public-cooling-unit"), Location()).settings
    assert {(one.name, one.value, one.unit) for one in cdu} == {(f"Pump {k} Speed Control", 45.0, "%") for k in (1, 2)}


def test_circuits_and_outlets_of_a_published_service_are_held_against_what_they_are_rated_for() -> None:
    """Branch B of the standard body's rack power distribution (DSP2043): 977.8 W at 5.95 A of 16. The powers of its
    mains, line to neutral: 412.36, 398.84 and 415.42 W, mean 408.87, the largest departure 10.03, 2.45 %."""
    walked = build(example("public-pdu"), Location())
    rated = {one.part: one for one in walked.settings if one.kind is SettingKind.RATED_CURRENT}
    branch = next(part for part in walked.parts if part.uri.endswith("RackPDUs/1/Branches/B"))
    assert (rated[branch.id].value, rated[branch.id].unit) == (16.0, "A")
    assert rated[branch.id].source.endswith("/Branches/B#/RatedCurrentAmps")
    seen = Seen(time=walked.time, frame=walked.frame, statuses={}, idle=frozenset(), outcome=Outcome.OK)
    margins, electrics = Margins(walked.controller), Electrics(walked.controller)
    margins.inventory(walked, walked.time)
    told = {one.part: one for one in margins.round(seen) if one.kind is MarginKind.POWER}
    assert told[branch.id].value == 977.8
    assert told[branch.id].limit == pytest.approx(977.8 * 16.0 / 5.95)
    electrics.inventory(walked, walked.time)
    main = next(part for part in walked.parts if part.uri.endswith("RackPDUs/1/Mains/AC1"))
    uneven = {one.of: one.value for one in electrics.round(seen) if one.part == main.id}
    assert uneven["line # to neutral power"] == pytest.approx(2.454, abs=1e-3)
    assert uneven["line # current"] == 0.0


def test_a_limit_that_moves_is_seen_once_in_ten_rounds_by_what_rounds_bring_anyway() -> None:
    copy = {"SetPoint": 500, "DataSourceUri": LIMIT}
    bodies = service(control(), metrics={"PowerLimitWatts": copy})
    limits = Limits(
        read(bodies).settings, (Fetch("/redfish/v1/X", ("/redfish/v1/X",), False), Fetch(METRICS, (METRICS,), False))
    )
    seen = []
    for number in range(1, 31):
        limits.begin()
        copy["SetPoint"] = 500 if number < 15 else 450
        assert not limits.moved(0, b"{}")
        if limits.moved(1, msgspec.json.encode(bodies[METRICS])):
            seen.append(number)
    assert seen == [20, 30]
    for number in range(31, 71):  # a GET that is made in every fourth round, out of step with the tens
        limits.begin()
        if number % 4 == 1 and limits.moved(1, msgspec.json.encode(bodies[METRICS])):
            seen.append(number)
    assert seen == [20, 30, 41, 53, 65]
    for _ in range(10):
        limits.begin()
    assert not limits.moved(1, b"not JSON")


def test_no_junk_anywhere_gets_out_as_an_exception() -> None:
    """Each property in turn becomes each of the campaign's pieces of junk; a setting never has what can't be kept."""
    copy = {"SetPoint": 500, "AllowableMax": 1000, "ControlMode": "Automatic", "DataSourceUri": LIMIT}
    more = {"PhysicalContext", "RelatedItem", "SettingMin", "DeadBand"}
    for name in (control().keys() | more) - {"@odata.id", "@odata.type"}:
        for junk in JUNK:
            for setting in settings(service(control(**{name: junk}), metrics={"PowerLimitWatts": copy}))[0]:
                assert msgspec.json.decode(msgspec.json.encode(setting), type=Setting) == setting
    for name in copy:
        for junk in JUNK:
            settings(service(control(), metrics={"PowerLimitWatts": copy | {name: junk}}))
    for junk in JUNK:
        settings(service(Allocation=junk))
        settings(service(metrics={"PowerLimitWatts": junk}))
        older = {"MemberId": "0", "PowerLimit": junk, "PowerRequestedWatts": junk}
        settings(root() | chassis(sled(Power=link(f"{SLED}/Power"))) | power(PowerControl=[older]))
        Limits((), ()).moved(0, msgspec.json.encode(junk) if junk != 10**400 else b"1")
