"""Message ids and registries, against the published registries (DMTF DSP8011) and examples (DSP2043, DSP2046)."""

from __future__ import annotations

import json
import re
from functools import lru_cache
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.model import DefectKind, Health
from collector.redfish.flow import Answer, Ask
from collector.redfish.registries import (
    MAX_MESSAGES,
    Library,
    MessageId,
    ReadFrom,
    Registry,
    Shelf,
    fill,
    message_id,
    parse_registry,
    severity_of,
    split_name,
)
from collector.redfish.registry_files import fetch_registries, from_files, location
from tests.conftest import standard
from tests.redfish.flows import NOT_FOUND, PLACE, from_folder, published, run, strings


@lru_cache
def standard_shelf() -> Shelf:
    folder = standard("redfish", "registries")
    fetched = from_files(((path.name, path.read_bytes()) for path in sorted(folder.glob("*.json"))), PLACE)
    assert fetched.defects == ()
    return Shelf(fetched.registries)


def registry(prefix: str, version: str, **messages: str) -> Registry:
    body = {
        "@odata.type": "#MessageRegistry.v1_7_0.MessageRegistry",
        "RegistryPrefix": prefix,
        "RegistryVersion": version,
        "Language": "en",
        "Messages": {key: {"Message": text, "MessageSeverity": "Warning"} for key, text in messages.items()},
    }
    parsed, defects = parse_registry(body, PLACE, "/r")
    assert parsed is not None
    assert defects == ()
    return parsed


# Message ids


@pytest.mark.parametrize(
    ("told", "prefix", "version", "key"),
    [
        ("Base.1.8.Success", "Base", (1, 8), "Success"),  # DSP0266 'MessageId format'
        ("TaskEvent.1.0.4.TaskCancelled", "TaskEvent", (1, 0, 4), "TaskCancelled"),  # DSP2046 example
        ("Power.CurrentAboveUpperCriticalThreshold", "Power", (), "CurrentAboveUpperCriticalThreshold"),  # iiot mockup
        ("Contoso.1.0.TempAssert", "Contoso", (1, 0), "TempAssert"),  # DSP2046 LogEntry
        # The rest: from memory of what services send.
        ("Contoso.Fans.1.0.Slow", "Contoso.Fans", (1, 0), "Slow"),
        ("Contoso.2.8.1234", "Contoso", (2, 8), "1234"),
        ("Contoso.2.8.0.1234", "Contoso", (2, 8, 0), "1234"),
        ("Contoso.1.0.Fans.Slow", "Contoso", (1, 0), "Fans.Slow"),
        ("Contoso.7.Slow", "Contoso", (7,), "Slow"),
    ],
)
def test_an_id_is_taken_apart(told: str, prefix: str, version: tuple[int, ...], key: str) -> None:
    assert message_id(told) == MessageId(told, prefix, version, key)


@pytest.mark.parametrize(
    "told", ["", "Fan", "1.0.Key", "A fan failed. See the log.", "a..b", "Base.1.0.", "0x5", "x" * 999]
)
def test_what_is_no_message_id_names_no_message(told: str) -> None:
    apart = message_id(told)
    assert (apart.prefix, apart.key, apart.sel) == ("", "", b"")
    assert apart.general == apart.told == told[:300]


def test_raw_event_log_numbers_are_bytes() -> None:
    # LogEntry.MessageId of a SEL entry: four bytes by the schema, three in DSP2043's catfish.
    assert message_id("0x592A28").sel == bytes((0x59, 0x2A, 0x28))
    assert message_id("0X01592A28").sel == bytes((0x01, 0x59, 0x2A, 0x28))


def test_every_published_message_id_is_understood() -> None:
    told = set(strings("MessageId"))
    assert len(told) > 25
    for value in told:
        apart = message_id(value)
        assert apart.sel or (apart.prefix and apart.key), value
        if not apart.sel:
            assert ".".join((apart.prefix, *map(str, apart.version), apart.key)) == value


@given(st.text(max_size=60) | st.from_regex(r"\A[A-Z][a-z]{0,8}(\.[0-9]{1,3}){0,4}(\.[A-Z][a-z]{0,8})?\Z"))
def test_any_text_is_an_id_of_some_kind(told: str) -> None:
    apart = message_id(told)
    assert bool(apart.prefix) == bool(apart.key)
    if apart.key:
        assert ".".join(filter(None, (apart.prefix, *told.split(".")[len(apart.prefix.split(".")) :]))) == told
        assert len(apart.version) <= 3


# Registries


