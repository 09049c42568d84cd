"""Settings of parts: controls, power limits, allocations, rated speeds. Read on walks; see ``model.setting``.

Sources: DSP8010 2025.4 ``Control_v1.xml`` (ControlType and the units its descriptions demand), ``Fan_v1.xml``,
``PowerSubsystem_v1.xml`` (Allocation), ``EnvironmentMetrics_v1.xml`` (PowerLimitWatts, an excerpt of a Control),
``Power_v1.xml`` (PowerControl). Where several places tell one setting of one part, the newest of the standard's counts:
the Control, its excerpt, the subsystem, the older row.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

import msgspec
from msgspec import Struct, structs

from collector.model import DefectKind, Quantity, Setting, SettingKind
from collector.normalise.bodies import Body, finite, link_list, pointer, record, rows, text
from collector.normalise.findings import Findings, shown
from collector.normalise.parts import MAX_ROWS, Draft, Parts
from collector.normalise.places import data_source
from collector.normalise.units import FARTHEST, Measure, commensurable, known_codes, of_code, quantity_of
from collector.redfish import links
from collector.redfish.resources import Fetch

CONTROL_TYPES: Mapping[str, tuple[Quantity, str]] = {
    "Temperature": (Quantity.TEMPERATURE, "Cel"),
    "Power": (Quantity.POWER, "W"),
    "Frequency": (Quantity.FREQUENCY, "Hz"),
    "FrequencyMHz": (Quantity.FREQUENCY, "MHz"),
    "Pressure": (Quantity.PRESSURE, "kPa"),
    "PressurekPa": (Quantity.PRESSURE, "kPa"),
    "Valve": (Quantity.PERCENT, "%"),
    "Percent": (Quantity.PERCENT, "%"),
    "DutyCycle": (Quantity.PERCENT, "%"),
    "LiquidFlowLPM": (Quantity.LIQUID_FLOW, "L/min"),
    "LinearPosition": (Quantity.OTHER, "m"),
    "LinearVelocity": (Quantity.OTHER, "m/s"),
    "LinearAcceleration": (Quantity.OTHER, "m/s2"),
    "RotationalPosition": (Quantity.OTHER, "rad"),
    "RotationalVelocity": (Quantity.OTHER, "rad/s"),
    "RotationalAcceleration": (Quantity.OTHER, "rad/s2"),
}
"""ControlType -> quantity and the UCUM code that the standard demands beside it."""

CONTROL_MODES = frozenset({"Automatic", "Override", "Manual", "Disabled"})
_CODES = frozenset(known_codes())
_CHIPS = frozenset({"CPU", "GPU", "GPUSubsystem", "CPUSubsystem", "Memory", "MemorySubsystem", "Accelerator", "ASIC"})
_SLOWEST_CHIP = 1e6
"""Hz. A chip's clock below that is told in MHz under the name of Hz, as in a published example."""
NUMBERS = ("SetPoint", "SettingMin", "SettingMax", "AllowableMin", "AllowableMax")


class _Told(Struct):
    """A setting as one place tells it."""

    draft: Draft | None
    setting: Setting
    copy_of: str | None = None
    """The Control that an excerpt says it copies."""


