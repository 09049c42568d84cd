"""The fleet as Prometheus text and OpenMetrics 1.0, straight from the live state at scrape time.

What is no longer there is no longer told: a vanished part's series end unaided. The general-purpose client library
spends some ten microseconds a sample on rendering, which at a fleet's size is seconds a scrape; here a line is one
format operation, and the work is done a controller at a time so that the event loop goes on in between. The library
still chooses the format and renders what is registered with it; tests hold our text against its parser and encoder.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import TypeVar

from msgspec import Struct

from collector.model import (
    Condition,
    Contact,
    EventsBy,
    Health,
    Kind,
    Lamps,
    LampState,
    Login,
    OrderState,
    Outcome,
    Part,
    PowerState,
    Quantity,
    Rolled,
    Status,
    Urgency,
)
from collector.publish import families as f
from collector.publish.families import FAMILIES, Family, Type, reading_family
from collector.publish.labels import label_value
from collector.publish.statistics import MqttStatistics
from collector.store.feed import FeedStatistics
from collector.store.live import LiveController
from collector.store.writer import WriterStatistics

READABLE = {Outcome.OK, Outcome.PARTIAL}
END = b"# EOF\n"
"""The last line of an OpenMetrics text."""
_CHUNK = 2000
"""Lines handed out at once."""
_SYSTEMS = {Kind.BLADE, Kind.HOST}
"""What makes a front a system's. Only its lamps say more than health (power, locating), at eight lines a front."""
_SEVERITIES = (Health.WARNING, Health.CRITICAL)
_UNIT_LABELLED = f.READINGS[Quantity.OTHER]
_MARKS: Mapping[str, Callable[[Condition], bool]] = {
    "acknowledged": lambda condition: condition.acknowledged is not None,
    "shelved": lambda condition: condition.shelved is not None,
    "maintenance": lambda condition: condition.maintenance is not None,
    "consequence": lambda condition: condition.cause is not None,
}
E = TypeVar("E")


class SelfReport(Struct, frozen=True, kw_only=True):
    """What the collector tells of itself at a scrape."""

    version: str
    started: float
    writer: WriterStatistics | None = None
    feed: FeedStatistics | None = None
    mqtt: MqttStatistics | None = None
    scrapes: int = 0
    scrape_seconds: float | None = None


def _tails(family: Family, words: Mapping[E, str]) -> dict[E, tuple[str, ...]]:
    """By active state: what follows the labels of a state set's samples."""
    return {
        active: tuple(f',{family.name}="{word}"}} {int(state is active)}\n' for state, word in words.items())
        for active in words
    }


_HEALTH_WORDS = {health: health.word for health in Health}
_HEALTH_TAILS = _tails(f.HEALTH, _HEALTH_WORDS)
_WORST_TAILS = _tails(f.WORST, _HEALTH_WORDS)
_POWER_TAILS = _tails(f.POWER_STATE, {state: state.value for state in PowerState})
_LOGIN_TAILS = _tails(f.LOGIN, {login: login.value for login in Login})
_EVENTS_TAILS = _tails(f.EVENTS_BY, {way: way.value for way in EventsBy})
_LAMP_TAILS = _tails(f.LAMP, {state: state.value for state in LampState})