def test_the_published_registries_are_read_whole() -> None:
    for path in sorted(standard("redfish", "registries").glob("*.json")):
        body = json.loads(path.read_bytes())
        parsed, defects = parse_registry(body, PLACE, path.name)
        if "Messages" not in body:  # the privilege registry
            assert parsed is None
            assert [defect.kind for defect in defects] == [DefectKind.WRONG_TYPE]
            continue
        assert parsed is not None
        assert defects == ()
        assert parsed.name + ".json" == path.name
        assert set(parsed.messages) == set(body["Messages"])
        for key, message in parsed.messages.items():
            told = body["Messages"][key]
            assert message.text == " ".join(told["Message"].split())
            assert message.severity is not None
            assert message.severity.word == told["MessageSeverity"]
            assert (message.clearing is not None) == ("ClearingLogic" in told)


def test_as_many_arguments_as_declared_fill_every_published_message() -> None:
    filled = 0
    for path in sorted(standard("redfish", "registries").glob("*.json")):
        for key, told in json.loads(path.read_bytes()).get("Messages", {}).items():
            args = [f"<{at}>" for at in range(1, told["NumberOfArgs"] + 1)]
            text, whole = fill(told["Message"], args)
            assert whole, key
            assert not re.search(r"%\d", text)
            if f"%{len(args)}" in told["Message"]:  # Environmental.ValvePositionChanged declares 2 and uses %1 twice
                assert all(arg in text for arg in args)
            filled += 1
    assert filled > 400


@pytest.mark.parametrize(
    ("text", "args", "expected"),
    [
        ("Fan '%1' of %2.", ["4", "Sled 1"], ("Fan '4' of Sled 1.", True)),
        ("Fan '%1' of %2.", ["4"], ("Fan '4' of %2.", False)),
        ("Fan '%1'.", ["4", "left over"], ("Fan '4'.", True)),
        ("Fan '%1'.", [], ("Fan '%1'.", False)),
        ("%2 before %1", ["a", "b"], ("b before a", True)),
        ("%1 and %2", ["%2", "x"], ("%2 and x", True)),  # an argument is never read again
        ("%10 of %1", [str(at) for at in range(1, 11)], ("10 of 1", True)),
        ("Valve '%1' is %1 percent open, 5% more", ["9"], ("Valve '9' is 9 percent open, 5% more", True)),
    ],
)
def test_arguments(text: str, args: list[str], expected: tuple[str, bool]) -> None:
    assert fill(text, args) == expected


@pytest.mark.parametrize(
    ("word", "health"),
    [
        ("OK", Health.OK),
        ("Warning", Health.WARNING),
        ("critical", Health.CRITICAL),
        ("Dire", None),
        (3, None),
        (None, None),
    ],
)
def test_severity_words(word: object, health: Health | None) -> None:
    assert severity_of(word) is health


def test_a_bad_registry_is_defects() -> None:
    body: dict[str, Any] = {
        "Id": "Odd.1.0.0",
        "Messages": {
            "Good": {"Message": "Fine.", "Severity": "OK", "Resolution": "None."},
            "NoText": {"Message": 5},
            "NoObject": [],
            "Strange": {
                "Message": "Odd.",
                "MessageSeverity": "Dire",
                "ClearingLogic": {"ClearsIf": "FullMoon", "ClearsMessage": ["Good"]},
            },
            "Mixed": {"Message": "m", "ClearingLogic": {"ClearsMessage": ["Odd.1.0.Good", "Other.1.0.Bad", 7]}},
            "A/B~C": {"Message": None},
        },
    }
    parsed, defects = parse_registry(body, PLACE, "/redfish/v1/Registries/Odd")
    assert parsed is not None
    assert (parsed.prefix, parsed.version, sorted(parsed.messages)) == ("Odd", (1, 0, 0), ["Good", "Mixed", "Strange"])
    assert parsed.messages["Good"].resolution == ""
    assert parsed.messages["Strange"].clearing is None  # a condition that can't be checked is never met
    mixed = parsed.messages["Mixed"].clearing
    assert mixed is not None
    assert mixed.keys == {"Good"}
    assert not mixed.same_origin
    assert [(defect.property, defect.kind) for defect in defects] == [
        ("/Messages/NoText", DefectKind.WRONG_TYPE),
        ("/Messages/NoObject", DefectKind.WRONG_TYPE),
        ("/Messages/Strange/MessageSeverity", DefectKind.UNKNOWN_WORD),
        ("/Messages/Strange/ClearingLogic/ClearsIf", DefectKind.UNKNOWN_WORD),
        ("/Messages/Mixed/ClearingLogic/ClearsMessage", DefectKind.WRONG_TYPE),
        ("/Messages/Mixed/ClearingLogic/ClearsMessage", DefectKind.WRONG_TYPE),
        ("/Messages/A~1B~0C", DefectKind.WRONG_TYPE),
    ]


