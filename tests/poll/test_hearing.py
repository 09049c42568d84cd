"""From what was heard to events, without any network; and whose part it is about."""

from __future__ import annotations

from array import array
from typing import Any

import pytest

from collector.model import Frame, Health, Inventory, Kind, Layout, Part, Quantity, Sensor
from collector.poll.hearing import HISTORY, Hearing, Told
from collector.poll.origins import Origins
from collector.redfish.flow import Answer, Place
from collector.redfish.log_cursor import Bounds, Cursor, Item, Upset
from collector.redfish.log_places import MAX_LOGS, find_logs
from collector.redfish.logs import LogRead
from collector.redfish.notices import Source
from collector.redfish.registries import Registry, parse_registry
from tests.poll.eventful import EPOCH, SLED, event, record
from tests.redfish.flows import NOT_FOUND, from_folder, run

PLACE = Place("bmc", "https://192.0.2.17")
SLED_URI = "/redfish/v1/Chassis/Sled"
FAN_URI = f"{SLED_URI}/Thermal#/Fans/0"
assert EPOCH is not None
NOW = EPOCH + 1.0


def part(uri: str, kind: Kind) -> Part:
    return Part(id=f"bmc:{uri}", controller="bmc", uri=uri, kind=kind, name=uri)


def sensor(source: str, of: str, *also_at: str) -> Sensor:
    return Sensor(
        sensor=source,
        controller="bmc",
        part=f"bmc:{of}",
        kind=Kind.OTHER,
        quantity=Quantity.TEMPERATURE,
        unit="Cel",
        source=source,
        also_at=also_at,
    )


HOST = "/redfish/v1/Systems/1"
CPU = f"{HOST}/Processors/CPU1"
SENSORS = (
    sensor(f"{SLED_URI}/Sensors/CPU1Temp", CPU, f"{SLED_URI}/Thermal#/Temperatures/3/ReadingCelsius"),
    sensor(f"{SLED_URI}/Sensors/Inlet", SLED_URI),
    sensor(f"{SLED_URI}/EnvironmentMetrics#/TemperatureCelsius/Reading", SLED_URI),
    sensor(f"{SLED_URI}/Thermal#/Fans/0/Reading", FAN_URI),
)
INVENTORY = Inventory(
    controller="bmc",
    time=0.0,
    parts=(
        part(SLED_URI, Kind.SLED),
        part(FAN_URI, Kind.FAN),
        part(HOST, Kind.HOST),
        part(CPU, Kind.PROCESSOR),
    ),
    links=(),
    layout=Layout("bmc", SENSORS),
    statuses={},
    frame=Frame(0.0, array("d"), b""),
)


@pytest.mark.parametrize(
    ("origin", "expected"),
    [
        (SLED_URI, SLED_URI),
        (FAN_URI, FAN_URI),
        (f"{SLED_URI}/Thermal#/Fans/0/Status", FAN_URI),
        (f"{SLED_URI}/Thermal#/Fans/1", SLED_URI),
        (f"{SLED_URI}/Thermal#/Temperatures/3", CPU),
        (f"{SLED_URI}/Thermal", SLED_URI),
        (f"{SLED_URI}/Sensors/CPU1Temp", CPU),
        (f"{SLED_URI}/Sensors/Unknown", SLED_URI),
        (CPU, CPU),
        (f"{HOST}/Memory/D1", HOST),
        (f"{HOST}/LogServices/Log/Entries/4", HOST),
        ("/redfish/v1/Systems/2", None),
        ("/redfish/v1/AccountService/Accounts/1", None),
        ("/redfish/v1/", None),
        ("", None),
        (None, None),
    ],
)
def test_whose_part_it_is(origin: str | None, expected: str | None) -> None:
    assert Origins(INVENTORY).part(origin) == (None if expected is None else f"bmc:{expected}")


def hearing(kept: bytes | None = None) -> Hearing:
    made = Hearing(PLACE, kept=kept)
    made.walked(INVENTORY)
    made.learn([registry()])
    return made


def registry() -> Registry:
    found, defects = parse_registry(SLED, PLACE, "/r")
    assert found is not None
    assert not defects
    return found