def find_settings(
    controller: str, parts: Parts, id_of: Mapping[str, str], fallback: str, findings: Findings
) -> tuple[Setting, ...]:
    """All settings of one walk, each once, in the order found; ``fallback``: id for what is no part's."""
    found: dict[tuple[str, SettingKind, str], Setting] = {}
    controls: dict[str, tuple[str, SettingKind, str]] = {}
    taken: set[tuple[str, SettingKind]] = set()
    for told in _all(controller, parts, findings):
        setting = told.setting
        part = id_of.get(told.draft.uri, fallback) if told.draft is not None else fallback
        if told.copy_of in controls:
            key = controls[told.copy_of]
            before = found[key]
            if before.value != setting.value:
                detail = f"the limit is {setting.value} here, {before.value} in {told.copy_of}, which is taken"
                findings.add(*_place(setting.source), DefectKind.CONTRADICTION, detail)
            # The excerpt stands in the metrics of what is limited; the Control may stand in a chassis above it.
            found[key] = structs.replace(before, part=part, also_at=(*before.also_at, setting.source))
            taken.add((part, setting.kind))
            continue
        if setting.kind is not SettingKind.SET_POINT and (part, setting.kind) in taken:
            key = next(key for key, one in found.items() if (one.part, one.kind) == (part, setting.kind))
            if key[2] == setting.name or _place(setting.source)[0] != _place(found[key].source)[0]:
                found[key] = structs.replace(found[key], also_at=(*found[key].also_at, setting.source))
                continue
        key = (part, setting.kind, setting.name)
        if key in found:
            key = (part, setting.kind, f"{setting.name} {setting.source.rpartition('/')[2]}"[:80])
        found[key] = structs.replace(setting, part=part, name=key[2])
        taken.add((part, setting.kind))
        if "#" not in setting.source:
            controls[setting.source] = key
    return tuple(found.values())


def _place(source: str) -> tuple[str, str]:
    path, _, fragment = source.partition("#")
    return path, fragment


def _all(controller: str, parts: Parts, findings: Findings) -> Iterator[_Told]:
    readers: tuple[tuple[str, Callable[[str, str, Body, Parts, Findings], Iterator[_Told]]], ...] = (
        ("Control", _control),
        ("EnvironmentMetrics", _limit),
        ("PowerSubsystem", _allocation),
        ("Power", _older),
    )
    for type_, read in readers:
        for uri, resource in parts.resources.items():
            if parts.types[uri] == type_:
                yield from read(controller, uri, resource.body, parts, findings)
    for draft in parts.of_type("Fan"):
        for key, name in (("RatedSpeedRPM", "rated speed"), ("RatedSecondarySpeedRPM", "rated secondary speed")):
            rpm = _number(draft.body, key, draft.resource, pointer(*draft.steps), findings)
            if rpm is not None and rpm > 0.0:
                source = f"{draft.resource}#{pointer(*draft.steps, key)}"
                kind, quantity = SettingKind.RATED_SPEED, Quantity.ROTATION
                yield _Told(draft, _plain(controller, kind, name, quantity, "{rev}/min", rpm, source))
    for type_ in ("Circuit", "Outlet"):
        for draft in parts.of_type(type_):
            amperes = _number(draft.body, "RatedCurrentAmps", draft.resource, pointer(*draft.steps), findings)
            if amperes is not None and amperes > 0.0:
                source = f"{draft.resource}#{pointer(*draft.steps, 'RatedCurrentAmps')}"
                kind, name, quantity = SettingKind.RATED_CURRENT, "rated current", Quantity.CURRENT
                yield _Told(draft, _plain(controller, kind, name, quantity, "A", amperes, source))


def _control(controller: str, uri: str, body: Body, parts: Parts, findings: Findings) -> Iterator[_Told]:
    numbers = {key: _number(body, key, uri, "", findings) for key in (*NUMBERS, "DeadBand")}
    measure = control_measure(body, [one for key in NUMBERS if (one := numbers[key]) is not None], uri, findings)
    setting = _of_control(controller, body, measure, numbers, uri, "", findings)
    if setting is not None:
        related = [parts.find(target) for target in link_list(body.get("RelatedItem"))]
        known = [draft for draft in related if draft is not None]
        yield _Told(known[0] if len(known) == 1 else parts.owner(uri), setting)


def _limit(controller: str, uri: str, body: Body, parts: Parts, findings: Findings) -> Iterator[_Told]:
    told = body.get("PowerLimitWatts")
    if told is None:
        return
    if not isinstance(told, dict):
        detail = f"PowerLimitWatts is {shown(told)}, not an object"
        findings.add(uri, "/PowerLimitWatts", DefectKind.WRONG_TYPE, detail)
        return
    numbers = {key: _number(told, key, uri, "/PowerLimitWatts", findings) for key in (*NUMBERS, "DeadBand")}
    measure = Measure(Quantity.POWER, "W")
    at = "/PowerLimitWatts"
    setting = _of_control(controller, {"Name": "power limit", **told}, measure, numbers, uri, at, findings)
    if setting is not None:
        yield _Told(parts.owner(uri), setting, data_source(told))


