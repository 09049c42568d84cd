"""What is odd in the published example services (DMTF DSP2043), and that none of it breaks or misleads us.

Numbers are those of shared/standards/redfish-notes.md section 7, where each is described.
"""

from __future__ import annotations

import math
from functools import cache

import pytest
from msgspec import structs

from collector.model import Defect, DefectKind, Health, Kind, Location, Quantity, Sensor, State, Status, Thresholds
from collector.normalise.inventory import Normalised, build
from tests.normalise.walks import MAIN, OTHERS, example

CHASSIS = "/redfish/v1/Chassis"


@cache
def read(name: str) -> Normalised:
    return build(example(name), Location())


def sensor(name: str, place: str) -> tuple[Sensor, float]:
    """The one sensor that a place belongs to, and its value."""
    inventory = read(name)
    ((found, value),) = [
        (one, value)
        for one, value in zip(inventory.layout.sensors, inventory.frame.values, strict=True)
        if place in (one.source, *one.also_at)
    ]
    return found, value


def health(name: str, place: str) -> Health:
    inventory = read(name)
    index = inventory.layout.sensors.index(sensor(name, place)[0])
    return Health(inventory.frame.healths[index])


def status(name: str, uri: str) -> Status:
    return read(name).statuses[f"{name}:{uri}"]


def defects(name: str, kind: DefectKind, resource: str = "") -> list[Defect]:
    return [one for one in read(name).defects if one.kind is kind and one.resource.startswith(resource)]


def part_uri(sensor: Sensor) -> str:
    return sensor.part.partition(":")[2]


def test_01_one_quantity_three_values_publishes_the_sensors() -> None:
    found, value = sensor("public-rackmount1", f"{CHASSIS}/1U/Sensors/CPU1Temp")
    assert value == 44  # 41 in Thermal, 39 in EnvironmentMetrics
    assert found.source == f"{CHASSIS}/1U/Sensors/CPU1Temp"
    assert f"{CHASSIS}/1U/Thermal#/Temperatures/0/ReadingCelsius" in found.also_at
    assert f"{CHASSIS}/1U/EnvironmentMetrics#/TemperatureCelsius/Reading" in found.also_at
    assert part_uri(found) == "/redfish/v1/Systems/437XR1138R2/Processors/CPU1"


def test_01_the_older_rows_fold_where_they_demonstrably_are_the_same() -> None:
    intake, _ = sensor("public-rackmount1", f"{CHASSIS}/1U/Thermal#/Temperatures/2/ReadingCelsius")
    assert intake.source == f"{CHASSIS}/1U/Sensors/IntakeTemp"
    power, value = sensor("public-rackmount1", f"{CHASSIS}/1U/Power#/PowerControl/0/PowerConsumedWatts")
    assert (power.source, value) == (f"{CHASSIS}/1U/Sensors/TotalPower", 374)
    line, value = sensor("public-rackmount1", f"{CHASSIS}/1U/Power#/PowerSupplies/0/LineInputVoltage")
    assert (line.source, value) == (f"{CHASSIS}/1U/Sensors/PS1InputVoltage", 119.27)


def test_01_the_older_rows_stay_where_nothing_newer_tells_the_same() -> None:
    for row, told in (("Voltages/0/ReadingVolts", 12), ("PowerSupplies/0/LastPowerOutputWatts", 325)):
        found, value = sensor("public-rackmount1", f"{CHASSIS}/1U/Power#/{row}")
        assert (found.source, value, found.also_at) == (f"{CHASSIS}/1U/Power#/{row}", told, ())


def test_02_excerpts_without_a_sensor_are_sensors_of_their_own() -> None:
    battery = f"{CHASSIS}/1U/PowerSubsystem/Batteries/Module1"
    cells = [one for one in read("public-rackmount1").layout.sensors if "/CellVoltages/" in one.source]
    assert [one.sensor for one in cells] == [f"cell voltage {number}" for number in range(1, 9)]
    assert {part_uri(one) for one in cells} == {battery}
    found, value = sensor("public-rackmount1", f"{battery}/Metrics#/StoredEnergyWattHours/Reading")
    assert (found.quantity, found.unit, value) == (Quantity.ENERGY, "J", 19.41 * 3600)


def test_02_the_other_spelling_of_data_source_uri_counts() -> None:
    inventory = read("public-iiot")
    found = [one for one in inventory.layout.sensors if one.source.endswith("/Chassis/Conveyor/Sensors/Current")]
    assert [len(one.also_at) for one in found] == [1]


