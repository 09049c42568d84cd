"""The text of /metrics against the general-purpose client library's parsers, the specification, and the live state."""

from __future__ import annotations

import math
import re
import unicodedata
from collections import Counter as Count
from collections.abc import Iterable, Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import structs
from prometheus_client import CollectorRegistry, Metric
from prometheus_client.exposition import generate_latest
from prometheus_client.openmetrics.exposition import generate_latest as openmetrics_latest
from prometheus_client.openmetrics.parser import text_string_to_metric_families as parse_openmetrics
from prometheus_client.parser import text_string_to_metric_families as parse_text
from prometheus_client.registry import Collector

from collector.model import (
    CANONICAL_UNIT,
    Contact,
    Defect,
    DefectKind,
    EventsBy,
    FigureKind,
    Health,
    Kind,
    Login,
    MarginKind,
    Outcome,
    PowerState,
    Quantity,
    State,
    Status,
    Update,
)
from collector.publish.families import FAMILIES, READINGS, Type, documentation, reading_family
from collector.publish.labels import LONGEST, label_text, label_value
from collector.publish.metrics import END, Exposition, SelfReport
from collector.publish.statistics import MqttStatistics
from collector.store.feed import FeedStatistics, SubscriptionStatistics
from collector.store.writer import WriterStatistics
from tests.publish.fleet import NOON, Fleet, margin, order, part, pid, sensor, sled, trouble, worked

WRITER = WriterStatistics(3, 1, 100, 97, 2, 4, 9, 5, 0.25, "disk full", 6, 7000, 0, None, ())
FEED = FeedStatistics(100, (SubscriptionStatistics("mqtt", 1024, 2, 90, 8),))
MQTT = MqttStatistics(True, 3, 2, 400, 37, None)
CONTACT = Contact(
    login=Login.SESSION,
    session_since=NOON + 1,
    fingerprint="sha256:ab",
    expires=NOON + 86_400,
    clock_offset=-3.0,
    events=EventsBy.PUSH,
    events_since=NOON + 2,
    subscription="/redfish/v1/EventService/Subscriptions/1",
)
REPORT = SelfReport(version="0.1.0", started=NOON, writer=WRITER, feed=FEED, mqtt=MQTT, scrapes=5, scrape_seconds=0.5)


def defect(resource: str, kind: DefectKind) -> Defect:
    return Defect(controller="n1", resource=resource, property="/ReadingUnits", kind=kind, detail="told so")


def text_of(fleet: Fleet, openmetrics: bool = True, report: SelfReport = REPORT) -> str:
    exposition = Exposition()
    for known in fleet.live.controllers.values():
        exposition.add_controller(known)
    exposition.add_self(report)
    return b"".join([*exposition.chunks(openmetrics), END if openmetrics else b""]).decode()


def families(text: str, openmetrics: bool = True) -> dict[str, Metric]:
    found = list((parse_openmetrics if openmetrics else parse_text)(text))
    assert len({family.name for family in found}) == len(found), "a family told twice"
    return {family.name: family for family in found}


def value(text: str, name: str, **labels: str) -> float | None:
    """The one sample with this name whose labels hold these."""
    found = [
        sample.value
        for family in parse_openmetrics(text)
        for sample in family.samples
        if sample.name == name and labels.items() <= sample.labels.items()
    ]
    assert len(found) <= 1, f"{name} {labels}: {len(found)} samples"
    return found[0] if found else None


def state(text: str, name: str, **labels: str) -> str:
    """The active state of a state set, after checking that exactly one is."""
    samples = [
        sample
        for family in parse_openmetrics(text)
        if family.name == name
        for sample in family.samples
        if labels.items() <= sample.labels.items()
    ]
    active = [sample.labels[name] for sample in samples if sample.value == 1]
    assert len(active) == 1, f"{name} {labels}: {active}"
    return active[0]


class Rendered(Collector):
    """Families that a parser read, to be rendered again by the library."""

    def __init__(self, found: Iterable[Metric]) -> None:
        self._found = list(found)

    def collect(self) -> Iterator[Metric]:
        yield from self._found


def lines_again(text: str, openmetrics: bool) -> list[str]:
    """What the library makes of our text: parsed and rendered anew, labels in its order."""
    registry = CollectorRegistry(auto_describe=False)
    registry.register(Rendered((parse_openmetrics if openmetrics else parse_text)(text)))
    encoded = openmetrics_latest(registry) if openmetrics else generate_latest(registry)
    return encoded.decode().splitlines()