def _of_control(
    controller: str,
    body: Body,
    measure: Measure,
    numbers: Mapping[str, float | None],
    uri: str,
    at: str,
    findings: Findings,
) -> Setting | None:
    """None where it sets nothing and says nothing of what it may be set to: a control that only shows a reading."""
    if all(numbers[key] is None for key in NUMBERS):
        return None
    mode = body.get("ControlMode")
    if mode is not None and not (isinstance(mode, str) and mode in CONTROL_MODES):
        detail = f"ControlMode {shown(mode)} is not in the standard"
        findings.add(uri, f"{at}/ControlMode", DefectKind.UNKNOWN_WORD, detail)
        mode = None

    def scaled(key: str) -> float | None:
        number = numbers[key]
        return None if number is None else measure.limit(number)

    band = numbers["DeadBand"]
    power = measure.quantity is Quantity.POWER
    return Setting(
        controller=controller,
        part="",
        kind=SettingKind.POWER_LIMIT if power else SettingKind.SET_POINT,
        name=text(body.get("Name"), 80) or uri.rpartition("/")[2][:80],
        quantity=measure.quantity,
        unit=measure.unit,
        value=scaled("SetPoint"),
        low=scaled("SettingMin"),
        high=scaled("SettingMax"),
        lowest=scaled("AllowableMin"),
        highest=scaled("AllowableMax"),
        dead_band=None if band is None else min(abs(measure.distance(band)), FARTHEST),
        mode=mode,
        source=f"{uri}#{at}/SetPoint" if at else uri,
    )


def control_measure(body: Body, numbers: list[float], uri: str, findings: Findings) -> Measure:
    """What the numbers of a Control mean: its ControlType, else its SetPointUnits; what disagrees is a defect."""
    type_, code = body.get("ControlType"), body.get("SetPointUnits")
    told = CONTROL_TYPES.get(type_) if isinstance(type_, str) else None
    if told is None and type_ is not None:
        detail = f"ControlType {shown(type_)} is not in the standard"
        findings.add(uri, "/ControlType", DefectKind.UNKNOWN_WORD, detail)
    code = code.strip()[:40] if isinstance(code, str) else ""
    if told is None:
        if code and code not in _CODES:
            detail = f"unit {shown(code)} is unknown; values are kept as told"
            findings.add(uri, "/SetPointUnits", DefectKind.UNKNOWN_UNIT, detail)
        return of_code(quantity_of(code) or Quantity.OTHER, code)
    quantity, demanded = told
    taken = demanded
    if code and code != demanded:
        taken = code if commensurable(code, demanded) else demanded
        detail = f"SetPointUnits {shown(code)} where ControlType {type_} means {demanded}; read as {taken}"
        findings.add(uri, "/SetPointUnits", DefectKind.WRONG_UNIT, detail)
    chip = text(body.get("PhysicalContext")) in _CHIPS
    if taken == "Hz" and chip and numbers and 0.0 < max(numbers) < _SLOWEST_CHIP:
        detail = f"{max(numbers):g} Hz is no clock of a {body['PhysicalContext']}; read as MHz"
        findings.add(uri, "/SetPointUnits", DefectKind.WRONG_UNIT, detail)
        taken = "MHz"
    return of_code(quantity, taken)


def _allocation(controller: str, uri: str, body: Body, parts: Parts, findings: Findings) -> Iterator[_Told]:
    told = record(body.get("Allocation"))
    for key, kind in (
        ("RequestedWatts", SettingKind.REQUESTED_POWER),
        ("AllocatedWatts", SettingKind.ALLOCATED_POWER),
    ):
        watts = _number(told, key, uri, "/Allocation", findings)
        if watts is not None:
            source = f"{uri}#/Allocation/{key}"
            yield _Told(parts.owner(uri), _plain(controller, kind, kind.value, Quantity.POWER, "W", watts, source))


