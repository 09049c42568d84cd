"""Notices of events, reports and log entries, against the published examples (DMTF DSP2043, DSP2046) and registries."""

from __future__ import annotations

import json
from datetime import datetime
from functools import lru_cache
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.model import DefectKind, Health
from collector.redfish.notices import Heard, Notice, NoticeReader, Source
from collector.redfish.recent import Recent, Standing
from collector.redfish.registries import Library
from collector.redfish.times import moment
from tests.conftest import standard
from tests.redfish.flows import PLACE, published, strings
from tests.redfish.test_registries import standard_shelf

NOW = datetime.fromisoformat("2025-06-01T12:00:00+00:00").timestamp()
FAN = "/redfish/v1/Chassis/S1/ThermalSubsystem/Fans/4"


@lru_cache
def reader() -> NoticeReader:
    return NoticeReader(PLACE, Library(standard=standard_shelf()))


def example(name: str) -> Heard:
    body = json.loads((standard("redfish", "mockups", "non-resource-examples") / f"{name}.json").read_bytes())
    return reader().event(body, Source.PUSH, NOW)


def event(told: dict[str, Any], source: Source = Source.PUSH, now: float = NOW) -> Notice:
    heard = NoticeReader(PLACE, Library(standard=standard_shelf())).event({"Events": [told]}, source, now)
    return heard.notices[0]


def entry(told: dict[str, Any], path: str = "/log/Entries/1", now: float = NOW) -> Notice:
    return NoticeReader(PLACE, Library(standard=standard_shelf())).entry(told, path, now).notices[0]


# Published bodies


def test_event_example() -> None:
    heard = example("EventExample")
    (notice,) = heard.notices
    assert heard.defects == ()
    assert heard.context == "ContosoWebClient"
    assert (
        notice.text == "A cable was removed from network adapter '1' port '1'."
    )  # the registry's; the record's differs
    assert notice.severity is Health.WARNING
    assert notice.origin == "/redfish/v1/Systems/1/EthernetInterfaces/1"
    assert notice.entry == "/redfish/v1/Managers/BMC/LogServices/EventLog/Entries/532"
    assert (notice.time, notice.told_time, notice.received) == (NOW, None, NOW)  # it tells no time


def test_event_example_with_group() -> None:
    notices = example("EventExampleWithEventGroupId").notices
    assert [notice.group for notice in notices] == [77, 77, 77]
    assert [notice.severity for notice in notices] == [Health.WARNING, Health.CRITICAL, Health.WARNING]
    # The unpublished registry's raw %1 are filled from the record's own arguments.
    assert notices[0].text == "The cable has been disconnected on EthernetInterface 1 of system /redfish/v1/Systems/1"
    # ResourceEvent asks for arguments that did not come, so the record's own words stand.
    assert notices[2].text == "Resource status has changed to Warning"


def test_event_example_with_embedded_origin() -> None:
    heard = example("EventExampleWithOrigin")
    assert heard.notices[0].origin == "/redfish/v1/Systems/1/EthernetInterfaces/1"
    assert heard.notices[0].message_id == "Alert.1.0.LanDisconnect"
    assert heard.context == "ABCDEFGH"


def test_every_published_log_entry_becomes_a_notice() -> None:
    seen = 0
    for where, body in published("LogEntry"):
        heard = reader().entry(body, body.get("@odata.id", f"/{where}"), NOW)
        (notice,) = heard.notices
        assert heard.defects == (), where
        assert notice.text.strip(), where
        assert notice.severity.word == body["Severity"]
        created = datetime.fromisoformat(body.get("EventTimestamp", body["Created"]))
        assert notice.time == notice.told_time == created.timestamp()
        assert notice.origin == body.get("Links", {}).get("OriginOfCondition", {}).get("@odata.id")
        assert notice.source is Source.LOG
        seen += 1
    assert seen >= 16


def test_every_published_event_becomes_notices() -> None:
    bodies = list(published("Event"))
    assert len(bodies) == 4
    for where, body in bodies:
        heard = reader().event(body, Source.SSE, NOW)
        assert len(heard.notices) == len(body["Events"]), where
        assert heard.defects == ()


