"""What happens in a sled becomes records: thresholds, health, power, lamps, the controller itself."""

from __future__ import annotations

import pytest

from simulators.service import dialects
from simulators.service.journal import Journal, Record
from simulators.service.service import Service
from simulators.service.sessions import Account
from simulators.site import Shelf
from simulators.telemetry import Mode
from tests.simulators.event_kit import Scene, keys, scene
from tests.simulators.service_kit import KINDS, NOW, PASSWORD, SITE, USER, Asker, tree_of


def newest(one: Asker) -> Record:
    assert one.service.journal is not None
    return list(one.service.journal)[-1]


def test_a_healthy_sled_tells_only_that_its_service_started() -> None:
    one, _ = scene()
    for second in range(5):
        one.service.look(NOW + second)
    assert keys(one) == []
    assert not one.service.restless
    assert newest(one).message == "HeartbeatEvent.1.1.RedfishServiceStarted"


def test_a_temperature_goes_up_and_down_through_its_thresholds() -> None:
    """The order of messages is what the texts of DSP8011 SensorEvent describe."""
    one, source = scene()
    sensor = next(
        s.spec
        for s in source.telemetry().sensors.values()
        if s.spec.thresholds.upper_caution and s.spec.thresholds.upper_critical
    )
    limits = sensor.thresholds
    assert limits.upper_caution is not None
    assert limits.upper_critical is not None
    low, middle = limits.upper_caution - 1, (limits.upper_caution + limits.upper_critical) / 2
    for value in (middle, limits.upper_critical + 1, limits.upper_critical + 2, middle, low, low - 1):
        source.sensor(sensor.id, value)
        one.service.look(NOW)
    assert keys(one) == [
        "SensorEvent.ReadingAboveUpperCautionThreshold",
        "SensorEvent.ReadingAboveUpperCriticalThreshold",
        "SensorEvent.ReadingBelowUpperCriticalThreshold",
        "SensorEvent.SensorReadingNormalRange",
    ]
    assert one.service.journal is not None
    above = one.service.journal.get(3)
    assert above is not None
    assert above.args == (sensor.label, f"{limits.upper_critical + 1:g}", sensor.unit, f"{limits.upper_critical:g}")
    assert above.severity == "Critical"
    assert above.origin is not None
    assert above.origin.endswith(f"/Sensors/{sensor.id}")
    assert one.get(above.origin)["Id"] == sensor.id
    assert not one.service.restless


def test_a_sensor_that_tells_nothing_crosses_nothing_and_does_not_come_back() -> None:
    one, source = scene()
    limit = source.telemetry().sensors["SledInlet"].spec.thresholds.upper_critical
    assert limit is not None
    source.sensor("SledInlet", limit + 1)
    one.service.look(NOW)
    source.sensor("SledInlet", None)
    one.service.look(NOW)
    assert keys(one) == ["SensorEvent.ReadingAboveUpperCriticalThreshold"]
    source.sensor("SledInlet", 20.0)
    one.service.look(NOW)
    assert keys(one)[-1] == "SensorEvent.SensorReadingNormalRange"


@pytest.mark.parametrize(
    ("part", "told"),
    [
        ("fan2", ["Environmental.FanWarning", "Environmental.FanFailed", "Environmental.FanRestored"]),
        ("psu1", ["Power.PowerSupplyWarning", "Power.PowerSupplyFailed", "Power.PowerSupplyRestored"]),
        (
            "blade3",
            [
                "ResourceEvent.ResourceStatusChangedWarning",
                "ResourceEvent.ResourceStatusChangedCritical",
                "ResourceEvent.ResourceStatusChangedOK",
            ],
        ),
    ],
)
@pytest.mark.parametrize("dialect", ["modern", "classic", "push", "reports"])
def test_a_part_s_health_is_told_in_the_words_of_its_kind(dialect: str, part: str, told: list[str]) -> None:
    one, source = scene(dialect)
    for health in ("Warning", "Warning", "Critical", "OK"):
        source.ill(part, health)
        one.service.look(NOW)
    assert keys(one) == told
    origin, _, pointer = (newest(one).origin or "").partition("#")
    body = one.get(origin)
    for step in pointer.split("/")[1:]:
        body = body[int(step)] if step.isdigit() else body[step]
    assert body["SerialNumber"] == one.sled.parts[f"{one.sled.name}/{part}"].serial


def test_a_drive_that_expects_to_fail_and_is_exchanged() -> None:
    one, source = scene()
    source.ill("blade1/drive0", "Warning", failure_predicted=True)
    one.service.look(NOW)
    assert newest(one).args == ("BLADE 1 DRIVE 0",) or "BLADE 1" in newest(one).args[0]
    source.ill("blade1/drive0", "OK", failure_predicted=False)
    one.service.look(NOW)
    assert keys(one) == ["StorageDevice.DrivePredictiveFailure", "StorageDevice.DrivePredictiveFailureCleared"]


def test_a_host_goes_off_and_on() -> None:
    one, source = scene()
    source.ill("blade2/host", "Critical", power_state="Off")
    one.service.look(NOW)
    source.ill("blade2/host", "OK", power_state="On")
    one.service.look(NOW)
    assert keys(one) == [
        "ResourceEvent.ResourceStatusChangedCritical",
        "ResourceEvent.ResourcePoweredOff",
        "ResourceEvent.ResourceStatusChangedOK",
        "ResourceEvent.ResourcePoweredOn",
    ]
    assert newest(one).origin == "/redfish/v1/Systems/Blade2"
    records = list(one.service.journal or ())
    assert records[1].group == records[2].group != records[3].group


