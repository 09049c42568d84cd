"""Bodies that are wrong as bodies in life are wrong: every oddity by name, each to be switched on alone or with others.

The dialect ``odd`` is both models with all of them; ``odd:wrong-count,unit-c`` with those two. An oddity says where it
was committed and which kind of defect a reader must name there, or that the body can be read in spite of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, NamedTuple

import msgspec

from simulators.service import both, live
from simulators.service.modern_sensors import drive, fan, supply
from simulators.service.places import CHASSIS, SLED, SYSTEMS, Plan, blade, host
from simulators.service.query import Body
from simulators.service.template import Live
from simulators.service.tree import Tree, link
from simulators.site import Dialect, Sled

_MISSING = f"{CHASSIS}/Sled/Sensors/Nothing"


class Spot(NamedTuple):
    """Where a body is odd."""

    resource: str
    pointer: str
    """JSON pointer (RFC 6901) within it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Oddity:
    """One thing that is wrong, or merely unusual."""

    text: str
    """What it is, one sentence for a person."""
    commit: Callable[[Tree, Plan], tuple[Spot, ...]]
    defect: str | None = None
    """Kind of the defect that a reader must name at the spot; None: it reads on, rightly, without one."""
    silent: bool = False
    """Whether the reading at the spot can't be had."""


def build(sled: Sled) -> Tree:
    """All resources that the controllers of sleds like this one tell."""
    tree, plan = both.build(sled), Plan(sled)
    for name in chosen(sled.dialect):
        ODDITIES[name].commit(tree, plan)
    return tree


def chosen(dialect: Dialect) -> tuple[str, ...]:
    """The oddities that a dialect names, all where it names none; ValueError for one that is none."""
    _, colon, names = dialect.partition(":")
    if not colon:
        return tuple(ODDITIES)
    wanted = [name for name in names.split(",") if name]
    unknown = [name for name in wanted if name not in ODDITIES]
    if unknown or not wanted:
        raise ValueError(f"no oddity is called {(unknown or [''])[0]!r}; there are: {', '.join(ODDITIES)}")
    return tuple(wanted)


def _sensor(tree: Tree, path: str, **changes: Any) -> tuple[Spot, ...]:
    """Change properties of a resource; the spots are those properties."""
    tree.resources[path].body.update(changes)
    return tuple(Spot(path, f"/{key}") for key in changes)


def _without(tree: Tree, path: str, key: str) -> tuple[Spot, ...]:
    del tree.resources[path].body[key]
    return (Spot(path, f"/{key}"),)


def _other(hole: Any, change: Callable[[Any], Any]) -> live.Hole:
    """The same hole with something else in it, made from what belongs there."""
    fill: Callable[[live.Moment], bytes] = hole.fill
    return Live(lambda now: msgspec.json.encode(change(msgspec.json.decode(fill(now)))))


def _text_number(tree: Tree, _: Plan) -> tuple[Spot, ...]:
    path = f"{SLED}/Sensors/SledExhaust"
    return _sensor(tree, path, Reading=_other(tree.resources[path].body["Reading"], str))


def _out_of_range(tree: Tree, _: Plan) -> tuple[Spot, ...]:
    return _sensor(tree, f"{SLED}/Sensors/Controller", Reading=250.0)


def _no_state(tree: Tree, _: Plan) -> tuple[Spot, ...]:
    path = fan(3)
    status = _other(tree.resources[path].body["Status"], lambda told: {k: v for k, v in told.items() if k != "State"})
    _sensor(tree, path, Status=status)
    return (Spot(path, "/Status/State"),)


def _strange_state(tree: Tree, _: Plan) -> tuple[Spot, ...]:
    path = supply(1)
    _sensor(tree, path, Status=_other(tree.resources[path].body["Status"], lambda told: told | {"State": "Offline"}))
    return (Spot(path, "/Status/State"),)


def _led_unknown(tree: Tree, _: Plan) -> tuple[Spot, ...]:
    path = f"{SLED}/Thermal"
    tree.resources[path].body["Fans"][0]["IndicatorLED"] = "Unknown"
    return (Spot(path, "/Fans/0/IndicatorLED"),)