def test_every_published_metric_report_is_told_and_handed_on() -> None:
    bodies = list(published("MetricReport"))
    assert len(bodies) >= 5
    for where, body in bodies:
        heard = reader().event(body, Source.SSE, moment(body.get("Timestamp")) or NOW)
        assert heard.report is body, where
        assert heard.notices[0].report
        assert heard.notices[0].origin == body["@odata.id"]
        assert heard.defects == ()


def test_raw_event_log_entries_keep_their_words() -> None:
    # catfish: MessageId 0x592A28, "Upper Critical - going high"
    body = next(body for where, body in published("LogEntry") if "catfish" in where)
    assert entry(body).text == "Temperature threshold exceeded"
    del body["Message"]
    assert entry(body).text == "Temperature 1: Upper Critical - going high"


# Times


@pytest.mark.parametrize(
    ("told", "same_as"),
    [
        # RFC 3339, section 5.8
        ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.520000+00:00"),
        ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57+00:00"),
        ("1990-12-31T23:59:60Z", "1991-01-01T00:00:00+00:00"),
        ("1990-12-31T15:59:60-08:00", "1991-01-01T00:00:00+00:00"),
        ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.870000+00:00"),
        # redfish-notes section 7, quirk 24
        ("2016-07-25T11:27:59.795513984+02:00", "2016-07-25T09:27:59.795514+00:00"),
        ("2012-03-07T14:44Z", "2012-03-07T14:44:00+00:00"),
        ("2012-03-07T14:44.30-05:00", "2012-03-07T19:44:30+00:00"),
        ("2015-03-13T04:14:33+6:00", "2015-03-12T22:14:33+00:00"),
        ("2012-03-07T14:44:00", "2012-03-07T14:44:00+00:00"),
        ("2020-11-08T12:25:00-05:00 ", "2020-11-08T17:25:00+00:00"),
    ],
)
def test_times(told: str, same_as: str) -> None:
    assert moment(told) == pytest.approx(datetime.fromisoformat(same_as).timestamp(), abs=1e-6)


@pytest.mark.parametrize(
    "told", ["", "yesterday", "2012-13-07T14:44:00Z", "2012-03-07", 5, None, "2012-03-07T14:44:00+99:00"]
)
def test_no_times(told: object) -> None:
    assert moment(told) is None


def test_every_published_time_is_understood() -> None:
    names = ("Created", "EventTimestamp", "Timestamp", "DateTime", "Modified", "ReadingTime", "SensorResetTime")
    told = set(strings(*names))
    assert len(told) > 20
    assert [value for value in told if moment(value) is None] == []


@given(st.datetimes(min_value=datetime(1, 1, 2), max_value=datetime(9999, 12, 30)), st.timezones())
def test_every_time_of_the_standard_library_reads_the_same(time: datetime, zone: Any) -> None:
    told = time.replace(tzinfo=zone)
    if told.utcoffset() is not None and told.utcoffset().total_seconds() % 60 == 0:  # type: ignore[union-attr]
        assert moment(told.isoformat()) == pytest.approx(told.timestamp(), abs=1e-4)


@pytest.mark.parametrize(
    ("told", "source", "time", "kind"),
    [
        ("2025-06-01T11:59:00Z", Source.PUSH, NOW - 60, None),
        ("2024-06-01T12:00:00Z", Source.PUSH, NOW, DefectKind.BAD_TIME),  # a clock off by a year
        ("2026-06-01T12:00:00Z", Source.SSE, NOW, DefectKind.BAD_TIME),
        ("1970-01-01T00:07:00Z", Source.LOG, NOW, DefectKind.BAD_TIME),  # a clock that was never set
        ("2024-06-01T12:00:00Z", Source.LOG, NOW - 365 * 86400, None),  # a log may well be old
        ("soon", Source.LOG, NOW, DefectKind.BAD_TIME),
        (17, Source.LOG, NOW, DefectKind.BAD_TIME),
    ],
)
def test_a_clock_that_is_wrong(told: object, source: Source, time: float, kind: DefectKind | None) -> None:
    record = {"MessageId": "A.1.0.B", "EventTimestamp": told, "Created": told}
    if source is Source.LOG:
        heard = NoticeReader(PLACE).entry(record, "/log/Entries/1", NOW)
    else:
        heard = NoticeReader(PLACE).event({"Events": [record]}, source, NOW)
    assert heard.notices[0].time == time
    assert heard.notices[0].told_time == moment(told)
    assert [defect.kind for defect in heard.defects] == ([] if kind is None else [kind])