def test_03_a_data_source_uri_to_nothing_keeps_the_value_without_thresholds() -> None:
    metrics = f"{CHASSIS}/1U/PowerSubsystem/PowerSupplies/Bay1/Metrics"
    assert len(defects("public-rackmount1", DefectKind.DANGLING_LINK, metrics)) == 13
    found, value = sensor("public-rackmount1", f"{metrics}#/OutputPowerWatts/Reading")
    assert (value, found.thresholds, part_uri(found)) == (937.4, Thresholds(), metrics.removesuffix("/Metrics"))


def test_04_temperature_without_reading_type_is_told_by_its_unit() -> None:
    found, value = sensor("public-rackmount1", f"{CHASSIS}/1U/Sensors/AmbientTemp")
    assert (found.quantity, found.unit, value) == (Quantity.TEMPERATURE, "Cel", 22.5)
    assert defects("public-rackmount1", DefectKind.UNKNOWN_UNIT) == []


def test_05_a_wrong_unit_is_flagged_and_the_type_believed() -> None:
    assert len(defects("public-pdu", DefectKind.WRONG_UNIT)) == 2 + 6  # C twice; kW for the linked energies
    found, value = sensor("public-pdu", f"{CHASSIS}/TransferSwitch1/Sensors/EnergyA1")
    assert (found.quantity, found.unit, value / 3.6e6) == (Quantity.ENERGY, "J", pytest.approx(7855))
    assert [one.detail[:22] for one in defects("public-iiot", DefectKind.WRONG_UNIT)] == ["ReadingUnits 'degrees'"] * 2


def test_06_absent_sensors_and_disabled_rows_have_no_value() -> None:
    inventory = read("public-rackmount1")
    absent = [
        (one, value)
        for one, value in zip(inventory.layout.sensors, inventory.frame.values, strict=True)
        if "/Sensors/PS2" in one.source
    ]
    assert len(absent) == 11
    assert all(math.isnan(value) for _, value in absent)
    for name in ("public-rackmount1", "public-localstorage"):
        _, value = sensor(name, f"{CHASSIS}/1U/Thermal#/Temperatures/1/ReadingCelsius")
        assert math.isnan(value)


def test_07_a_true_zero_stays_zero() -> None:
    place = f"{CHASSIS}/MultiBladeEncl/Thermal#/Fans/2/Reading"
    found, value = sensor("public-bladed", place)
    assert (found.quantity, found.unit, value) == (Quantity.ROTATION, "{rev}/min", 0)
    assert health("public-bladed", place) is Health.CRITICAL
    assert status("public-bladed", f"{CHASSIS}/MultiBladeEncl/Thermal#/Fans/2").health is Health.CRITICAL


def test_08_thresholds_without_activation_count_by_their_name() -> None:
    found, _ = sensor("public-rackmount1", f"{CHASSIS}/1U/Sensors/PS1Frequency")
    limits = found.thresholds
    assert limits.lower_caution is not None
    assert limits.upper_caution is not None
    assert (limits.lower_caution.value, limits.lower_caution.on_delay) == (59.5, 300)
    assert (limits.upper_caution.value, limits.upper_caution.on_delay) == (60.2, 600)


def test_08_hysteresis_is_a_distance_and_delays_are_seconds() -> None:
    found, _ = sensor("public-rackmount1", f"{CHASSIS}/1U/Sensors/CPU1Temp")
    upper = found.thresholds.upper_caution
    user = found.thresholds.upper_caution_user
    assert upper is not None
    assert user is not None
    assert (upper.value, upper.hysteresis, upper.on_delay, upper.off_delay) == (42, 2, 300, 60)
    assert (user.value, user.hysteresis, user.on_delay, user.off_delay) == (40, 0, 300, 600)


def test_09_thresholds_out_of_order_are_rejected_whole() -> None:
    for name in ("public-telemetry", "public-catfish"):
        place = f"{CHASSIS}/1/Thermal#/Fans/0/Reading"
        found, value = sensor(name, place)
        # Of the one service a trigger sets a limit in their stead, tests/normalise/test_triggers.py.
        own = structs.replace(found.thresholds, lower_critical=None) if name == "public-telemetry" else found.thresholds
        assert (value, own) == (2100, Thresholds())
        assert defects(name, DefectKind.BAD_THRESHOLDS, f"{CHASSIS}/1/Thermal")
    intake, _ = sensor("public-telemetry", f"{CHASSIS}/1/Thermal#/Temperatures/2/ReadingCelsius")
    assert intake.thresholds.upper_fatal is not None  # a neighbour in order keeps its own