def texts(told: Told) -> list[tuple[str, str]]:
    if told.update is None or told.update.assessment is None:
        return []
    return [(one.subject, one.text) for one in told.update.assessment.events]


SLOW = ("told", "Fan 'CPU1' is slow at 12 percent.")


def test_what_is_told_again_is_nothing() -> None:
    one = hearing()
    first = one.event(event(record()), Source.SSE, NOW)
    assert texts(first) == [SLOW]
    assert first.urgent
    again = one.event(event(record()), Source.SSE, NOW + 5)
    assert again == Told()


def test_heartbeats_and_reports_are_no_events() -> None:
    one = hearing()
    beat = record() | {"MessageId": "HeartbeatEvent.1.0.RedfishServiceFunctional"}
    assert one.event(event(beat), Source.PUSH, NOW).update is None
    report = {"@odata.type": "#MetricReport.v1_5_2.MetricReport", "Id": "All", "MetricValues": []}
    assert one.event(report, Source.SSE, NOW).update is None


@pytest.mark.parametrize(
    ("told", "urgent", "moved"),
    [
        (record(origin=None), True, False),
        (record("FanFine", "CPU1", origin=FAN_URI), True, False),
        (record("FanFine", "CPU1", origin="/redfish/v1/SessionService"), False, False),
        (record("Added") | {"MessageId": "ResourceEvent.1.4.ResourceCreated", "Message": "x"}, True, True),
        (record() | {"MessageId": "ResourceEvent.1.4.ResourceErrorsDetected", "Message": "x"}, True, False),
    ],
)
def test_what_is_worth_a_look(told: dict[str, Any], urgent: bool, moved: bool) -> None:
    came = hearing().event(event(told), Source.SSE, NOW)
    assert (came.urgent, came.moved) == (urgent, moved)


def test_over_is_what_a_later_message_clears_also_after_a_restart() -> None:
    one = hearing()
    first = one.event(event(record()), Source.SSE, NOW)
    assert first.update is not None
    later = hearing(first.update.heard)
    came = later.event(event(record("FanFine", "CPU1", number=2)), Source.SSE, NOW + 60)
    assert texts(came) == [("told", "Fan 'CPU1' is fine again."), ("over", "Fan 'CPU1' is slow at 12 percent.")]
    assert came.update is not None
    assert came.update.assessment is not None
    assert {one.severity for one in came.update.assessment.events} == {Health.OK}
    again = later.event(event(record("FanFine", "CPU1", number=3)), Source.SSE, NOW + 61)
    assert texts(again) == [("told", "Fan 'CPU1' is fine again.")], "it is over once"


ENTRIES = f"{HOST}/LogServices/Log/Entries"


def entries(*numbers: int, **more: Any) -> LogRead:
    def item(number: int) -> Item:
        told = record("FanSlow", f"F{number}", "12")
        links = {"OriginOfCondition": told["OriginOfCondition"]}
        body = {"Id": str(number), "Created": told["EventTimestamp"], "Severity": "Warning", "Links": links}
        return Item(f"{ENTRIES}/{number}", {**body, "MessageId": told["MessageId"], "MessageArgs": told["MessageArgs"]})

    cursor = Cursor(entries=ENTRIES, settled=True, seen=numbers)
    return LogRead(**{"cursor": cursor, "items": tuple(map(item, numbers)), **more})


def test_history_is_told_in_part_and_brings_nothing_forward() -> None:
    one = hearing()
    came = one.log(entries(*range(100), history=True), ENTRIES, NOW)
    assert len(texts(came)) == HISTORY
    assert {subject for subject, _ in texts(came)} == {"logged earlier"}
    assert texts(came)[-1] == ("logged earlier", "Fan 'F99' is slow at 12 percent.")
    assert not came.urgent
    assert one.cursor(ENTRIES).settled
    assert came.update is not None
    assert hearing(came.update.heard).cursor(ENTRIES) == one.cursor(ENTRIES)


def test_a_cursor_is_kept_when_it_moved_only() -> None:
    one = hearing()
    assert one.log(entries(), ENTRIES, NOW).update is not None, "that the log was empty is worth knowing"
    assert one.log(entries(), ENTRIES, NOW).update is None
    came = one.log(entries(1), ENTRIES, NOW)
    assert texts(came) == [("logged", "Fan 'F1' is slow at 12 percent.")]
    assert came.urgent