def _percent_fans(tree: Tree, plan: Plan) -> tuple[Spot, ...]:
    path, rated = f"{SLED}/Thermal", plan.design.fan.rated_rpm
    rows = tree.resources[path].body["Fans"]
    for row in rows:
        row["ReadingUnits"] = "Percent"
        row["Reading"] = _other(row["Reading"], lambda rpm: None if rpm is None else round(100.0 * rpm / rated))
        for key in [key for key in row if "Threshold" in key or "ReadingRange" in key]:
            row[key] = round(100.0 * row[key] / rated)
    return tuple(Spot(path, f"/Fans/{index}/Reading") for index in range(len(rows)))


def _wrong_count(tree: Tree, _: Plan) -> tuple[Spot, ...]:
    body = tree.resources[CHASSIS].body
    body["Members@odata.count"] += 2
    return (Spot(CHASSIS, "/Members@odata.count"),)


def _no_count(tree: Tree, _: Plan) -> tuple[Spot, ...]:
    return _without(tree, f"{blade(1)}/Sensors", "Members@odata.count")


def _listed_twice(tree: Tree, _: Plan) -> tuple[Spot, ...]:
    body = tree.resources[SYSTEMS].body
    count = len(body["Members"])
    body["Members"] = [*body["Members"], body["Members"][0]]
    body["Members@odata.count"] = count + 1
    return (Spot(SYSTEMS, f"/Members/{count}"),)


def _source_spelling(tree: Tree, _: Plan) -> tuple[Spot, ...]:
    path = f"{SLED}/EnvironmentMetrics"
    body = tree.resources[path].body
    for key in ("TemperatureCelsius", "PowerWatts"):
        body[key] = {{"DataSourceUri": "DataSourceURI"}.get(word, word): value for word, value in body[key].items()}
    return (Spot(path, "/TemperatureCelsius/DataSourceURI"), Spot(path, "/PowerWatts/DataSourceURI"))


def _source_of_nothing(tree: Tree, _: Plan) -> tuple[Spot, ...]:
    path = f"{SLED}/EnvironmentMetrics"
    body = tree.resources[path].body
    body["EnergykWh"] = {**body["EnergykWh"], "DataSourceUri": _MISSING}
    return (Spot(path, "/EnergykWh/DataSourceUri"),)


def _thresholds(tree: Tree, _: Plan) -> tuple[Spot, ...]:
    path = f"{blade(1)}/Sensors/Blade1Cpu0"
    limits: Body = dict(tree.resources[path].body["Thresholds"])
    limits["UpperCaution"], limits["UpperCritical"] = limits["UpperCritical"], limits["UpperCaution"]
    return _sensor(tree, path, Thresholds=limits)


def _one_sided(tree: Tree, _: Plan) -> tuple[Spot, ...]:
    one, sled = tree.resources[blade(1)].body, tree.resources[SLED].body
    one["Links"] = {key: value for key, value in one["Links"].items() if key != "ContainedBy"}
    sled["Links"] = {**sled["Links"], "Contains": [to for to in sled["Links"]["Contains"] if to != link(blade(2))]}
    return (Spot(blade(1), "/Links/ContainedBy"), Spot(SLED, "/Links/Contains"))


def _dangling(tree: Tree, _: Plan) -> tuple[Spot, ...]:
    body, gone = tree.resources[blade(1)].body, drive(1, 99)
    drives = [*body["Links"]["Drives"], link(gone)]
    body["Links"] = {**body["Links"], "Drives": drives}
    return (Spot(blade(1), f"/Links/Drives/{len(drives) - 1}"),)


def _wrong_name(tree: Tree, _: Plan) -> tuple[Spot, ...]:
    return _sensor(tree, fan(2), **{"@odata.id": fan(1)})