def in_label_order(line: str) -> str:
    """A sample line with its labels sorted and its number as Python writes it."""
    match = re.fullmatch(r"([a-z_]+)(?:\{(.*)\})? (\S+)", line)
    assert match is not None, line
    labels = sorted(re.findall(r'[a-z_]+="(?:[^"\\]|\\.)*"', match[2] or ""))
    return f"{match[1]}{{{','.join(labels)}}} {float(match[3])!r}"


@pytest.fixture
def fleet() -> Fleet:
    fleet = Fleet("n1", "n2", "n3")
    fleet.walk(sled("n1"))
    fleet.walk(sled("n2", blades=4))
    fleet.poll("n1", NOON + 30, [4200.0, 25.5, 310.0, 50.0, 298.25])
    return fleet


@pytest.mark.parametrize("openmetrics", [True, False])
def test_the_library_reads_what_we_write_and_writes_the_same(fleet: Fleet, openmetrics: bool) -> None:
    text = text_of(fleet, openmetrics)
    ours = sorted(in_label_order(line) for line in text.splitlines() if not line.startswith("#"))
    theirs = sorted(in_label_order(line) for line in lines_again(text, openmetrics) if not line.startswith("#"))
    assert ours == theirs
    assert len(ours) > 100


def test_it_is_openmetrics_as_specified(fleet: Fleet) -> None:
    """OpenMetrics 1.0 (check-values.md section 7): LF only, EOF last, metadata in order, nothing interleaved."""
    text = text_of(fleet)
    assert "\r" not in text
    assert not text.startswith("\ufeff")
    assert text.endswith("\n# EOF\n")
    assert text.count("# EOF") == 1
    assert "\n\n" not in text
    series = Count(line.rpartition(" ")[0] for line in text.splitlines() if not line.startswith("#"))
    assert max(series.values()) == 1, "no series twice"
    blocks = re.split(r"(?m)^(?=# TYPE )", text.removesuffix("# EOF\n"))[1:]
    names = []
    for block in blocks:
        head = re.match(r"# TYPE (\S+) (\S+)\n(?:# UNIT (\S+) (\S+)\n)?# HELP (\S+) .+\n", block)
        assert head is not None, block[:200]
        name, type_, unit_name, unit, help_name = head.groups()
        names.append(name)
        assert help_name == name
        if unit is not None:
            assert unit_name == name
            assert name.endswith("_" + unit)
            assert type_ not in ("info", "stateset")
        suffix = {"counter": "_total", "info": "_info"}.get(type_, "")
        for line in block[head.end() :].splitlines():
            assert re.match(re.escape(name + suffix) + r"[ {]", line), line
            if type_ == "info":
                assert line.endswith(" 1")
            if type_ == "stateset":
                assert f'{name}="' in line
    assert len(set(names)) == len(names)


def test_every_state_set_has_all_states_and_one_of_them(fleet: Fleet) -> None:
    for family in families(text_of(fleet)).values():
        if family.type != "stateset":
            continue
        by_set: dict[tuple[tuple[str, str], ...], list[tuple[str, float]]] = {}
        for sample in family.samples:
            key = tuple(sorted((name, text) for name, text in sample.labels.items() if name != family.name))
            by_set.setdefault(key, []).append((sample.labels[family.name], sample.value))
        words = {frozenset(word for word, _ in states) for states in by_set.values()}
        assert len(words) == 1, f"{family.name}: {words}"
        assert all(sum(active for _, active in states) == 1 for states in by_set.values())


def test_names_and_units_follow_the_naming_rules() -> None:
    """check-values.md section 7: names, reserved characters, units last; suffixes are the type's alone."""
    for family in FAMILIES.values():
        assert re.fullmatch(r"sledkeeper_[a-z][a-z0-9_]*[a-z0-9]", family.name), family.name
        assert not re.search(r"_(total|created|info|bucket|count|sum|percent|rpm)$", family.name), family.name
        assert not family.unit or family.name.endswith("_" + family.unit)
        assert all(re.fullmatch(r"[a-z][a-z0-9_]*", label) for label in family.labels)
        assert "\n" not in family.help
        assert "\\" not in family.help
        assert '"' not in family.help
        assert family.help.endswith(".")


