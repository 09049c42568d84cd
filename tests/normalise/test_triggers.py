"""Limits that a telemetry service's triggers set. Source: DSP8010 2025.4 Triggers_v1.xml, and published examples."""

from __future__ import annotations

import json
from typing import Any

import pytest

from collector.model import DefectKind, Limit, Location, Thresholds
from collector.normalise.inventory import build
from tests.campaigns.mutations import JUNK
from tests.conftest import standard
from tests.normalise.services import Bodies, chassis, collection, link, read, resource, root, sensors, sled, temperature
from tests.normalise.walks import example

TELEMETRY = "/redfish/v1/TelemetryService"
INLET, EXHAUST = (f"/redfish/v1/Chassis/Sled/Sensors/{id_}" for id_ in ("Inlet", "Exhaust"))


def trigger(number: int, *properties: str, limits: Any = None, **more: Any) -> dict[str, Any]:
    told = {"UpperWarning": {"Reading": 40}, "UpperCritical": {"Reading": 45}} if limits is None else limits
    uri = f"{TELEMETRY}/Triggers/{number}"
    return resource(uri, "Triggers", NumericThresholds=told, MetricProperties=list(properties), **more)


def service(*triggers: dict[str, Any], definitions: tuple[dict[str, Any], ...] = (), **of_inlet: Any) -> Bodies:
    listing = f"{TELEMETRY}/Triggers"
    uris = [one["@odata.id"] for one in triggers]
    bodies = root(TelemetryService=link(TELEMETRY)) | chassis(sled(Sensors=link("/redfish/v1/Chassis/Sled/Sensors")))
    bodies |= sensors(temperature("Inlet", **of_inlet), temperature("Exhaust"))
    bodies[TELEMETRY] = resource(TELEMETRY, "TelemetryService", Triggers=link(listing))
    bodies[listing] = collection(listing, *uris)
    bodies |= {one["@odata.id"]: one for one in definitions}
    return bodies | dict(zip(uris, triggers, strict=True))


def told(bodies: Bodies) -> tuple[dict[str, Thresholds], list[tuple[str, str, DefectKind]]]:
    found = read(bodies)
    defects = [(one.resource.rpartition("/")[2], one.property, one.kind) for one in found.defects]
    return {sensor.sensor: sensor.thresholds for sensor in found.layout.sensors}, defects


HOT = Thresholds(upper_caution=Limit(value=40.0), upper_critical=Limit(value=45.0))


@pytest.mark.parametrize("where", [f"{INLET}#/Reading", INLET])
def test_a_trigger_gives_limits_to_a_sensor_without_any(where: str) -> None:
    found, defects = told(service(trigger(1, where)))
    assert found == {"Inlet": HOT, "Exhaust": Thresholds()}
    assert not defects


def test_what_a_sensor_tells_of_itself_is_never_overridden() -> None:
    own = {"UpperCaution": {"Reading": 30}}
    found, _ = told(service(trigger(1, INLET, EXHAUST), Thresholds=own))
    assert found == {"Inlet": Thresholds(upper_caution=Limit(value=30.0)), "Exhaust": HOT}


@pytest.mark.parametrize(
    ("wildcards", "both"),
    [
        ([{"Name": "Which", "Values": ["Inlet", "Exhaust"]}], True),
        ([{"Name": "Which", "Values": ["Exhaust"]}], False),
        ([{"Name": "Which", "Values": ["*"]}], True),
        ([{"Name": "Which"}], True),
        ([], True),
    ],
)
def test_wildcards_stand_for_their_values_or_for_all(wildcards: list[Any], both: bool) -> None:
    """'If this property is not present, the value shall be assumed to be *' (Wildcard.Values)."""
    where = "/redfish/v1/Chassis/Sled/Sensors/{Which}#/Reading"
    found, defects = told(service(trigger(1, where, Wildcards=wildcards)))
    assert found == {"Inlet": HOT if both else Thresholds(), "Exhaust": HOT}
    assert not defects


def test_dwell_hysteresis_and_activation_count_as_in_a_sensor() -> None:
    limit = {"Reading": 40, "DwellTime": "PT5S", "HysteresisReading": -2, "HysteresisDuration": "PT1M"}
    off = {"Reading": 45, "Activation": "Disabled"}
    found, _ = told(service(trigger(1, INLET, limits={"UpperWarning": limit, "UpperCritical": off})))
    assert found["Inlet"] == Thresholds(upper_caution=Limit(value=40, on_delay=5, hysteresis=2, off_delay=60))


@pytest.mark.parametrize(
    "more", [{"TriggerEnabled": False}, {"Status": {"State": "Disabled"}}, {"MetricType": "Discrete"}]
)
def test_a_trigger_that_does_nothing_sets_nothing(more: dict[str, Any]) -> None:
    found, defects = told(service(trigger(1, INLET, **more)))
    assert found["Inlet"] == Thresholds()
    assert not defects