# Records that are not as they should be


@pytest.mark.parametrize(
    ("origin", "expected"),
    [
        ({"@odata.id": "/redfish/v1/Chassis/1/"}, "/redfish/v1/Chassis/1"),
        ({"@odata.id": "/redfish/v1/Chassis/1/Thermal#/Fans/0"}, "/redfish/v1/Chassis/1/Thermal#/Fans/0"),
        ("/redfish/v1/Chassis/1", "/redfish/v1/Chassis/1"),
        ({"@odata.id": "https://192.0.2.17/redfish/v1/Chassis/1"}, "/redfish/v1/Chassis/1"),
        ({}, None),
        (None, None),
    ],
)
def test_origins(origin: object, expected: str | None) -> None:
    assert event({"MessageId": "A.1.0.B", "OriginOfCondition": origin}).origin == expected


@pytest.mark.parametrize(
    ("record", "name", "kind"),
    [
        (
            {"OriginOfCondition": {"@odata.id": "https://elsewhere.example/x"}},
            "OriginOfCondition",
            DefectKind.FOREIGN_LINK,
        ),
        ({"OriginOfCondition": []}, "OriginOfCondition", DefectKind.DANGLING_LINK),
        ({"Severity": "Dire"}, "Severity", DefectKind.UNKNOWN_WORD),
        ({"MessageArgs": "x"}, "MessageArgs", DefectKind.WRONG_TYPE),
        ({"MessageArgs": [{}]}, "MessageArgs", DefectKind.WRONG_TYPE),
        ({"MessageArgs": ["x"] * 100}, "MessageArgs", DefectKind.WRONG_TYPE),
        ({"EventGroupId": "77"}, "EventGroupId", DefectKind.WRONG_TYPE),
        ({"EventGroupId": 2**70}, "EventGroupId", DefectKind.WRONG_TYPE),
        ({"EventId": {}}, "EventId", DefectKind.WRONG_TYPE),
        ({"Message": 1.5}, "Message", DefectKind.WRONG_TYPE),
        ({"MessageId": None}, "MessageId", DefectKind.MISSING),
    ],
)
def test_what_can_t_be_read_is_a_defect_and_the_rest_is_told(
    record: dict[str, Any], name: str, kind: DefectKind
) -> None:
    heard = NoticeReader(PLACE).event({"Events": [{"MessageId": "A.1.0.B", **record}]}, Source.PUSH, NOW)
    assert [(defect.property, defect.kind) for defect in heard.defects] == [(f"/Events/0/{name}", kind)]
    assert len(heard.notices) == 1


def test_numbers_as_arguments_are_taken() -> None:
    assert event({"MessageId": "Environmental.1.0.FanFailed", "MessageArgs": [4]}).text == "Fan '4' has failed."
    assert event({"MessageId": "A.1.0.B", "MessageArgs": [True, 1.5]}).args == ("true", "1.5")


def test_texts_are_one_line_and_bounded() -> None:
    notice = event({"Message": "a\r\n\tb \x1b[31m" + "x" * 9000, "MessageArgs": ["y\nz"]})
    assert notice.text.startswith("a b \ufffd[31mxxx")
    assert len(notice.text) <= 2000
    assert notice.args == ("y z",)


def test_resolved_says_nothing_when_all_is_ok() -> None:
    # LogEntry.Resolved: "Clients should ignore this property if `Severity` contains `OK`."
    assert entry({"Severity": "OK", "Resolved": True, "Message": "m"}).resolved is None
    assert entry({"Severity": "Critical", "Resolved": True, "Message": "m"}).resolved is True
    assert entry({"Severity": "Critical", "Resolved": False, "Message": "m"}).resolved is False


