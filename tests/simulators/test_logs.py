"""Log services: entries, order, pages, overwriting and clearing, each dialect in its own way."""

from __future__ import annotations

from typing import Any

import pytest

from simulators.service.offers import OFFERS
from tests.simulators.event_kit import ENTRIES, keys, scene
from tests.simulators.service_kit import ADMIN, NOW, Asker


def busy(dialect: str, times: int) -> Asker:
    """A service in which a lamp has been switched so often, on and off by turns."""
    one, source = scene(dialect)
    for turn in range(times):
        source.time = one.now = NOW + turn
        source.part("blade1", locate=turn % 2 == 0)
        one.service.look(NOW + turn)
    return one


def pages(one: Asker, path: str) -> list[dict[str, Any]]:
    found, following = [], path
    while following:
        found.append(one.get(following))
        following = found[-1].get("Members@odata.nextLink", "")
    return found


@pytest.mark.parametrize("dialect", sorted(OFFERS))
def test_a_client_that_follows_every_link_reads_the_whole_log_once_and_in_order(dialect: str) -> None:
    style = OFFERS[dialect].logs
    one = busy(dialect, 40)
    found = pages(one, ENTRIES)
    entries = [entry for page in found for entry in page["Members"]]
    numbers = [int(entry["Id"]) for entry in entries]
    assert numbers == sorted(range(1, 42), reverse=style.newest_first)
    assert {page["Members@odata.count"] for page in found} == {41}
    assert max(len(page["Members"]) for page in found) <= style.page
    assert len(found) == -(-41 // style.page)
    for entry in entries[:3]:
        single = one.get(entry["@odata.id"])
        assert single == entry
        assert entry["EntryType"] == "Event"
        assert entry["@odata.id"] == f"{ENTRIES}/{entry['Id']}"
        assert entry["Links"]["OriginOfCondition"]["@odata.id"].startswith("/redfish/v1/")


@pytest.mark.parametrize("dialect", sorted(OFFERS))
def test_a_full_log_overwrites_its_oldest_entries(dialect: str) -> None:
    capacity = OFFERS[dialect].logs.capacity
    one = busy(dialect, capacity + 5)
    found = [int(entry["Id"]) for page in pages(one, ENTRIES) for entry in page["Members"]]
    assert sorted(found) == list(range(7, capacity + 7))
    assert one.get(ENTRIES)["Members@odata.count"] == capacity
    assert one.get(ENTRIES.removesuffix("/Entries"))["MaxNumberOfRecords"] == capacity
    assert one.error("GET", f"{ENTRIES}/6") == (404, ["ResourceMissingAtURI"])
    assert one.get(f"{ENTRIES}/7")["Id"] == "7"


def test_pages_stay_whole_while_entries_come() -> None:
    one, source = scene("classic")
    for turn in range(20):
        source.part("blade1", locate=turn % 2 == 0)
        one.service.look(NOW)
    first = one.get(ENTRIES)
    for turn in range(5):
        source.part("blade2", locate=turn % 2 == 0)
        one.service.look(NOW)
    second = one.get(first["Members@odata.nextLink"])
    numbers = [int(entry["Id"]) for entry in first["Members"] + second["Members"]]
    assert numbers == list(range(1, 17))


def test_top_and_skip_where_they_are_declared_and_501_where_not() -> None:
    one = busy("modern", 9)
    page = one.get(f"{ENTRIES}?$skip=2&$top=3")
    assert [entry["Id"] for entry in page["Members"]] == ["8", "7", "6"]
    assert page["Members@odata.nextLink"] == f"{ENTRIES}?$skip=5&$top=3"
    assert page["Members@odata.count"] == 10
    assert [len(one["Members"]) for one in pages(one, f"{ENTRIES}?$skip=2&$top=3")] == [3, 3, 2]
    assert one.error("GET", f"{ENTRIES}?$top=x") == (400, ["QueryParameterValueFormatError"])
    old = busy("classic", 3)
    assert old.error("GET", f"{ENTRIES}?$top=3") == (501, ["QueryParameterUnsupported"])
    assert old.error("GET", f"{ENTRIES}?from=x") == (400, ["QueryParameterValueFormatError"])


def test_select_keeps_what_is_asked_for_and_the_link_to_the_next_page() -> None:
    one = busy("modern", 60)
    page = one.get(f"{ENTRIES}?$select=MessageId")
    assert set(page["Members"][0]) == {"@odata.id", "@odata.type", "MessageId"}
    assert [len(one["Members"]) for one in pages(one, f"{ENTRIES}?$select=MessageId")] == [50, 11]


def test_each_host_has_a_log_of_its_own_in_one_dialect() -> None:
    one, source = scene("push")
    source.part("blade2", locate=True)
    source.ill("blade2/host", "Critical")
    source.ill("fan1", "Critical")
    sensor = next(point.spec for point in source.telemetry().sensors.values() if point.spec.id == "Blade2Cpu0")
    limit = sensor.thresholds.upper_critical
    assert limit is not None
    source.sensor(sensor.id, limit + 1.0)
    one.service.look(NOW)
    entries = "/redfish/v1/Systems/Blade{}/LogServices/Host/Entries"
    assert {len(one.get(entries.format(n))["Members"]) for n in (1, 3, 4)} == {0}
    told = [entry["MessageId"].rpartition(".")[2] for entry in one.get(entries.format(2))["Members"]]
    assert sorted(told) == [
        "PropertyValueModifiedByClient",
        "ReadingAboveUpperCriticalThreshold",
        "ResourceStatusChangedCritical",
    ]
    assert one.get(ENTRIES)["Members@odata.count"] == 5
    assert one.error("GET", f"{entries.format(1)}/2") == (404, ["ResourceMissingAtURI"])


def test_clearing_takes_an_administrator_and_leaves_a_record_of_itself() -> None:
    one = busy("modern", 5)
    clear = ENTRIES.removesuffix("Entries") + "Actions/LogService.ClearLog"
    assert one.get(ENTRIES.removesuffix("/Entries"))["Actions"]["#LogService.ClearLog"]["target"] == clear
    assert one.error("POST", clear) == (403, ["InsufficientPrivilege"])
    assert one.error("POST", clear, {"All": True}, **ADMIN) == (400, ["ActionParameterUnknown"])
    assert one.error("GET", clear) == (405, ["OperationNotAllowed"])
    assert one.ask("POST", clear, {}, **ADMIN).status == 204
    [entry] = one.get(ENTRIES)["Members"]
    assert entry["MessageId"] == "LogService.1.1.LogCleared"
    assert entry["Id"] == "7"
    assert keys(one)[-1] == "LogService.LogCleared"


@pytest.mark.parametrize("method", ["POST", "PATCH", "DELETE"])
def test_entries_are_only_read(method: str) -> None:
    one = busy("modern", 1)
    assert one.error(method, ENTRIES) == (405, ["OperationNotAllowed"])
    assert one.error(method, f"{ENTRIES}/1") == (405, ["OperationNotAllowed"])


def test_an_entry_that_has_not_changed_is_304() -> None:
    one = busy("modern", 1)
    tag = one.ask("GET", f"{ENTRIES}/1").header("ETag")
    assert tag is not None
    assert one.ask("GET", f"{ENTRIES}/1", if_none_match=tag).status == 304