def test_10_reported_health_is_kept_whatever_the_thresholds_say() -> None:
    place = f"{CHASSIS}/1/Thermal#/Temperatures/1/ReadingCelsius"
    found, value = sensor("public-catfish", place)
    assert found.thresholds.upper_caution is not None
    assert value > found.thresholds.upper_caution.value
    assert health("public-catfish", place) is Health.OK


def test_11_no_rollup_is_invented() -> None:
    told = status("public-bladed", f"{CHASSIS}/MultiBladeEncl")
    assert (told.health, told.health_rollup) == (Health.OK, Health.UNKNOWN)
    assert health("public-bladed", f"{CHASSIS}/Blade3/Thermal#/Temperatures/0/ReadingCelsius") is Health.WARNING


def test_12_a_state_outside_the_enumeration_is_unknown_and_named() -> None:
    found = defects("public-telemetry", DefectKind.UNKNOWN_WORD)
    assert {one.property for one in found if "Offline" in one.detail} == {"/Redundancy/0/Status/State"}
    assert status("public-pdu", "/redfish/v1/PowerEquipment/RackPDUs/1/Mains/AC1").state is State.UNKNOWN


def test_13_resources_are_known_by_their_path_and_rows_by_their_index() -> None:
    first, _ = sensor("public-cooling-unit", f"{CHASSIS}/CDU/Sensors/PrimaryHeatLoad")
    other, _ = sensor("public-cooling-unit", f"{CHASSIS}/CDU/Sensors/SecondaryHeatLoad")
    assert first != other
    assert len(defects("public-cooling-unit", DefectKind.WRONG_IDENTITY)) == 1
    trays = defects("public-telemetry", DefectKind.WRONG_IDENTITY)
    assert [one.property for one in trays] == ["/PowerSupplies/0/@odata.id"] * 3
    parts = {part.uri for part in read("public-telemetry").parts if part.kind is Kind.POWER_SUPPLY}
    expected = {f"{CHASSIS}/{name}/Power#/PowerSupplies/0" for name in ("1", "Tray_1", "Tray_2", "Tray_3")}
    assert expected <= parts


@pytest.mark.parametrize(
    ("name", "place", "told", "listed"),
    [
        ("public-telemetry", CHASSIS, 7, 4),
        ("public-rackmount1", f"{CHASSIS}/1U/TrustedComponents", 1, 3),
        ("public-pdu", f"{CHASSIS}/TransferSwitch1/Sensors", 52, 50),
    ],
)
def test_15_members_are_believed_and_a_wrong_count_named(name: str, place: str, told: int, listed: int) -> None:
    (found,) = defects(name, DefectKind.WRONG_COUNT, place)[:1]
    assert found.detail == f"Members@odata.count says {told}, Members lists {listed}"


def test_17_one_sided_links_are_links() -> None:
    chassis = {part.uri: part for part in read("public-iiot").parts}
    aggregator = next(part.id for part in chassis.values() if part.name == "PICMG Aggregator 1")
    names = ("Conveyor", "Node4", "Node5")  # the first contained but not ContainedBy, the others the reverse
    assert {chassis[f"{CHASSIS}/{name}"].parent for name in names} == {aggregator}
    managed = {link.part for link in read("public-telemetry").links if link.why == "managed by"}
    assert f"public-telemetry:{CHASSIS}/Tray_2" in managed  # missing from ManagerForChassis


def test_18_a_chassis_without_chassis_type_is_named_and_kept() -> None:
    found = [part for part in read("public-pdu").parts if part.uri in (f"{CHASSIS}/PDU", f"{CHASSIS}/TransferSwitch1")]
    assert [part.kind for part in found] == [Kind.OTHER] * 2
    assert len(defects("public-pdu", DefectKind.MISSING)) == 2
    assert all(part.identity.asset_tag is None for part in read("public-expansion-box").parts)  # told as ""


def test_19_fragment_links_lead_to_rows_and_related_items_own_nothing() -> None:
    links = {(link.part, link.on) for link in read("public-bladed").links if link.why == "cooled by"}
    fan = f"public-bladed:{CHASSIS}/MultiBladeEncl/Thermal#/Fans/2"
    assert {part for part, on in links if on == fan} == {f"public-bladed:{CHASSIS}/Blade{n}" for n in (1, 2, 3, 4)}
    found, _ = sensor("public-bladed", f"{CHASSIS}/MultiBladeEncl/Thermal#/Fans/2/Reading")
    assert found.part == fan  # although nine resources relate to it
    intake, _ = sensor("public-bladed", f"{CHASSIS}/MultiBladeEncl/Thermal#/Temperatures/0/ReadingCelsius")
    assert part_uri(intake) == f"{CHASSIS}/MultiBladeEncl"