def test_every_quantity_has_its_metric() -> None:
    assert READINGS.keys() == set(Quantity)
    assert all(READINGS[quantity].family.name in FAMILIES for quantity in Quantity)
    assert set(CANONICAL_UNIT) | {Quantity.OTHER} == set(Quantity)


def test_the_documentation_names_every_metric_by_the_name_to_query() -> None:
    rows = documentation().splitlines()[2:]
    assert [row.split("`")[1] for row in rows] == [family.sample for family in FAMILIES.values()]


@pytest.mark.parametrize(
    ("quantity", "canonical", "metric", "base"),
    [
        # factors: check-values.md section 8 and redfish-notes.md section 3 (UCUM, ucumvert)
        (Quantity.TEMPERATURE, 25.5, "sledkeeper_temperature_celsius", 25.5),
        (Quantity.HUMIDITY, 45.0, "sledkeeper_humidity_ratio", 0.45),
        (Quantity.ROTATION, 4200.0, "sledkeeper_rotation_hertz", 70.0),
        (Quantity.SPEED_RATIO, 87.0, "sledkeeper_speed_ratio", 0.87),
        (Quantity.ENERGY, 3.6e6, "sledkeeper_energy_joules_total", 3.6e6),
        (Quantity.LIQUID_FLOW, 1.0, "sledkeeper_liquid_flow_cubic_meters_per_second", 1.666667e-5),
        (Quantity.AIR_FLOW, 0.0413, "sledkeeper_air_flow_cubic_meters_per_second", 0.0413),
        (Quantity.PRESSURE, 98_066.0, "sledkeeper_pressure_pascals", 98_066.0),
        (Quantity.COUNT, 7.0, "sledkeeper_number", 7.0),
        (Quantity.OTHER, 7.5, "sledkeeper_reading", 7.5),
    ],
)
def test_a_reading_in_base_units(quantity: Quantity, canonical: float, metric: str, base: float) -> None:
    fleet = Fleet("n1")
    fleet.walk(sled("n1", sensors=[sensor("n1", "Blade1", "It", quantity)], value=canonical))
    told = value(text_of(fleet), metric, controller="n1", part=pid("n1", "Blade1"), sensor="It")
    assert told == pytest.approx(base, rel=1e-6)


def test_what_a_battery_holds_is_no_counter() -> None:
    assert reading_family(Quantity.ENERGY, Kind.BATTERY).family.type is Type.GAUGE
    assert reading_family(Quantity.ENERGY, Kind.POWER_SUPPLY).family.type is Type.COUNTER


def test_the_unit_of_an_unknown_quantity_is_a_label() -> None:
    fleet = Fleet("n1")
    fleet.walk(sled("n1", sensors=[sensor("n1", "Blade1", "It", Quantity.OTHER)]))
    assert value(text_of(fleet), "sledkeeper_reading", quantity_unit="[furlong]") == 25.0


def test_no_value_no_sample(fleet: Fleet) -> None:
    fleet.poll("n1", NOON + 60, [math.nan, math.inf, 310.0, -math.inf, 0.0])
    told = {
        (sample.name, sample.labels["part"].rpartition("/")[2])
        for family in families(text_of(fleet)).values()
        for sample in family.samples
        if sample.labels.get("controller") == "n1" and "sensor" in sample.labels
    }
    assert told == {("sledkeeper_power_watts", "Blade1"), ("sledkeeper_power_watts", "Blade2")}, "a true 0 is told"