@pytest.mark.parametrize(("upset", "subject"), [(Upset.CLEARED, "log cleared"), (Upset.OVERRUN, "log overrun")])
def test_what_befell_a_log(upset: Upset, subject: str) -> None:
    came = hearing().log(entries(upset=upset), ENTRIES, NOW)
    assert [told for told, _ in texts(came)] == [subject]
    assert texts(came)[0][1].startswith(ENTRIES)


def test_logs_that_are_gone_are_forgotten() -> None:
    one = hearing()
    one.log(entries(1), ENTRIES, NOW)
    one.keep_logs([])
    assert one.cursor(ENTRIES) == Cursor(entries=ENTRIES)


def test_what_is_kept_is_bounded() -> None:
    one = hearing()
    heard = b""
    for number in range(500):
        told = one.event(event(record("FanSlow", "x" * 400, "1", number=number)), Source.SSE, NOW + number)
        assert told.update is not None
        heard = told.update.heard or b""
    assert len(heard) < 300_000
    assert Bounds().entries * 10 > HISTORY


def test_which_registries_are_needed() -> None:
    one = Hearing(PLACE)
    bodies = [event(record(), record() | {"MessageId": "Power.1.0.X"}), {"MessageId": "0x592A28"}, {"MessageId": 5}, {}]
    assert one.unknown_prefixes(bodies) == {"Sled", "Power"}
    one.learn([registry()])
    assert one.unknown_prefixes(bodies) == {"Power"}


def test_the_logs_of_the_published_examples(mockups: Any) -> None:
    folder = mockups / "public-rackmount1"
    service = from_folder(folder)
    owners = [
        {"@odata.type": kind, "LogServices": {"@odata.id": f"/redfish/v1/{path}/LogServices"}}
        for kind, path in (
            ("#ComputerSystem.v1_25_0.ComputerSystem", "Systems/437XR1138R2"),
            ("#Manager.v1_23_0.Manager", "Managers/BMC"),
            ("#Manager.v1_23_0.Manager", "Managers/BMC"),
            ("#AccountService.v1_0_0.AccountService", "AccountService"),
            ("#Chassis.v1_28_0.Chassis", "Chassis/1U"),  # leads to nothing here
        )
    ]
    found = run(find_logs(owners, PLACE), service)
    assert [place.entries for place in found.places] == [
        "/redfish/v1/Managers/BMC/LogServices/Log/Entries",
        "/redfish/v1/Systems/437XR1138R2/LogServices/Log1/Entries",
    ]
    assert not found.defects


def test_logs_without_end_and_logs_that_fail() -> None:
    members = [{"@odata.id": f"{HOST}/LogServices/{number}"} for number in range(500)]
    owner = {"@odata.type": "#Manager.v1_23_0.Manager", "LogServices": {"@odata.id": f"{HOST}/LogServices"}}
    asked: list[Any] = []

    def service(ask: Any) -> Answer:
        return Answer(200, {"Members": members}) if ask.path == f"{HOST}/LogServices" else Answer(500)

    found = run(find_logs([owner], PLACE), service, asked)
    assert found.places == ()
    assert len(asked) == 1 + MAX_LOGS
    assert len(found.defects) == MAX_LOGS
    assert run(find_logs([{**owner, "LogServices": {"@odata.id": 5}}], PLACE), lambda ask: NOT_FOUND).places == ()


@pytest.mark.parametrize(
    ("severity", "resolution", "advice"),
    [
        ("Critical", "Replace the fan.", " What to do: Replace the fan."),
        ("OK", "Replace the fan.", ""),
        ("Critical", "None.", ""),
        ("Warning", "x" * 1000, " What to do: " + "x" * 299 + "…"),
    ],
)
def test_what_is_advised_stands_in_the_event(severity: str, resolution: str, advice: str) -> None:
    """Resolution: Event and Message, DSP8010; the standard registries (DSP8011) say None where nothing need be done."""
    told = {"MessageId": "Other.1.0.Y", "Message": "Y.", "MessageSeverity": severity, "Resolution": resolution}
    came = hearing().event(event(record() | told), Source.SSE, NOW)
    assert texts(came) == [("told", "Y." + advice)]