def test_a_memory_record_is_not_shown_in_hexadecimal() -> None:
    # LogEntry.Message: "If the entry type is `CXL`, this property contains the CXL event record as … hex bytes"
    notice = entry({"EntryType": "CXL", "CXLEntryType": "Fatal", "Message": "00FF" * 200, "Severity": "Critical"})
    assert notice.text == "CXL event record, Fatal"


def test_heartbeats_are_known() -> None:
    assert event({"MessageId": "HeartbeatEvent.1.0.RedfishServiceFunctional"}).heartbeat
    assert not event({"MessageId": "HeartbeatEvent.1.0.Other"}).heartbeat


@pytest.mark.parametrize("body", [{}, {"Events": {}}, {"Events": None}, {"@odata.type": 5}])
def test_what_is_no_event_is_a_defect(body: dict[str, Any]) -> None:
    heard = NoticeReader(PLACE).event(body, Source.PUSH, NOW)
    assert heard.notices == ()
    assert [defect.kind for defect in heard.defects] == [DefectKind.MISSING]


def test_bounds() -> None:
    heard = NoticeReader(PLACE).event({"Events": [5] * 5000}, Source.PUSH, NOW)
    assert len(heard.defects) == 64
    heard = NoticeReader(PLACE).event({"Events": [{"Message": "m"}] * 5000}, Source.PUSH, NOW)
    assert len(heard.notices) == 1000
    assert heard.defects[0].kind is DefectKind.TOO_BIG


def test_a_bare_record_is_taken_for_an_event() -> None:
    assert len(NoticeReader(PLACE).event({"MessageId": "A.1.0.B", "Message": "m"}, Source.PUSH, NOW).notices) == 1


SCALARS = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20)
JSON = st.recursive(
    SCALARS, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
)
NAMES = ["MessageId", "Message", "MessageArgs", "Severity", "MessageSeverity", "EventTimestamp", "Created", "EventId"]
NAMES += [
    "OriginOfCondition",
    "EventGroupId",
    "LogEntry",
    "Links",
    "Resolved",
    "EntryType",
    "CXLEntryType",
    "Resolution",
]
NAMES += ["SensorType", "SensorNumber", "EntryCode", "Events", "Context", "@odata.type", "@odata.id", "Id", "Timestamp"]
BODIES = st.dictionaries(st.sampled_from(NAMES), JSON, max_size=12)


@settings(max_examples=120)
@given(BODIES, st.lists(BODIES, max_size=3))
def test_nothing_that_is_sent_raises(body: dict[str, Any], records: list[dict[str, Any]]) -> None:
    recent, standing = Recent(), Standing()
    told = [
        reader().event(body, Source.SSE, NOW),
        reader().event({**body, "Events": records}, Source.PUSH, NOW),
        reader().event({**body, "@odata.type": "#MetricReport.v1_5_2.MetricReport"}, Source.SSE, NOW),
        reader().entry(body, "/redfish/v1/Log/Entries/1", NOW),
    ]
    for heard in told:
        for notice in heard.notices:
            assert notice.text
            recent.is_new(notice)
            standing.take(notice)
            json.dumps(notice.text).encode()


# Known again


def told_event(at: str | None, id_: str = "17", **more: Any) -> dict[str, Any]:
    record = {"MessageId": "Environmental.1.0.FanFailed", "MessageArgs": ["4"], "OriginOfCondition": {"@odata.id": FAN}}
    return {**record, "EventId": id_, **({} if at is None else {"EventTimestamp": at}), **more}


def told_entry(at: str, **more: Any) -> dict[str, Any]:
    links = {"OriginOfCondition": {"@odata.id": FAN}}
    return {"MessageId": "Environmental.1.0.FanFailed", "MessageArgs": ["4"], "Created": at, "Links": links, **more}


def test_one_happening_by_three_ways_is_told_once() -> None:
    recent = Recent()
    assert recent.is_new(event(told_event("2025-06-01T11:59:00Z"), Source.SSE))
    assert not recent.is_new(event(told_event("2025-06-01T11:59:00Z"), Source.PUSH))
    assert not recent.is_new(entry(told_entry("2025-06-01T11:59:02Z"), now=NOW + 500))  # says the same at the time
    assert len(recent) == 1