def test_nothing_old_is_told_while_a_controller_cannot_be_read(fleet: Fleet) -> None:
    fleet.poll("n1", NOON + 60, outcome=Outcome.UNREACHABLE, error="refused")
    text = text_of(fleet)
    assert value(text, "sledkeeper_controller_up", controller="n1") == 0
    assert value(text, "sledkeeper_controller_up", controller="n2") == 1
    assert value(text, "sledkeeper_controller_up", controller="n3") is None, "not tried yet"
    assert not re.search(r'sensor="[^"]*"', "\n".join(line for line in text.splitlines() if '"n1"' in line))
    assert value(text, "sledkeeper_temperature_celsius", controller="n2", part=pid("n2", "Blade1")) == 25.0
    assert value(text, "sledkeeper_part_locating", controller="n1", part=pid("n1", "Blade1")) is None
    fleet.poll("n1", NOON + 90, outcome=Outcome.UNREACHABLE, error="refused")
    text = text_of(fleet)
    assert state(text, "sledkeeper_part_health", part=pid("n1", "Fan1")) == "unknown"
    assert state(text, "sledkeeper_lamp", part=pid("n1", "Blade1"), color="blue") == "unknown"
    assert value(text, "sledkeeper_conditions", controller="n1", severity="Critical") == 2, "hot blade, lost controller"
    fleet.poll("n1", NOON + 120, [4200.0, 25.5, 310.0, 25.0, 298.25])
    assert value(text_of(fleet), "sledkeeper_temperature_celsius", part=pid("n1", "Blade1")) == 25.5


def test_health_conditions_lamps_and_power(fleet: Fleet) -> None:
    hot, sound = pid("n1", "Blade2"), pid("n1", "Blade1")
    text = text_of(fleet)
    assert state(text, "sledkeeper_part_health", part=hot) == "Critical"
    assert state(text, "sledkeeper_part_health", part=sound) == "OK"
    assert state(text, "sledkeeper_part_worst_health", part=pid("n1", "Sled")) == "Critical"
    assert f'part_worst_health{{controller="n1",part="{sound}"' not in text, "contains nothing"
    assert state(text, "sledkeeper_lamp", part=hot, color="amber") == "on"
    assert state(text, "sledkeeper_lamp", part=sound, color="amber") == "off"
    assert state(text, "sledkeeper_lamp", part=sound, color="blue") == "on"
    assert state(text, "sledkeeper_part_power_state", part=sound) == "On"
    assert value(text, "sledkeeper_part_locating", part=sound) == 0
    assert value(text, "sledkeeper_part_locating", part=pid("n1", "Fan1")) is None, "not told"
    assert value(text, "sledkeeper_conditions", controller="n1", severity="Critical") == 1
    assert value(text, "sledkeeper_conditions", controller="n2", severity="Critical") == 0
    assert value(text, "sledkeeper_part_at_risk_causes", part=sound) == 0
    fleet.poll(
        "n1", NOON + 60, [0.0, 25.5, 310.0, 25.0, 298.25], {"Fan1": Status(state=State.ENABLED, health=Health.CRITICAL)}
    )
    text = text_of(fleet)
    assert value(text, "sledkeeper_part_at_risk_causes", part=sound) == 1
    assert state(text, "sledkeeper_part_health", part=sound) == "OK"


def test_where_a_part_is_stands_on_its_info_alone(fleet: Fleet) -> None:
    samples = families(text_of(fleet))["sledkeeper_part"].samples
    labels = next(each.labels for each in samples if each.labels["part"] == pid("n1", "Blade1"))
    assert labels == {
        "controller": "n1",
        "part": pid("n1", "Blade1"),
        "kind": "blade",
        "name": "Blade1",
        "site": "Quellmark",
        "row": "A",
        "rack": "R02",
        "offset": "10",
        "slot": "Blade1",
        "model": "Brae 4",
        "serial": "n1-Blade1",
    }
    placed = {
        family.name
        for family in families(text_of(fleet)).values()
        for sample in family.samples
        if "rack" in sample.labels
    }
    assert placed == {"sledkeeper_part", "sledkeeper_controller"}


def test_controller_figures(fleet: Fleet) -> None:
    fleet.poll("n1", NOON + 60, outcome=Outcome.TIMED_OUT)
    text = text_of(fleet)
    assert value(text, "sledkeeper_controller_rounds_total", controller="n1", outcome="ok") == 1
    assert value(text, "sledkeeper_controller_rounds_total", controller="n1", outcome="timed out") == 1
    assert value(text, "sledkeeper_controller_last_round_timestamp_seconds", controller="n1") == NOON + 60
    assert value(text, "sledkeeper_controller_last_readings_timestamp_seconds", controller="n1") == NOON + 30
    assert value(text, "sledkeeper_controller_round_seconds", controller="n1") == 1.5
    assert value(text, "sledkeeper_controller_requests_total", controller="n1") == 6
    assert value(text, "sledkeeper_controller_received_bytes_total", controller="n1") == 34_000
    assert value(text, "sledkeeper_controller_walks_total", controller="n1") == 1
    assert value(text, "sledkeeper_controller_certificate_unverified", controller="n1") == 0