def test_two_triggers_of_one_sensor_add_up_and_the_first_holds_where_they_differ() -> None:
    low, other = {"LowerWarning": {"Reading": 5}}, {"UpperWarning": {"Reading": 41}}
    found, defects = told(service(trigger(1, INLET), trigger(2, INLET, limits=low), trigger(3, INLET, limits=other)))
    assert found["Inlet"] == Thresholds(
        lower_caution=Limit(value=5.0), upper_caution=Limit(value=40.0), upper_critical=Limit(value=45.0)
    )
    assert defects == [("3", "/NumericThresholds/UpperWarning", DefectKind.CONTRADICTION)]


def test_what_is_wrong_with_a_trigger_is_a_named_defect() -> None:
    wrong = {"UpperWarning": {"Reading": 50}, "UpperCritical": {"Reading": "hot"}, "LowerWarning": {"Reading": 60}}
    found, defects = told(
        service(trigger(1, f"{INLET}#/Raeding"), trigger(2, INLET, limits=wrong), trigger(3, limits=7))
    )
    assert found["Inlet"] == Thresholds()
    assert set(defects) == {
        ("1", "/MetricProperties/0", DefectKind.DANGLING_LINK),
        ("2", "/NumericThresholds/UpperCritical/Reading", DefectKind.WRONG_TYPE),
        ("2", "/NumericThresholds", DefectKind.BAD_THRESHOLDS),
        ("3", "/NumericThresholds", DefectKind.WRONG_TYPE),
    }


def test_metric_definitions_name_what_a_trigger_watches_but_not_what_they_compute() -> None:
    def definition(id_: str, **more: Any) -> dict[str, Any]:
        uri = f"{TELEMETRY}/MetricDefinitions/{id_}"
        return resource(uri, "MetricDefinition", MetricProperties=[f"{INLET}#/Reading"], **more)

    one = trigger(1, MetricIds=["Hot"])
    found, _ = told(service(one, definitions=(definition("Hot"),)))
    assert found["Inlet"] == HOT
    found, _ = told(service(one, definitions=(definition("Hot", CalculationAlgorithm="Average"),)))
    assert found["Inlet"] == Thresholds()


def test_the_published_service_with_triggers() -> None:
    """public-telemetry: power by property, fans by metric definition; their own limits are out of order, so unused."""
    found = {
        sensor.source: sensor.thresholds for sensor in build(example("public-telemetry"), Location()).layout.sensors
    }
    power = found["/redfish/v1/Chassis/1/Power#/PowerControl/0/PowerConsumedWatts"]
    assert power == Thresholds(
        upper_caution=Limit(value=48.1, on_delay=0.004), upper_critical=Limit(value=50.0, on_delay=0.001)
    )
    fans = [limits for source, limits in found.items() if "/Fans/" in source]
    assert fans == [Thresholds(lower_critical=Limit(value=1000.0, on_delay=5.0))] * 8


def test_the_published_single_trigger() -> None:
    body = json.loads(standard("redfish", "mockups", "DSP2046-examples", "Triggers-v1-example.json").read_bytes())
    assert body["NumericThresholds"]["UpperWarning"]["Reading"] == 48.1
    body["MetricProperties"] = [INLET]
    found, defects = told(service(body | {"@odata.id": f"{TELEMETRY}/Triggers/1"}))
    assert found["Inlet"].upper_critical == Limit(value=50.0, on_delay=0.001)
    assert not defects


def test_no_junk_anywhere_gets_out_as_an_exception() -> None:
    """Each property in turn becomes each of the campaign's pieces of junk."""
    whole = trigger(
        1, INLET, Wildcards=[{"Name": "Which", "Values": ["Inlet"]}], MetricIds=["Hot"], Status={"State": "Enabled"}
    )
    whole |= {"TriggerEnabled": True, "MetricType": "Numeric"}
    for name in whole.keys() - {"@odata.id", "@odata.type"}:
        for junk in JUNK:
            told(service(whole | {name: junk}))
    for junk in JUNK:
        told(service(whole | {"Status": {"State": junk}}))
        told(service(whole | {"NumericThresholds": {"UpperWarning": junk}}))
        told(service(whole | {"NumericThresholds": {"UpperWarning": {"Reading": junk, "DwellTime": junk}}}))
        told(service(whole | {"Wildcards": [{"Name": junk, "Values": [junk]}], "MetricProperties": ["/x/{Which}#/y"]}))
        definition = resource(f"{TELEMETRY}/MetricDefinitions/Hot", "MetricDefinition", MetricProperties=[junk])
        told(service(whole, definitions=(definition | {"Id": junk},)))