@pytest.mark.parametrize("first", [0, 1])
def test_the_log_entry_link_ties_event_and_entry(first: int) -> None:
    linked = told_event(None, LogEntry={"@odata.id": "/log/Entries/1/"})
    pair = [event(linked), entry(told_entry("2025-06-01T11:00:00Z"))]
    recent = Recent()
    assert recent.is_new(pair[first])
    assert not recent.is_new(pair[1 - first])


def test_the_event_id_ties_event_and_entry() -> None:
    recent = Recent()
    assert recent.is_new(event(told_event("2025-06-01T11:57:00Z")))
    assert not recent.is_new(entry(told_entry("2025-06-01T11:58:30Z", EventId="17")))


def test_a_delivery_again_is_no_second_happening() -> None:
    recent = Recent()
    assert recent.is_new(event(told_event("2025-06-01T11:59:00Z")))
    assert not recent.is_new(event(told_event("2025-06-01T11:59:00Z"), now=NOW + 60))
    plain = {"Message": "odd", "EventTimestamp": "2025-06-01T11:59:00Z"}
    assert recent.is_new(event(plain))
    assert not recent.is_new(event(plain, now=NOW + 60))


def test_a_flapping_fan_is_told_each_time() -> None:
    recent = Recent()
    times = [f"2025-06-01T11:59:0{second}Z" for second in range(4)]
    assert [recent.is_new(event(told_event(at, str(n)))) for n, at in enumerate(times)] == [True] * 4
    # The log tells of the same four, and of a fifth that the push had lost.
    logged = [entry(told_entry(at), f"/log/Entries/{n}") for n, at in enumerate([*times, "2025-06-01T11:59:04Z"])]
    assert [recent.is_new(one) for one in logged] == [False] * 4 + [True]


def test_ids_that_begin_anew_are_new_happenings() -> None:
    recent = Recent()
    assert recent.is_new(event(told_event("2025-06-01T10:00:00Z", "1")))
    assert recent.is_new(event(told_event("2025-06-01T11:59:00Z", "1")))
    assert recent.is_new(entry(told_entry("2025-06-01T09:00:00Z"), "/log/Entries/1"))
    assert recent.is_new(entry(told_entry("2025-06-01T09:00:09Z"), "/log/Entries/1"))  # the log was cleared


def test_memory_is_bounded_and_survives_a_restart() -> None:
    recent = Recent(limit=10)
    for n in range(50):
        assert recent.is_new(event(told_event(None, str(n), MessageArgs=[str(n)])))
    assert len(recent) == 10
    again = Recent(recent.state(), limit=10)
    assert not again.is_new(event(told_event(None, "49", MessageArgs=["49"])))
    assert again.is_new(event(told_event(None, "1", MessageArgs=["1"])))
    again.is_new(event(told_event(None, "x"), now=NOW + 2 * 86400))
    assert len(again) == 1
    assert len(again._by_name) == 2


# Over again


def test_a_restored_fan_clears_its_failure_only() -> None:
    standing = Standing()
    other = event(told_event(None, OriginOfCondition={"@odata.id": FAN + "0"}))
    failed = event(told_event(None))
    assert standing.take(other) == standing.take(failed) == ()
    assert standing.state() == (other, failed)
    restored = event(told_event(None, "18", MessageId="Environmental.1.1.FanRestored"))
    assert standing.take(restored) == (failed,)
    assert standing.take(restored) == ()
    assert Standing(standing.state()).state() == (other,)


def test_standing_is_bounded_and_knows_repetitions() -> None:
    standing = Standing(limit=5)
    for n in range(20):
        standing.take(event(told_event(None, str(n), MessageArgs=[str(n % 10)])))
    assert [notice.args for notice in standing.state()] == [(str(n),) for n in range(5, 10)]
    standing.take(entry(told_entry("2025-06-01T11:59:00Z", Resolved=True, Severity="Critical", MessageArgs=["x"])))
    assert len(standing.state()) == 5