@pytest.mark.parametrize(
    ("dialect", "body", "args"),
    [
        ("modern", {"LocationIndicatorActive": True}, ("LocationIndicatorActive", "true")),
        ("classic", {"IndicatorLED": "Blinking"}, ("IndicatorLED", "Blinking")),
    ],
)
def test_a_lamp_that_a_client_lights_is_told_with_the_property_it_wrote(
    dialect: str, body: dict[str, object], args: tuple[str, str]
) -> None:
    one, _ = scene(dialect)
    assert one.ask("PATCH", "/redfish/v1/Chassis/Blade2", body).status == 200
    assert newest(one).message == "ResourceEvent.1.4.PropertyValueModifiedByClient"
    assert newest(one).args == args
    assert newest(one).origin == "/redfish/v1/Chassis/Blade2"


def test_a_restart_of_the_controller_is_told_after_it_and_forgets_no_record() -> None:
    one, source = scene()
    source.ill("fan1", "Critical")
    one.service.look(NOW)
    source.controller(Mode.REBOOTING)
    one.service.look(NOW + 1)
    assert keys(one) == ["Environmental.FanFailed"]
    source.controller(Mode.SERVING)
    one.service.look(NOW + 60)
    assert keys(one)[1:] == ["ManagerEvent.ManagerReset", "HeartbeatEvent.RedfishServiceStarted"]
    assert newest(one).time == NOW + 60


@pytest.mark.parametrize(
    ("part", "told"),
    [
        ("fan2", ["Environmental.FanRemoved", "Environmental.FanInserted"]),
        ("psu1", ["Power.PowerSupplyRemoved", "Power.PowerSupplyInserted"]),
        ("blade1/drive0", ["StorageDevice.DriveRemoved", "StorageDevice.DriveInserted"]),
        ("blade3", ["ResourceEvent.ResourceStateChanged"] * 2),
    ],
)
def test_a_part_that_goes_comes_or_is_exchanged(part: str, told: list[str]) -> None:
    one, source = scene()
    source.part(part, state="Absent")
    one.service.look(NOW)
    one.service.look(NOW)
    source.part(part, state="Enabled", replacement="ANOTHER1")
    one.service.look(NOW)
    assert keys(one) == told
    source.part(part, replacement="ANOTHER2")
    one.service.look(NOW)
    assert keys(one)[2:] == told
    source.part(part, replacement=None)
    one.service.look(NOW)
    assert keys(one)[4:] == told
    assert not one.service.restless


@pytest.mark.parametrize(("design", "dialect"), sorted(KINDS))
def test_every_part_and_sensor_has_an_origin_that_is_there(design: str, dialect: str) -> None:
    """And one of its own wherever the dialect has a resource or row for it."""
    tree = tree_of(design, dialect)
    assert tree.around is not None
    telling = tree.around.telling
    for uri in (*telling.parts.values(), *telling.sensors.values()):
        path, _, pointer = uri.partition("#")
        body = tree.resources[path].body
        for step in pointer.split("/")[1:]:
            body = body[int(step)] if isinstance(body, list) else body[step]
    own = list(telling.parts.values())
    if dialect == "classic":  # the older model has no word for filters
        assert telling.parts["filter"] == telling.parts[""]
        own.remove(telling.parts["filter"])
    assert len(set(own)) == len(own)
    if dialect != "classic":
        assert len(set(telling.sensors.values())) == len(telling.sensors)


def test_a_power_shelf_tells_of_its_rectifiers() -> None:
    shelf = next(unit for unit in SITE.equipment if isinstance(unit, Shelf))
    tree = dialects.tree(shelf)
    source = Scene(shelf.name)
    service = Service(shelf, tree, source, Account(USER, PASSWORD))
    service.look(NOW)
    source.ill("psu3", "Critical")
    service.look(NOW)
    assert service.journal is not None
    record = list(service.journal)[-1]
    assert (record.message, record.args) == ("Power.1.2.PowerSupplyFailed", ("PSU 3",))
    assert record.origin in tree.resources


def test_fans_are_told_in_the_unit_in_which_the_dialect_shows_them() -> None:
    for dialect, unit in (("modern", "%"), ("classic", "RPM")):
        one, source = scene(dialect)
        source.sensor("Fan1Tach", 0.0)
        one.service.look(NOW)
        assert newest(one).args[1:3] == ("0", unit)


def test_a_journal_overwrites_its_oldest_and_goes_on_counting() -> None:
    journal = Journal(3)
    for number in range(1, 6):
        journal.write(Record(number=number, time=NOW, message="ResourceEvent.1.4.TestMessage"))
    assert [record.number for record in journal] == [3, 4, 5]
    assert (journal.first, journal.last, len(journal)) == (3, 5, 3)
    assert [record.number for record in journal.after(0)] == [3, 4, 5]
    assert [record.number for record in journal.after(4)] == [5]
    assert journal.after(9) == []
    assert journal.get(2) is None
    assert journal.get(4) is list(journal)[1]
    with pytest.raises(ValueError, match="can't follow"):
        journal.write(Record(number=9, time=NOW, message="x"))
    with pytest.raises(ValueError, match="can't keep"):
        Journal(0)