def test_a_huge_registry_is_bounded() -> None:
    messages = {f"K{at}": {"Message": "x" * 5000} for at in range(MAX_MESSAGES + 10)}
    parsed, defects = parse_registry({"Id": "Big.1.0", "Messages": messages}, PLACE, "/r")
    assert parsed is not None
    assert len(parsed.messages) == MAX_MESSAGES
    assert len(parsed.messages["K0"].text) == 2000
    assert [defect.kind for defect in defects] == [DefectKind.TOO_BIG]


@pytest.mark.parametrize("body", [{}, {"Messages": {}}, {"RegistryPrefix": "A", "Messages": []}, {"RegistryPrefix": 1}])
def test_what_is_no_registry_is_one_defect(body: dict[str, Any]) -> None:
    parsed, defects = parse_registry(body, PLACE, "/r")
    assert parsed is None
    assert len(defects) == 1


@pytest.mark.parametrize(
    ("name", "parts"),
    [
        ("Base.1.22.1", ("Base", (1, 22, 1))),
        ("Base.1.0", ("Base", (1, 0))),
        ("Base", ("Base", ())),
        ("Contoso.Fans.1.0", ("Contoso.Fans", (1, 0))),
        ("1", ("", ())),
        ("", ("", ())),
        (None, ("", ())),
    ],
)
def test_registry_names(name: object, parts: tuple[str, tuple[int, ...]]) -> None:
    assert split_name(name) == parts


# Choosing


def test_of_several_versions_the_fitting_one_is_chosen() -> None:
    shelf = Shelf(
        [
            registry("A", "1.0.0", K="1.0.0"),
            registry("A", "1.0.3", K="1.0.3"),
            registry("A", "1.2.0", K="1.2.0", New="new"),
            registry("A", "1.4.0", K="1.4.0"),
            registry("A", "2.0.0", K="2.0.0"),
        ]
    )

    def text(told: str) -> str | None:
        found = shelf.find(message_id(told))
        return found[1].text if found else None

    assert text("A.1.0.K") == "1.0.3"
    assert text("A.1.1.K") == "1.2.0"
    assert text("A.1.9.K") == "1.4.0"
    assert text("A.1.0.New") == "new"
    assert text("A.2.0.K") == "2.0.0"
    assert text("A.K") == "2.0.0"
    assert text("A.3.0.K") is None
    assert text("B.1.0.K") is None
    assert text("A.1.0.Other") is None


def test_the_order_of_sources() -> None:
    own, standard_ = Shelf([registry("A", "1.0.0", K="own %1")]), Shelf([registry("A", "1.0.0", K="std", S="std %1")])
    library = Library(own, standard_)
    assert library.meaning("A.1.0.K", ["x"], literal="lit").text == "own x"
    assert library.meaning("A.1.0.S", ["x"], literal="lit").read_from is ReadFrom.STANDARD
    assert library.meaning("A.1.0.No", ["x"], literal="lit %1").text == "lit x"
    assert library.meaning("A.1.0.No", ["x"], literal=" ").text == "A.1.0.No"
    # Arguments that did not come: the record's own words say more than a text with holes.
    assert library.meaning("A.1.0.K", [], literal="lit").read_from is ReadFrom.RECORD
    assert library.meaning("A.1.0.K", [], literal="lit %1").text == "own %1"
    assert library.meaning("A.1.0.K", []).text == "own %1"


def test_the_record_may_say_another_severity() -> None:
    # EventRecord.MessageSeverity: "Services can replace the value defined in the message registry".
    library = Library(standard=standard_shelf())
    told = "Environmental.1.0.FanFailed"
    assert library.meaning(told, ["4"]).severity is Health.CRITICAL
    assert library.meaning(told, ["4"], severity=Health.WARNING).severity is Health.WARNING
    assert library.meaning("Contoso.1.0.X").severity is Health.UNKNOWN
    assert library.meaning(told, ["4"]).text == "Fan '4' has failed."
    assert library.meaning(told, ["4"]).resolution != ""
    assert library.meaning(told, ["4"], resolution="Turn it.").resolution == "Turn it."


# Clearing, with the published ClearingLogic