def test_the_collectors_own_figures(fleet: Fleet) -> None:
    text = text_of(fleet)
    assert value(text, "sledkeeper_collector_info", version="0.1.0") == 1
    assert value(text, "sledkeeper_collector_start_timestamp_seconds") == NOON
    assert value(text, "sledkeeper_writer_queued_updates") == 3
    assert value(text, "sledkeeper_writer_stored_updates_total") == 97
    assert value(text, "sledkeeper_writer_failing") == 1
    assert value(text, "sledkeeper_follower_merged_updates_total", follower="mqtt") == 8
    assert value(text, "sledkeeper_mqtt_connected") == 1
    assert value(text, "sledkeeper_mqtt_published_messages_total") == 400
    assert value(text, "sledkeeper_exposition_render_seconds") == 0.5
    bare = text_of(fleet, report=SelfReport(version="0.1.0", started=NOON))
    assert "writer" not in bare
    assert "mqtt" not in bare


def test_a_vanished_part_ends_unaided(fleet: Fleet) -> None:
    assert pid("n2", "Blade4") in text_of(fleet)
    fleet.without_part("n2", "Blade4", NOON + 900)
    assert pid("n2", "Blade4") not in text_of(fleet)


def test_every_metric_is_told_by_some_fleet() -> None:
    """No family is in the table and never told."""
    sensors = [sensor("n1", "Blade1", quantity.value, quantity) for quantity in Quantity]
    sensors.append(sensor("n1", "Blade1", "held", Quantity.ENERGY, Kind.BATTERY))
    fleet = Fleet("n1")
    fleet.walk(structs.replace(sled("n1", sensors=sensors), defects=(defect("/a", DefectKind.UNKNOWN_UNIT),)))
    fleet.poll("n1", NOON + 30, [1.0] * len(sensors), {"Blade1": Status(failure_predicted=False, power=PowerState.ON)})
    margins = tuple(margin("n1", "Blade1", kind) for kind in MarginKind)
    figures = tuple(worked("n1", "Blade1", kind) for kind in FigureKind)
    fleet.answer("n1", NOON + 30, troubles=(trouble("n1", "Fan1"),), margins=margins, figures=figures)
    fleet.live.apply(Update(controller="n1", contact=CONTACT))
    assert families(text_of(fleet)).keys() == FAMILIES.keys()


# Answers


def test_troubles_and_orders_are_counted_where_they_began_whoever_tells_of_them(fleet: Fleet) -> None:
    first, second = trouble("n1", "Fan1"), trouble("n1", "Blade1", severity=Health.WARNING)
    fleet.answer("n2", NOON + 30, troubles=(first, second), orders=(order(first), order(second)))
    text = text_of(fleet)
    for name, found in (("n1", 1.0), ("n2", 0.0), ("n3", 0.0)):
        for severity in ("Warning", "Critical"):
            assert value(text, "sledkeeper_troubles", controller=name, severity=severity) == found
    assert value(text, "sledkeeper_orders", controller="n1", urgency="today") == 2.0
    assert value(text, "sledkeeper_orders", controller="n1", urgency="now") == 0.0
    name, of = "sledkeeper_suspect_probability_ratio", pid("n1", "Fan1")
    assert value(text, name, controller="n1", part=of, fault="seized") == 0.9
    assert value(text, "sledkeeper_part_info", controller="n1", part=of) == 1.0, "there is one to join"
    ended = structs.replace(first, closed=NOON + 60)
    fleet.answer("n1", NOON + 60, troubles=(ended,), orders=(structs.replace(order(first), closed=NOON + 60),))
    text = text_of(fleet)
    assert value(text, "sledkeeper_troubles", controller="n1", severity="Critical") == 0.0
    assert value(text, "sledkeeper_orders", controller="n1", urgency="today") == 1.0
    assert value(text, name, part=of) is None


def test_a_part_accused_twice_is_one_series(fleet: Fleet) -> None:
    one = trouble("n1", "Fan1", probability=0.7)
    other = structs.replace(trouble("n2", "Fan1"), suspects=trouble("n1", "Fan1", probability=0.8).suspects)
    fleet.answer("n1", NOON, troubles=(one, other))
    assert value(text_of(fleet), "sledkeeper_suspect_probability_ratio", part=pid("n1", "Fan1")) == 0.8