def test_20_one_processor_listed_by_four_chassis_has_one_temperature() -> None:
    found, value = sensor("public-telemetry", f"{CHASSIS}/Tray_3/Thermal#/Temperatures/0/ReadingCelsius")
    assert (part_uri(found), value) == ("/redfish/v1/Systems/1/Processors/1", 21)
    assert len(found.also_at) == 3
    powers = [one for one in read("public-telemetry").layout.sensors if "/PowerControl/" in one.source]
    assert len({one.part for one in powers}) == 4  # each chassis' own, as far as anybody can tell


def test_21_metric_reports_are_no_sensors() -> None:
    assert not [one for one in read("public-telemetry").layout.sensors if "/TelemetryService/" in one.source]


def test_22_unknown_names_are_named_and_a_negative_supply_stays_negative() -> None:
    strays = [one for one in defects("public-telemetry", DefectKind.UNKNOWN_WORD) if "ReadingRange" in one.detail]
    assert len(strays) == 2 * 3 * 3  # Min and Max, three temperatures in each of three trays
    _, value = sensor("public-telemetry", f"{CHASSIS}/1/Power#/PowerSupplies/0/LineInputVoltage")
    assert value == -48


def test_22_a_disabled_supply_tells_no_voltage() -> None:
    _, value = sensor("public-telemetry", f"{CHASSIS}/1/Power#/PowerSupplies/1/LineInputVoltage")
    assert math.isnan(value)  # 220, of a supply that is Disabled


def test_23_power_factor_and_the_like_are_no_readings_yet() -> None:
    _, value = sensor("public-rackmount1", f"{CHASSIS}/1U/Sensors/TotalPower")
    assert value == 374  # beside 2749.2 VA and a power factor of 0.99, which contradict it


def test_24_a_reading_time_of_six_years_ago_is_not_taken() -> None:
    found = defects("public-rackmount1", DefectKind.BAD_TIME)
    assert {one.resource.rpartition("/")[2] for one in found} == {"CPU1Power", "TotalPower"}
    assert read("public-rackmount1").frame.times is None


def test_one_sensor_said_to_be_three_modules_is_named() -> None:
    found = defects("public-rackmount1", DefectKind.CONTRADICTION, "/redfish/v1/Systems/437XR1138R2/Memory/DIMM")
    assert [one.resource.split("/")[-2] for one in found] == ["DIMM2", "DIMM3"]


def test_the_older_list_of_power_supplies_makes_no_second_supply() -> None:
    supplies = [part for part in read("public-rackmount1").parts if part.kind is Kind.POWER_SUPPLY]
    assert [part.location.slot for part in supplies] == ["PSU 1", "PSU 2"]
    assert [one.property for one in defects("public-rackmount1", DefectKind.CONTRADICTION, f"{CHASSIS}/1U/Power")] == [
        "/PowerSupplies/0/SerialNumber"
    ]


def test_drives_told_below_storage_and_chassis_are_four() -> None:
    drives = [part for part in read("public-localstorage").parts if part.kind is Kind.DRIVE]
    assert len(drives) == 4
    assert {status("public-localstorage", part.uri).failure_predicted for part in drives} == {False}
    assert {status("public-localstorage", part.uri).led for part in drives} == {"Lit"}


def test_a_bladed_enclosure_is_a_tree_of_blades_with_hosts() -> None:
    inventory = read("public-bladed")
    parents = {part.uri: (part.parent or "").partition(":")[2] for part in inventory.parts}
    for number in (1, 2, 3, 4):
        blade = f"{CHASSIS}/Blade{number}"
        assert parents[blade] == f"{CHASSIS}/MultiBladeEncl"
        assert parents[f"/redfish/v1/Systems/529QB945{number - 1}R6"] == blade
        assert parents[f"/redfish/v1/Managers/Blade{number}BMC"] == blade
    places = {part.uri: part.location for part in inventory.parts}
    assert places[f"{CHASSIS}/Blade3"] == Location(
        row="North",
        rack="WEB43",
        offset=12,
        offset_unit="EIA_310",
        enclosure="Quad Blade Enclosure",
        slot="Blade 3",
        slot_index=2,
    )


@pytest.mark.parametrize("name", MAIN + OTHERS)
def test_defects_name_a_place_and_are_fit_to_be_shown(name: str) -> None:
    for defect in read(name).defects:
        assert defect.controller == name
        assert defect.resource.startswith("/redfish/v1/")
        assert defect.property == "" or defect.property.startswith("/")
        assert 10 < len(defect.detail) <= 300
        assert defect.detail.isprintable()