def test_normal_range_clears_thirteen_messages_of_the_same_sensor() -> None:
    # redfish-notes section 6, read off SensorEvent.1.1.0
    clearing = Library(standard=standard_shelf()).meaning("SensorEvent.1.0.SensorReadingNormalRange").clearing
    assert clearing is not None
    assert len(clearing.keys) == 13
    trouble = message_id("SensorEvent.1.1.ReadingAboveUpperCriticalThreshold")
    assert clearing.clears("/a", trouble, "/a")
    assert not clearing.clears("/a", trouble, "/b")
    assert not clearing.clears(None, trouble, None)
    assert not clearing.clears("/a", message_id("SensorEvent.1.1.SensorFailure"), "/a")
    assert not clearing.clears("/a", message_id("Other.1.1.ReadingAboveUpperCriticalThreshold"), "/a")


def test_a_removed_resource_clears_all_of_its_registry() -> None:
    clearing = Library(standard=standard_shelf()).meaning("ResourceEvent.1.0.ResourceRemoved").clearing
    assert clearing is not None
    assert clearing.everything
    assert clearing.clears("/a", message_id("ResourceEvent.1.3.ResourceErrorsDetected"), "/a")
    assert not clearing.clears("/a", message_id("SensorEvent.1.0.SensorFailure"), "/a")


# Getting them


def test_the_example_service_gives_its_own_registry() -> None:
    asked: list[Ask] = []
    service = from_folder(standard("redfish", "mockups", "public-rackmount1"))
    fetched = run(fetch_registries("/redfish/v1/Registries", PLACE, {"Base"}), service, asked)
    assert [registry.name for registry in fetched.registries] == ["Base.1.5.0"]
    assert fetched.defects == ()
    assert len(asked) == 3
    text = Library(Shelf(fetched.registries)).meaning("Base.1.5.PropertyUnknown", ["Fan"]).text
    assert text == "The property Fan is not in the list of valid properties for the resource."


def test_registries_that_are_not_wanted_are_not_asked_for() -> None:
    asked: list[Ask] = []
    service = from_folder(standard("redfish", "mockups", "public-rackmount1"))
    fetched = run(fetch_registries("/redfish/v1/Registries", PLACE, {"Power"}), service, asked)
    assert fetched.registries == ()
    assert len(asked) == 1


def test_english_first_and_never_abroad() -> None:
    entries = [
        {"Language": "zh", "Uri": "/zh.json"},
        {"Language": "default", "Uri": "/default.json"},
        {"Language": "en", "Uri": "https://elsewhere.example/en.json"},
        {"Language": "en-GB", "Uri": "/gb.json"},
        {"Language": "en", "PublicationUri": "https://elsewhere.example/en.json", "ArchiveUri": "/all.zip"},
    ]
    path, defects = location({"Location": entries}, PLACE, "/r")
    assert path == "/gb.json"
    assert [(defect.property, defect.kind) for defect in defects] == [("/Location/2/Uri", DefectKind.FOREIGN_LINK)]
    assert location({"Location": entries[:2]}, PLACE, "/r") == ("/default.json", ())
    assert location({"Location": entries[:1]}, PLACE, "/r") == ("/zh.json", ())
    assert location({"Location": entries[4:]}, PLACE, "/r") == ("", ())
    assert location({}, PLACE, "/r")[1][0].kind is DefectKind.MISSING


def test_the_published_registry_files_say_where() -> None:
    # The DSP2046 example offers an archive and a publication only: no fault, but nothing to get.
    where = {name: location(body, PLACE, name) for name, body in published("MessageRegistryFile")}
    assert where["DSP2046-examples/MessageRegistryFile-v1-example.json"] == ("", ())
    assert where["public-rackmount1/Registries/Base.1.5.0/index.json"][0] == "/redfish/v1/Registries/Base.1.5.0.json"


def test_failing_registries_are_defects_and_cost_is_bounded() -> None:
    members = [{"@odata.id": f"/redfish/v1/Registries/{at}"} for at in range(50)]

    def service(ask: Ask) -> Answer:
        if ask.path == "/redfish/v1/Registries":
            return Answer(200, {"Members": members, "Members@odata.nextLink": "/redfish/v1/Registries"})
        return NOT_FOUND

    asked: list[Ask] = []
    fetched = run(fetch_registries("/redfish/v1/Registries", PLACE, {"Base"}, max_requests=10), service, asked)
    assert len(asked) <= 10
    assert fetched.registries == ()
    assert {defect.kind for defect in fetched.defects} == {DefectKind.DANGLING_LINK, DefectKind.TOO_BIG}


def test_files_that_are_no_registries() -> None:
    fetched = from_files([("a.json", b"<html>"), ("b.json", b'{"@odata.type": "#PrivilegeRegistry.v1_0.X"}')], PLACE)
    assert fetched.registries == ()
    assert [(defect.resource, defect.kind) for defect in fetched.defects] == [("a.json", DefectKind.NOT_JSON)]