def test_margins_are_of_what_is_read_and_there(fleet: Fleet) -> None:
    margins = (margin("n1", "Blade1"), margin("n1", "Blade2", MarginKind.POWER, -40.0), margin("n1", "Gone"))
    fleet.answer("n1", NOON + 30, margins=(*margins, margin("n2", "Blade4", MarginKind.AIR, math.nan)))
    text = text_of(fleet)
    assert value(text, "sledkeeper_margin_heat_celsius", part=pid("n1", "Blade1")) == 8.0
    assert value(text, "sledkeeper_margin_power_watts", part=pid("n1", "Blade2")) == -40.0
    assert pid("n1", "Gone") not in text
    assert "sledkeeper_margin_air_celsius" not in text
    fleet.answer("n1", NOON + 31, margins=(margin("n1", "Blade1", left=3.0, sensor="another"),))
    assert value(text_of(fleet), "sledkeeper_margin_heat_celsius", part=pid("n1", "Blade1")) == 3.0
    fleet.poll("n1", NOON + 60, outcome=Outcome.UNREACHABLE, error="refused")
    assert value(text_of(fleet), "sledkeeper_margin_heat_celsius", part=pid("n1", "Blade1")) is None


def test_figures_are_told_in_base_units_of_parts_that_are_there(fleet: Fleet) -> None:
    told = (
        worked("n1", "Blade1", FigureKind.AIR_PER_POWER, 62.5),
        worked("n1", "Blade1", FigureKind.UNACCOUNTED, -3.0, of="feed"),
        worked("n1", "Blade1", FigureKind.UNACCOUNTED, 7.0, of='bla"des'),
        worked("n1", "Gone", FigureKind.FAN_EFFORT, 1.1),
        worked("n1", "Blade2", FigureKind.IMBALANCE, 2.5, of="# current"),
        worked("n1", "Blade2", FigureKind.AIR_RISE, math.nan),
    )
    fleet.answer("n1", NOON + 30, figures=told)
    text = text_of(fleet)
    assert value(text, "sledkeeper_implied_air_cubic_meters_per_joule", part=pid("n1", "Blade1")) == 0.0625
    assert value(text, "sledkeeper_unaccounted_power_watts", part=pid("n1", "Blade1"), of="feed") == -3.0
    assert value(text, "sledkeeper_unaccounted_power_watts", part=pid("n1", "Blade1"), of='bla"des') == 7.0
    assert value(text, "sledkeeper_phase_imbalance_ratio", part=pid("n1", "Blade2"), of="# current") == 0.025
    assert "fan_effort" not in text
    assert "air_rise" not in text
    fleet.poll("n1", NOON + 60, outcome=Outcome.UNREACHABLE, error="refused")
    assert "unaccounted" not in text_of(fleet)


# Hostile text

HOSTILE = [
    'quote " and back\\slash',
    "line\nfeed and carriage\rreturn",
    "nul \x00 bell \x07 escape \x1b[31m",
    "bidi \u202e override and zero\u200bwidth",
    "lone surrogate \ud800",
    "x" * 10_000,
    "# EOF",
    '"} 1\nsledkeeper_fake 1',
    "{}",
    "",
    " ",
    "Ünïcödé – 温度",
    "<script>alert(1)</script>",
]


@pytest.mark.parametrize("openmetrics", [True, False])
@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_names_are_text_and_nothing_else(text: str, openmetrics: bool) -> None:
    fleet = Fleet("n1")
    bad = part("n1", "Blade" + text, Kind.BLADE, shown=text)
    plain_sled = sled("n1", sensors=[sensor("n1", "Blade" + text, text)])
    fleet.walk(structs.replace(plain_sled, parts=(*plain_sled.parts, bad), product=text))
    exposed = text_of(fleet, openmetrics)
    assert "\r" not in exposed
    assert "\x00" not in exposed
    assert "\x1b" not in exposed
    assert all(len(line) < 3000 for line in exposed.splitlines())
    found = families(exposed, openmetrics)
    names = {family.name for family in FAMILIES.values()} | {family.sample for family in FAMILIES.values()}
    assert found.keys() <= names
    assert len(found["sledkeeper_temperature_celsius"].samples) == 1
    ours = sorted(in_label_order(line) for line in exposed.splitlines() if not line.startswith("#"))
    assert ours == sorted(in_label_order(line) for line in lines_again(exposed, openmetrics) if line[0] != "#")


