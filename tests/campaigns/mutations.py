"""Mutations of bodies, as hypothesis draws them, and what numbers a body tells at all."""

from __future__ import annotations

import copy
import json
import math
import os
import re
from collections.abc import Iterable, Iterator
from typing import Any

from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from msgspec import Struct

SAMPLE = 0.01


def examples(full: int) -> settings:
    """How many of a campaign's examples to run: the fraction in SLEDKEEPER_CAMPAIGN, a small sample without it."""
    share = float(os.environ.get("SLEDKEEPER_CAMPAIGN", SAMPLE))
    return settings(
        max_examples=max(1, round(full * share)),
        deadline=None,
        database=None,
        phases=(Phase.explicit, Phase.generate, Phase.shrink),
        suppress_health_check=list(HealthCheck),
    )


JUNK: tuple[Any, ...] = (
    *(None, True, False, 0, -1, 1, 1e308, -1e308, 5e-324, 10**400, "", " ", "x" * 300, "NaN", "12", "-1.5e3", "1_0"),
    *("Enabled", "Absent", "OK", "Critical", "PT5S", "P1Y", "PT", "W", "Cel", "kW.h", "%", "furlongs", "\u0663"),
    *([], {}, [None], [[]], [{}], [1, "2", None], {"a": 1}, "\u202e\x1b[31m", "2025-11-24T15:00:00Z", "%zz", "*"),
    *({"@odata.id": told} for told in (5, "", "/", "#", "http://192.0.2.1/x", "/redfish/v1/Chassis", "//x", "\x00")),
    {"@odata.id": "/redfish/v1/"},
    {"Reading": "5", "DataSourceUri": "/redfish/v1/Chassis/1U/Sensors/CPU1Temp"},
    {"Reading": 7.25, "DataSourceUri": "/redfish/v1/Chassis/1U/Thermal#/Fans/99", "SpeedRPM": 4321},
    {"Reading": [], "DataSourceUri": 7},
    {"State": 5, "Health": []},
    {"State": "Bogus", "Health": "Bad", "Conditions": [1, {"Message": 5}, {"Severity": "Critical", "Message": "m"}]},
    {"MetricProperty": "/redfish/v1/Chassis/1U/Sensors/CPU1Temp#/Reading", "MetricValue": "41.25"},
    "#Sensor.v1_9_0.Sensor",
    "#MetricReport.v1_5_0.MetricReport",
    "#Thermal.v1_7_0.Thermal",
    "#SensorCollection.SensorCollection",
)
"""What services have been seen to say, or could, where something else belongs."""

_SCALARS = st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=20)
JSON = st.recursive(
    _SCALARS, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
)


class Mutation(Struct, frozen=True):
    """One change of one place of a body."""

    where: float
    """Which of its places, 0 the first and 1 the last."""
    what: str
    """``set``, ``delete``, ``double`` or ``wrap``."""
    value: Any


MUTATIONS = st.builds(
    Mutation,
    st.floats(0, 1),
    st.sampled_from(["set", "set", "set", "delete", "double", "wrap"]),
    st.sampled_from(JUNK) | JSON,
)


def mutated(body: Any, mutations: Iterable[Mutation]) -> Any:
    """A body with changes, one after the other."""
    told = copy.deepcopy(body)
    for mutation in mutations:
        places = list(_places(told))
        if not places:
            return copy.deepcopy(mutation.value)
        holder, step = places[min(int(mutation.where * len(places)), len(places) - 1)]
        if mutation.what == "delete":
            del holder[step]
        elif mutation.what == "double" and isinstance(holder, list):
            holder.insert(step, copy.deepcopy(holder[step]))
        elif mutation.what == "wrap":
            holder[step] = [holder[step]]
        else:
            holder[step] = copy.deepcopy(mutation.value)
    return told


def _places(value: Any) -> Iterator[tuple[Any, Any]]:
    if isinstance(value, dict):
        for key in value:
            yield value, key
            yield from _places(value[key])
    elif isinstance(value, list):
        for index in range(len(value)):
            yield value, index
            yield from _places(value[index])


_NUMBER = re.compile(r"\s*[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?\s*", re.ASCII)
_DURATION = re.compile(
    r"\s*P(?:([\d]+)D)?(?:T(?:([\d.]+)H)?(?:([\d.]+)M)?(?:([\d.]+)S)?)?\s*", re.IGNORECASE | re.ASCII
)


def numbers_in(raw: bytes) -> set[float]:
    """Every number that bytes tell: JSON numbers, numbers in strings, durations as seconds.

    Of what is no JSON, whatever looks like a number: a good reading may be read beside a string that is no UTF-8.
    """
    text = raw.decode(errors="replace")
    try:
        told = json.loads(text, parse_int=float)
    except (ValueError, RecursionError):
        told = re.findall(r"-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?", text)
    found: set[float] = set()
    waiting = [told]
    while waiting:
        value = waiting.pop()
        if isinstance(value, dict):
            waiting += value.values()
        elif isinstance(value, list):
            waiting += value
        elif isinstance(value, float):
            found.add(value)
        elif isinstance(value, str):
            if _NUMBER.fullmatch(value):
                found.add(float(value))
            elif (parts := _DURATION.fullmatch(value)) is not None:
                try:
                    days, hours, minutes, seconds = (float(part or 0) for part in parts.groups())
                except ValueError:
                    continue
                found.add(days * 86_400.0 + hours * 3_600.0 + minutes * 60.0 + seconds)
            elif re.fullmatch(r"\s*P\d+W\s*", value, re.IGNORECASE | re.ASCII):
                found.add(int(value.strip()[1:-1]) * 604_800.0)
    return {value for value in found if math.isfinite(value)}