def _older(controller: str, uri: str, body: Body, parts: Parts, findings: Findings) -> Iterator[_Told]:
    listed = rows(body.get("PowerControl"))[:MAX_ROWS]
    for index, row in enumerate(listed):
        row, at = record(row), pointer("PowerControl", index)
        limit = record(row.get("PowerLimit"))
        for holder, key, below, kind in (
            (limit, "LimitInWatts", "/PowerLimit", SettingKind.POWER_LIMIT),
            (row, "PowerRequestedWatts", "", SettingKind.REQUESTED_POWER),
            (row, "PowerAllocatedWatts", "", SettingKind.ALLOCATED_POWER),
        ):
            watts = _number(holder, key, uri, at + below, findings)
            if watts is None:
                continue
            # Several rows are shares of the whole, by words of the service's own.
            called = text(row.get("Name"), 60) if len(listed) > 1 else None
            name = f"{called} {kind.value}" if called else kind.value
            source = f"{uri}#{at}{below}/{key}"
            yield _Told(parts.owner(uri), _plain(controller, kind, name, Quantity.POWER, "W", watts, source))


def _plain(
    controller: str, kind: SettingKind, name: str, quantity: Quantity, unit: str, value: float, source: str
) -> Setting:
    return Setting(
        controller=controller,
        part="",
        kind=kind,
        name=name,
        quantity=quantity,
        unit=unit,
        value=value,
        source=source,
    )


def _number(holder: Body, key: str, resource: str, at: str, findings: Findings) -> float | None:
    told = holder.get(key)
    number = finite(told)
    if told is not None and number is None:
        findings.add(resource, f"{at}/{key}", DefectKind.WRONG_TYPE, f"{key} is {shown(told)}, not a number")
    return number


class Limits:
    """Whether the power limits that a walk found still hold, by what rounds bring anyway.

    Other settings move by themselves, or never: they are read by walks.
    """

    EVERY = 10
    """Rounds from one look to the next, at least: what brings a limit may take turns."""

    def __init__(self, settings: tuple[Setting, ...], fetches: tuple[Fetch, ...]) -> None:
        self._wanted: dict[int, list[tuple[str, tuple[str, ...], float | None]]] = {}
        self._round = 0
        self._looked: dict[int, int] = {}
        """By fetch: the round of the newest look."""
        for setting in settings:
            if setting.kind is not SettingKind.POWER_LIMIT:
                continue
            for place in (setting.source, *setting.also_at):
                uri, fragment = _place(place)
                index = next((index for index, fetch in enumerate(fetches) if uri in fetch.brings), None)
                if index is not None and not fragment.startswith("/PowerControl"):
                    steps = tuple(fragment.split("/")[1:]) or ("SetPoint",)
                    self._wanted.setdefault(index, []).append((uri, steps, setting.value))
                    break

    def begin(self) -> None:
        """A round begins."""
        self._round += 1

    def moved(self, index: int, body: bytes) -> bool:
        """Whether a body tells a limit that is another than the walk's; looked at once in ten rounds only."""
        if index not in self._wanted or self._round - self._looked.get(index, 0) < self.EVERY:
            return False
        self._looked[index] = self._round
        try:
            told = msgspec.json.decode(body)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
            return False  # the round's decoder names what is wrong with it
        members = map(record, rows(record(told).get("Members")) or [told])
        by_name = {links.key(one["@odata.id"]): one for one in members if isinstance(one.get("@odata.id"), str)}
        return any(uri in by_name and _moved(by_name[uri], steps, value) for uri, steps, value in self._wanted[index])


def _moved(body: Body, steps: tuple[str, ...], value: float | None) -> bool:
    for step in steps[:-1]:
        body = record(body.get(step))
    return finite(body.get(steps[-1])) != value