def test_long_names_that_differ_at_the_end_stay_two() -> None:
    names = ["x" * 10_000 + "1", "x" * 10_000 + "2", "a\nb", "a\rb", "a\ufffdb"]
    fleet = Fleet("n1")
    fleet.walk(sled("n1", sensors=[sensor("n1", "Blade1", name) for name in names]))
    samples = families(text_of(fleet))["sledkeeper_temperature_celsius"].samples
    assert len({each.labels["sensor"] for each in samples}) == len(names)


def test_a_sensor_listed_twice_is_told_once() -> None:
    fleet = Fleet("n1")
    exposition = Exposition()
    twice = sled("n1", sensors=[sensor("n1", "Blade1", "It"), sensor("n1", "Blade1", "It")])
    fleet.walk(twice)
    exposition.add_controller(fleet.live.controllers["n1"])
    text = b"".join(exposition.chunks(True)).decode()
    assert text.count('sensor="It"') == 1


@given(st.text(max_size=400))
def test_label_text_is_short_visible_and_kept_where_it_may(text: str) -> None:
    shown = label_text(text)
    assert len(shown) <= LONGEST
    assert not {unicodedata.category(char) for char in shown} & {"Cc", "Cf", "Cs", "Zl", "Zp"}
    assert shown == text or "~" in shown
    escaped = label_value(text)
    assert "\n" not in escaped
    assert escaped.replace(r"\\", "\0").replace(r"\"", "\1").replace("\0", "\\").replace("\1", '"') == shown


@given(st.lists(st.text(max_size=300), min_size=2, max_size=8, unique=True))
def test_different_text_has_different_labels(texts: list[str]) -> None:
    assert len({label_value(text) for text in texts}) == len(texts)


def test_how_the_contact_with_a_controller_stands() -> None:
    fleet = Fleet("n1")
    fleet.walk(sled("n1"))
    assert value(text_of(fleet), "sledkeeper_controller_login_refusals", controller="n1") is None, "nothing known yet"
    fleet.live.apply(Update(controller="n1", contact=CONTACT))
    text = text_of(fleet)
    assert state(text, "sledkeeper_controller_login", controller="n1") == "session"
    assert state(text, "sledkeeper_controller_events", controller="n1") == "push"
    told = {name: value(text, f"sledkeeper_controller_{name}", controller="n1") for name in (
        "certificate_expiry_timestamp_seconds",
        "clock_offset_seconds",
        "session_start_timestamp_seconds",
        "session_table_full",
        "events_start_timestamp_seconds",
    )}  # fmt: skip
    assert list(told.values()) == [NOON + 86_400, -3.0, NOON + 1, 0.0, NOON + 2]
    assert value(text, "sledkeeper_controller_certificate_info", fingerprint="sha256:ab") == 1.0
    fleet.live.apply(Update(controller="n1", contact=CONTACT.left()))
    text = text_of(fleet)
    assert state(text, "sledkeeper_controller_login", controller="n1") == "not logged in"
    assert value(text, "sledkeeper_controller_session_start_timestamp_seconds", controller="n1") is None
    assert value(text, "sledkeeper_controller_clock_offset_seconds", controller="n1") == -3.0


def test_defects_are_counted_by_kind_too() -> None:
    fleet = Fleet("n1")
    told = (
        defect("/a", DefectKind.UNKNOWN_UNIT),
        defect("/b", DefectKind.UNKNOWN_UNIT),
        defect("/b", DefectKind.MISSING),
    )
    fleet.walk(structs.replace(sled("n1"), defects=told))
    fleet.poll("n1", NOON + 30, [1.0] * 5)
    text = text_of(fleet)
    assert value(text, "sledkeeper_controller_defects", controller="n1") == 3.0
    assert value(text, "sledkeeper_controller_defects_of_kind", kind="unknown unit") == 2.0
    assert value(text, "sledkeeper_controller_defects_of_kind", kind="missing") == 1.0
    assert value(text, "sledkeeper_controller_defects_of_kind", kind="too big") is None