ODDITIES: dict[str, Oddity] = {
    "null-reading": Oddity(
        text="A reading is null although its sensor is enabled.",
        commit=lambda tree, plan: _sensor(tree, f"{SLED}/Sensors/Adapter", Reading=None),
        silent=True,
    ),
    "absent-reading": Oddity(
        text="A sensor that is enabled has no Reading at all.",
        commit=lambda tree, plan: _without(tree, f"{SLED}/Sensors/FeedCurrent", "Reading"),
        silent=True,
    ),
    "text-number": Oddity(
        text="A reading is a string with a number in it.", commit=_text_number, defect="wrong type", silent=True
    ),
    "out-of-range": Oddity(
        text="A reading lies outside its sensor's own range.", commit=_out_of_range, defect="out of range", silent=True
    ),
    "bad-time": Oddity(
        text="A reading's time has no offset from UTC.",
        commit=lambda tree, plan: _sensor(tree, f"{SLED}/Sensors/Psu1", ReadingTime="2026-09-21 13:33:20"),
        defect="bad time",
    ),
    "unit-c": Oddity(
        text="A temperature is in 'C', which UCUM has for coulomb.",
        commit=lambda tree, plan: _sensor(tree, f"{SLED}/Sensors/SledInlet", ReadingUnits="C"),
        defect="wrong unit",
    ),
    "no-reading-type": Oddity(
        text="A temperature does not say that it is one, only Cel.",
        commit=lambda tree, plan: _without(tree, f"{blade(1)}/Sensors/Blade1Inlet", "ReadingType"),
    ),
    "thresholds-crossed": Oddity(
        text="Upper caution lies above upper critical.", commit=_thresholds, defect="thresholds out of order"
    ),
    "source-spelling": Oddity(text="Excerpts say DataSourceURI for DataSourceUri.", commit=_source_spelling),
    "source-of-nothing": Oddity(
        text="An excerpt's DataSourceUri leads nowhere.", commit=_source_of_nothing, defect="dangling link"
    ),
    "foreign-id": Oddity(
        text="A resource's Id is not the last step of its URI.",
        commit=lambda tree, plan: _sensor(tree, f"{blade(1)}/Sensors/Blade1Power", Id="PWR_B1"),
    ),
    "wrong-name": Oddity(
        text="A resource's own @odata.id is its neighbour's.", commit=_wrong_name, defect="wrong identity"
    ),
    "no-state": Oddity(text="A Status has Health and no State.", commit=_no_state),
    "strange-state": Oddity(
        text="A State is 'Offline', which the standard has not.", commit=_strange_state, defect="unknown word"
    ),
    "led-unknown": Oddity(text="An IndicatorLED is 'Unknown', deprecated since 2016.", commit=_led_unknown),
    "led-blinking": Oddity(
        text="A blade tells the deprecated IndicatorLED, blinking, and no LocationIndicatorActive beside it.",
        commit=lambda tree, plan: (
            _without(tree, blade(2), "LocationIndicatorActive") and _sensor(tree, blade(2), IndicatorLED="Blinking")
        ),
    ),
    "percent-fans": Oddity(text="The older rows tell fans in percent.", commit=_percent_fans),
    "wrong-count": Oddity(
        text="Members@odata.count is not the number of members.", commit=_wrong_count, defect="wrong count"
    ),
    "no-count": Oddity(text="A collection has no Members@odata.count.", commit=_no_count, defect="missing"),
    "listed-twice": Oddity(text="A collection lists a member twice.", commit=_listed_twice, defect="duplicate"),
    "one-sided": Oddity(
        text="A blade does not say what contains it, and the sled does not list another.", commit=_one_sided
    ),
    "dangling": Oddity(text="A link leads to nothing.", commit=_dangling, defect="dangling link"),
    "no-members": Oddity(
        text="A host has neither Memory nor its summaries.",
        commit=lambda tree, plan: tuple(
            spot for key in ("Memory", "MemorySummary", "ProcessorSummary") for spot in _without(tree, host(1), key)
        ),
    ),
}
"""Every oddity by name."""


def commit(tree: Tree, plan: Plan, names: Iterable[str]) -> dict[str, tuple[Spot, ...]]:
    """Make a tree odd, and say by name where."""
    return {name: ODDITIES[name].commit(tree, plan) for name in names}
