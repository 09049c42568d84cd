"""What the MQTT messages hold."""

from __future__ import annotations

import json
import math
from typing import Any

from msgspec import structs

from collector.model import Event, FigureKind, Health, Outcome
from collector.publish import messages
from tests.publish.fleet import NOON, Fleet, part, pid, sensor, sled, worked


def told(payload: bytes | None) -> Any:
    assert payload is not None
    return json.loads(payload)


def test_times_are_iso_8601_in_utc() -> None:
    """1 750 000 000 s is 2025-06-15T15:06:40Z (``date -u -d @1750000000``)."""
    assert messages.iso(NOON) == "2025-06-15T15:06:40.000Z"
    assert messages.iso(NOON + 0.0625) == "2025-06-15T15:06:40.062Z"


def test_readings_by_part_and_sensor_and_null_for_no_value() -> None:
    fleet = Fleet("n1")
    fleet.walk(sled("n1"))
    fleet.poll("n1", NOON + 30, [4200.0, 25.5, math.nan, 0.0, math.inf])
    assert told(messages.readings(fleet.live.controllers["n1"])) == {
        "controller": "n1",
        "time": messages.iso(NOON + 30),
        "readings": {
            pid("n1", "Fan1"): {"Speed": 4200.0},
            pid("n1", "Blade1"): {"Inlet": 25.5, "Power": None},
            pid("n1", "Blade2"): {"Inlet": 0.0, "Power": None},
        },
        "health": {},
    }


def test_only_sensors_worse_than_ok_are_named() -> None:
    fleet = Fleet("n1")
    walked = sled("n1", sensors=[sensor("n1", "Blade1", "a"), sensor("n1", "Blade1", "b")])
    walked.frame.healths = bytes([Health.OK, Health.CRITICAL])
    fleet.walk(walked)
    assert told(messages.readings(fleet.live.controllers["n1"]))["health"] == {pid("n1", "Blade1"): {"b": "Critical"}}


def test_what_readings_mean() -> None:
    walked = sled("n1")
    body = told(messages.sensors(walked.layout))
    assert body["controller"] == "n1"
    assert [(each["part"], each["sensor"]) for each in body["sensors"]] == [
        (each.part, each.sensor) for each in walked.layout.sensors
    ]
    assert body["sensors"][1] == {
        "part": pid("n1", "Blade1"),
        "kind": "blade",
        "sensor": "Inlet",
        "quantity": "temperature",
        "unit": "Cel",
        "source": "/redfish/v1/Blade1/Sensors/Inlet",
        "also_at": [],
        "thresholds": {"upper_caution": {"value": 42.0}, "upper_critical": {"value": 45.0}},
    }


def test_a_part_with_what_is_reported_and_what_it_comes_to() -> None:
    fleet = Fleet("n1")
    fleet.walk(sled("n1"))
    fleet.poll("n1", NOON + 30, [4200.0, 50.0, 300.0, 25.0, 300.0])
    known = fleet.live.controllers["n1"]
    assert known.inventory is not None
    body = told(messages.part(known, known.inventory.parts[2]))
    assert body == {
        "controller": "n1",
        "part": pid("n1", "Blade1"),
        "kind": "blade",
        "name": "Blade1",
        "parent": pid("n1", "Sled"),
        "location": {"site": "Quellmark", "row": "A", "rack": "R02", "offset": 10.0, "slot": "Blade1"},
        "identity": {"model": "Brae 4", "serial": "n1-Blade1"},
        "reported": {
            "state": "Enabled",
            "health": "OK",
            "health_rollup": "unknown",
            "power": "On",
            "locating": False,
            "indicator_led": None,
            "failure_predicted": None,
            "reasons": [],
        },
        "health": "Critical",
        "worst_health": "Critical",
        "at_risk_through": [],
        "open_conditions": 1,
        "lamps": {"blue": "on", "amber": "on"},
    }
    (condition,) = known.conditions.values()
    body = told(messages.condition(condition))
    assert (body["severity"], body["subject"], body["opened"]) == ("Critical", "threshold", messages.iso(NOON + 30))
    assert body["evidence"][0]["value"] == 50.0


def test_a_controllers_state_does_not_move_with_good_rounds() -> None:
    fleet = Fleet("n1")
    known = fleet.live.controllers["n1"]
    assert told(messages.controller_state(known, "me"))["up"] is None
    fleet.walk(sled("n1"))
    first = messages.controller_state(known, "me")
    fleet.poll("n1", NOON + 30, [1.0] * 5)
    assert messages.controller_state(known, "me") == first
    fleet.poll("n1", NOON + 60, outcome=Outcome.UNREACHABLE, error="refused")
    body = told(messages.controller_state(known, "me"))
    assert (body["up"], body["outcome"], body["error"]) == (False, "unreachable", "refused")
    assert messages.told_by(messages.controller_state(known, "me")) == "me"
    assert messages.told_by(b"\xff nonsense") == ""
    assert messages.told_by(b"[]") == ""


def test_figures_with_the_bounds_that_they_have() -> None:
    bare = worked("n1", "Blade1", FigureKind.FAN_EFFORT, 1.1, basis="b")
    bound = worked("n1", "Blade1", FigureKind.UNACCOUNTED, 9.0, of="fe\x1bed", low=1.0, high=17.0)
    first, second = told(messages.figures("n1", (bare, bound)))["figures"]
    assert (first["kind"], first["value"], first["low"], first["basis"]) == ("fan effort", 1.1, None, "b")
    assert first["time"] == messages.iso(NOON)
    assert (second["part"], second["low"], second["high"]) == (pid("n1", "Blade1"), 1.0, 17.0)
    assert "\x1b" not in second["of"]


def test_hostile_text_is_json_text() -> None:
    evil = 'a"b\\c\x00\x1b[31m\u202e\ud800</script>' + "x" * 10_000
    event = Event(time=NOON, controller="n1", part=None, subject="s", severity=Health.OK, text=evil)
    payload = messages.event(event)
    assert len(payload) < 4000
    assert "\x1b" not in told(payload)["text"]
    fleet = Fleet("n1")
    walked = sled("n1", sensors=[sensor("n1", "Blade1", evil)])
    fleet.walk(structs.replace(walked, parts=(*walked.parts, part("n1", evil, walked.parts[0].kind)), product=evil))
    known = fleet.live.controllers["n1"]
    assert known.inventory is not None
    for payload in (
        messages.readings(known),
        messages.sensors(known.inventory.layout),
        messages.part(known, known.inventory.parts[-1]),
        messages.controller_state(known, "me"),
    ):
        assert payload is not None
        assert b"\x00" not in payload
        assert "\ud800" not in payload.decode("utf-8")
        told(payload)