class Exposition:
    """One scrape: fed a controller at a time, then told family by family."""

    def __init__(self) -> None:
        self._lines: dict[str, list[str]] = {name: [] for name in FAMILIES}
        self._suspects: dict[tuple[str, str, str], float] = {}
        """Of all controllers: two troubles may name one part, and a scrape takes each series once."""

    def add_controller(self, known: LiveController) -> None:
        """Take in all that is known of one controller right now."""
        labels = f'controller="{label_value(known.name)}"'
        outcome = known.tally.outcome
        self._contact(known, labels)
        self._conditions(known, labels)
        self._answers(known, labels)
        inventory = known.inventory
        if inventory is None:
            return
        holders = {part.parent for part in inventory.parts}
        systems = {
            part.parent if part.kind is Kind.HOST else part.id for part in inventory.parts if part.kind in _SYSTEMS
        }
        readable = outcome in READABLE
        heads: dict[str, str] = {}
        for part in inventory.parts:
            heads[part.id] = head = f'{labels},part="{label_value(part.id)}"'
            self._part(part, head, known, readable, part.id in holders)
            if part.id in systems and (lamps := known.lamps.get(part.id)) is not None:
                self._lamps(head, lamps)
        if known.frame is not None and readable:
            self._readings(known, labels, heads)
        if readable:
            for (of, kind), margin in known.margins.items():
                if (head := heads.get(of, "")) and math.isfinite(margin.left):
                    self._sample(f.MARGINS[kind], head, margin.left)

            for figure in known.figures.values():
                family = f.FIGURES[figure.kind]
                head = heads.get(figure.part, "")
                if head and "of" in family.family.labels:
                    head += f',of="{label_value(figure.of)}"'
                if head and math.isfinite(figure.value):
                    value = figure.value if family.scale is None else family.scale(figure.value)
                    self._sample(family.family, head, value)

    def add_self(self, told: SelfReport) -> None:
        """Take in what the collector tells of itself."""
        self._sample(f.COLLECTOR, _pairs(version=told.version), 1)
        self._sample(f.STARTED, "", told.started)
        if (writer := told.writer) is not None:
            self._sample(f.WRITER_QUEUED, "", writer.queued)
            self._sample(f.WRITER_WAITING, "", writer.waiting)
            self._sample(f.WRITER_KEPT, "", writer.kept)
            self._sample(f.WRITER_REFUSED, "", writer.refused)
            self._sample(f.WRITER_RETRIES, "", writer.retries)
            self._sample(f.WRITER_WAITS, "", writer.waits)
            self._sample(f.WRITER_BATCH, "", writer.batch_seconds)
            failing = writer.last_error is not None or writer.upkeep_error is not None
            self._sample(f.WRITER_FAILING, "", int(failing))
            self._sample(f.WRITER_SEALED, "", writer.sealed_samples)
        for follower in () if told.feed is None else told.feed.subscriptions:
            labels = _pairs(follower=follower.name)
            self._sample(f.FOLLOWER_QUEUED, labels, follower.queued)
            self._sample(f.FOLLOWER_DELIVERED, labels, follower.delivered)
            self._sample(f.FOLLOWER_MERGED, labels, follower.merged)
        if (mqtt := told.mqtt) is not None:
            self._sample(f.MQTT_CONNECTED, "", int(mqtt.connected))
            self._sample(f.MQTT_ATTEMPTS, "", mqtt.attempts)
            self._sample(f.MQTT_FAILURES, "", mqtt.failures)
            self._sample(f.MQTT_MESSAGES, "", mqtt.published)
            self._sample(f.MQTT_RETAINED, "", mqtt.retained)
        self._sample(f.SCRAPES, "", told.scrapes)
        if told.scrape_seconds is not None:
            self._sample(f.SCRAPE_SECONDS, "", told.scrape_seconds)

    def chunks(self, openmetrics: bool) -> Iterator[bytes]:
        """The text in pieces; families without a sample are left out. OpenMetrics still lacks its ``# EOF``."""
        for key, probability in self._suspects.items():
            told = _pairs(controller=key[0], part=key[1], fault=key[2])
            self._sample(f.SUSPECT, told, probability)
        self._suspects.clear()
        for name, lines in self._lines.items():
            if not lines:
                continue
            yield (_openmetrics_head if openmetrics else _text_head)(FAMILIES[name]).encode()
            for start in range(0, len(lines), _CHUNK):
                yield "".join(lines[start : start + _CHUNK]).encode()

    def _sample(self, family: Family, labels: str, value: float) -> None:
        head = f"{family.sample}{{{labels}}}" if labels else family.sample
        self._lines[family.name].append(f"{head} {value!r}\n")

    def _states(self, family: Family, head: str, tails: Iterable[str]) -> None:
        head = f"{family.name}{{{head}"
        self._lines[family.name] += [head + tail for tail in tails]

    def _contact(self, known: LiveController, labels: str) -> None:
        tally, walked = known.tally, known.inventory
        info = _pairs(
            url=known.url,
            product=None if walked is None else walked.product,
            redfish_version=None if walked is None else walked.redfish_version,
            **_place(known),
        )
        self._sample(f.CONTROLLER, f"{labels},{info}", 1)
        self._sample(f.UNVERIFIED, labels, int(known.insecure))
        if tally.outcome is None:
            return
        self._sample(f.UP, labels, int(tally.outcome in READABLE))
        for family, value in (
            (f.LAST_ROUND, tally.last_round),
            (f.LAST_GOOD, tally.last_good),
            (f.ROUND_SECONDS, tally.seconds),
        ):
            if value is not None:
                self._sample(family, labels, value)
        for outcome, count in known.outcomes.items():
            self._sample(f.ROUNDS, f'{labels},outcome="{outcome.value}"', count)
        self._sample(f.LATE_ROUNDS, labels, tally.late)
        self._sample(f.WALKS, labels, known.walks)
        self._sample(f.REQUESTS, labels, known.requests_total)
        self._sample(f.BYTES, labels, known.bytes_total)
        self._sample(f.DEFECTS, labels, len(known.defects))
        kinds: dict[str, int] = {}
        for defect in known.defects.values():
            kinds[defect.kind.value] = kinds.get(defect.kind.value, 0) + 1
        for kind, count in kinds.items():
            self._sample(f.DEFECTS_OF_KIND, f'{labels},kind="{kind}"', count)
        if known.contact is not None:
            self._stands(known.contact, labels)

    def _stands(self, contact: Contact, labels: str) -> None:
        if contact.fingerprint is not None:
            self._sample(f.CERTIFICATE, f"{labels},{_pairs(fingerprint=contact.fingerprint)}", 1)
        self._states(f.LOGIN, labels, _LOGIN_TAILS[contact.login])
        self._states(f.EVENTS_BY, labels, _EVENTS_TAILS[contact.events])
        self._sample(f.TABLE_FULL, labels, int(contact.session_table_full))
        self._sample(f.REFUSALS, labels, contact.refusals)
        for family, value in (
            (f.EXPIRES, contact.expires),
            (f.CLOCK_OFFSET, contact.clock_offset),
            (f.SESSION_SINCE, contact.session_since),
            (f.EVENTS_SINCE, contact.events_since),
        ):
            if value is not None:
                self._sample(family, labels, value)

    def _conditions(self, known: LiveController, labels: str) -> None:
        counts = dict.fromkeys(_SEVERITIES, 0)
        for condition in known.conditions.values():
            counts[condition.severity] = counts.get(condition.severity, 0) + 1
        for severity, count in counts.items():
            self._sample(f.CONDITIONS, f'{labels},severity="{severity.word}"', count)
        for mark, bears in _MARKS.items():
            marked = sum(bears(condition) for condition in known.conditions.values())
            self._sample(f.MARKED, f'{labels},mark="{mark}"', marked)

    def _answers(self, known: LiveController, labels: str) -> None:
        severities, urgencies = dict.fromkeys(_SEVERITIES, 0), dict.fromkeys(Urgency, 0)
        for trouble in known.troubles.values():
            severities[trouble.severity] = severities.get(trouble.severity, 0) + 1
            if trouble.suspects:
                first = trouble.suspects[0]
                key = (first.controller or known.name, first.part, first.fault)
                self._suspects[key] = max(first.probability, self._suspects.get(key, 0.0))
        for severity, count in severities.items():
            self._sample(f.TROUBLES, f'{labels},severity="{severity.word}"', count)
        states = dict.fromkeys(list(OrderState)[:-1], 0)  # a closed one is no longer told
        for order in known.orders.values():
            urgencies[order.urgency] += 1
            states[order.state] = states.get(order.state, 0) + 1
        for urgency, count in urgencies.items():
            self._sample(f.ORDERS, f'{labels},urgency="{urgency.value}"', count)
        for state, count in states.items():
            self._sample(f.ORDER_STATES, f'{labels},state="{state.value}"', count)

    def _part(self, part: Part, head: str, known: LiveController, readable: bool, holds: bool) -> None:
        identity = part.identity
        info = _pairs(
            kind=part.kind.value,
            name=part.name,
            manufacturer=identity.manufacturer,
            model=identity.model,
            part_number=identity.part_number,
            serial=identity.serial,
            firmware=identity.firmware,
            **_place(part),
        )
        self._sample(f.PART, f"{head},{info}", 1)
        if (rolled := known.rolled.get(part.id)) is not None:
            self._rolled(part, head, rolled, holds)
        if readable and (status := known.statuses.get(part.id)) is not None:
            self._status(head, status)

    def _rolled(self, part: Part, head: str, rolled: Rolled, holds: bool) -> None:
        self._states(f.HEALTH, head, _HEALTH_TAILS[rolled.own])
        if holds:
            self._states(f.WORST, head, _WORST_TAILS[rolled.worst])
        if part.kind is Kind.BLADE:
            self._sample(f.AT_RISK, head, len(rolled.at_risk_through))

    def _lamps(self, head: str, lamps: Lamps) -> None:
        self._states(f.LAMP, f'{head},color="blue"', _LAMP_TAILS[lamps.blue])
        self._states(f.LAMP, f'{head},color="amber"', _LAMP_TAILS[lamps.amber])

    def _status(self, head: str, status: Status) -> None:
        if status.power is not PowerState.UNKNOWN:
            self._states(f.POWER_STATE, head, _POWER_TAILS[status.power])
        if status.locate is not None:
            self._sample(f.LOCATING, head, int(status.locate))
        if status.failure_predicted is not None:
            self._sample(f.PREDICTED, head, int(status.failure_predicted))

    def _readings(self, known: LiveController, labels: str, heads: dict[str, str]) -> None:
        layout, frame = known.layout, known.frame
        if layout is None or frame is None:
            return
        told: set[tuple[str, str]] = set()
        for sensor, value in zip(layout.sensors, frame.values, strict=True):
            if value - value != 0.0 or (key := (sensor.part, sensor.sensor)) in told:
                continue  # no finite value; or a name twice, which the model rules out and a scrape would refuse
            told.add(key)
            target = reading_family(sensor.quantity, sensor.kind)
            head = heads.get(sensor.part) or f'{labels},part="{label_value(sensor.part)}"'
            more = f',quantity_unit="{label_value(sensor.unit)}"' if target is _UNIT_LABELLED else ""
            if target.scale is not None:
                value = target.scale(value)
            name = target.family.name
            self._lines[name].append(
                f'{target.family.sample}{{{head},sensor="{label_value(sensor.sensor)}"{more}}} {value!r}\n'
            )


def _pairs(**labels: str | None) -> str:
    """Labels as text; an absent or empty one is left out, which means the same (OpenMetrics 1.0)."""
    return ",".join(f'{name}="{label_value(value)}"' for name, value in labels.items() if value)


def _place(of: Part | LiveController) -> dict[str, str | None]:
    at = of.location
    return {
        "site": at.site,
        "row": at.row,
        "rack": at.rack,
        "offset": None if at.offset is None else f"{at.offset:g}",
        "enclosure": at.enclosure,
        "sled": at.sled,
        "slot": at.slot,
    }


def _openmetrics_head(family: Family) -> str:
    unit = f"# UNIT {family.name} {family.unit}\n" if family.unit else ""
    return f"# TYPE {family.name} {family.type.value}\n{unit}# HELP {family.name} {family.help}\n"


_TEXT_TYPES: Mapping[Type, str] = {Type.INFO: "gauge", Type.STATESET: "gauge"}


def _text_head(family: Family) -> str:
    """Prometheus text format 0.0.4 knows neither info nor state set."""
    type_ = _TEXT_TYPES.get(family.type, family.type.value)
    return f"# HELP {family.sample} {family.help}\n# TYPE {family.sample} {type_}\n"
