"""A service's clock against ours. Date-Time values: DSP0266; DateTimeLocalOffset: Manager, DSP8010; Date: RFC 9110."""

from __future__ import annotations

import json
from typing import Any

import pytest

from collector.model import DefectKind
from collector.redfish import service_clock
from collector.redfish.resources import SERVICE_ROOT, ClockRead
from collector.redfish.wire import Reply

NOW = 1_764_075_600.0  # 2025-11-25T13:00:00Z, by date(1)
PATH = "/redfish/v1/Managers/BMC"


def manager(**told: Any) -> dict[str, Any]:
    return {"@odata.id": PATH, "@odata.type": "#Manager.v1_19_0.Manager", **told}


@pytest.mark.parametrize(
    ("told", "offset"),
    [
        ({"DateTime": "2025-11-25T13:00:00Z"}, 0.0),
        ({"DateTime": "2025-11-25T15:00:00+02:00", "DateTimeLocalOffset": "+02:00"}, 0.0),
        ({"DateTime": "2025-11-25T15:00:00", "DateTimeLocalOffset": "+02:00"}, 0.0),
        ({"DateTime": "2025-11-25T08:00:00-05:00", "DateTimeLocalOffset": "+02:00"}, 0.0),
        ({"DateTime": "2025-11-25 08:00:00-05:00", "DateTimeLocalOffset": "-05:00"}, 0.0),
        ({"DateTime": "2024-11-25T13:00:00Z"}, -365 * 86_400.0),
        ({"DateTime": "2025-11-25T13:02:00", "DateTimeLocalOffset": "nonsense"}, 120.0),
    ],
)
def test_a_managers_time(told: dict[str, Any], offset: float) -> None:
    """Whole seconds are cut off, so half a second stands for the mean; half of the four seconds is taken off."""
    read = service_clock.by_manager(PATH, manager(**told), NOW - 2, NOW + 2)
    assert read is not None
    assert read.offset == pytest.approx(offset + 0.5)
    assert read.spread == pytest.approx(2.5)


@pytest.mark.parametrize("told", [{}, {"DateTime": None}, {"DateTime": 7}, {"DateTime": "soon"}])
def test_no_time(told: dict[str, Any]) -> None:
    assert service_clock.by_manager(PATH, manager(**told), NOW, NOW) is None


def test_half_the_exchange_is_taken_off_and_may_excuse() -> None:
    """An answer that took two minutes says little: it may have been made at any time of them."""
    read = service_clock.by_manager(PATH, manager(DateTime="2025-11-25T13:00:00Z"), NOW - 120, NOW)
    assert read is not None
    assert read.offset == pytest.approx(60.5)
    assert service_clock.defect("bmc", read) is None


@pytest.mark.parametrize(("offset", "wrong"), [(59.0, False), (60.0, False), (61.0, True), (-61.0, True)])
def test_beyond_a_minute_it_is_a_defect(offset: float, wrong: bool) -> None:
    found = service_clock.defect("bmc", ClockRead(source=PATH, offset=offset, spread=0.5))
    assert (found is not None) == wrong
    if found is not None:
        assert (found.resource, found.property, found.kind) == (PATH, "/DateTime", DefectKind.BAD_TIME)
        assert "NTP" in found.detail


def test_the_manager_that_provides_the_service_counts_then_any_then_the_header() -> None:
    one, two = (ClockRead(source=f"{PATH}{n}", offset=float(n), spread=0.5) for n in (1, 2))
    reply = Reply(200, [(b"date", b"Tue, 25 Nov 2025 13:00:00 GMT")], b"")
    header = service_clock.by_header(reply, NOW, NOW)
    assert header is not None
    assert header.offset == pytest.approx(0.5)
    root = {"Links": {"ManagerProvidingService": {"@odata.id": f"{PATH}2"}}}
    both = {one.source: one, two.source: two}
    assert service_clock.service_clock(root, both, header) is two
    assert service_clock.service_clock({}, both, header) is one
    assert service_clock.service_clock(root, {}, header) is header
    assert service_clock.service_clock(root, {}, None) is None
    late = service_clock.defect("bmc", ClockRead(source=service_clock.DATE_HEADER, offset=-7200.0, spread=0.5))
    assert late is not None
    assert (late.resource, late.property) == (SERVICE_ROOT, "")
    assert "2.0 hours behind" in late.detail


@pytest.mark.parametrize("expanded", [False, True])
def test_rounds_find_it_again(expanded: bool) -> None:
    one = manager(DateTime="2025-11-25T13:00:10Z")
    body = {"@odata.id": "/redfish/v1/Managers", "Members": [manager() | {"@odata.id": "/other"}, one]}
    told = body if expanded else one
    place = "/redfish/v1/Managers" if expanded else PATH
    assert dict(service_clock.in_resource(place, told, NOW, NOW))[PATH].offset == pytest.approx(10.5)
    clock = ClockRead(source=PATH, offset=0.0, spread=0.5)
    read = service_clock.read_again(clock, Reply(200, [], json.dumps(told).encode()), NOW, NOW)
    assert read is not None
    assert read.offset == pytest.approx(10.5)
    for rubbish in (b"", b"[]", b'{"Members": 7}', b"\xff", b'{"Members": [[]]}', b"[" * 100_000):
        assert service_clock.read_again(clock, Reply(200, [], rubbish), NOW, NOW) is None
