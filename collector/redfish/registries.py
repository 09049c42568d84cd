"""Message ids, message registries, and what a message means to a person.

Sources: DSP0266 section 'MessageId format'; MessageRegistry CSDL (DSP8010); the published registries (DSP8011).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from enum import StrEnum
from functools import lru_cache
from typing import Any

from msgspec import Struct

from collector.model import Defect, DefectKind, Health
from collector.redfish.flow import Place
from collector.text import plain

MAX_MESSAGES = 4000
"""Messages of one registry that we take; the largest published one has 119."""
MAX_TEXT = 2000
"""Characters of a text that we keep."""
MAX_ARGS = 32
MAX_ARG = 500
"""Characters of one message argument that we keep."""
MAX_ID = 300
MAX_DEFECTS = 32
"""Defects told of one registry."""

_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_\-]*")
_KEY = re.compile(r"[A-Za-z0-9_\-]+")
_SEL = re.compile(r"0[xX](?:[0-9A-Fa-f]{2}){1,8}")
_ARG = re.compile(r"%([1-9][0-9]?)")
NO_RESOLUTION = frozenset({"", "none", "none."})
"""What a Resolution says, in small letters, where nothing need be done."""


class MessageId(Struct, frozen=True):
    """A message id taken apart. ``prefix`` and ``key`` are "" where it names no message of a registry."""

    told: str
    prefix: str = ""
    version: tuple[int, ...] = ()
    """Major, minor and, if told, errata; empty where the id carries none."""
    key: str = ""
    sel: bytes = b""
    """The event data of a raw system event log number such as ``0x592A28``."""

    @property
    def general(self) -> str:
        """Prefix and key without version; the id as told where it names no message."""
        return f"{self.prefix}.{self.key}" if self.key else self.told


@lru_cache(maxsize=4096)
def message_id(told: str) -> MessageId:
    """Takes an id apart; whatever it is, there is an answer.

    ``Prefix.1.0.Key`` and, since services send it, ``Prefix.1.0.4.Key`` and ``Prefix.Key`` (which the standard wants in
    subscriptions: EventDestination.MessageIds). Prefix and key may hold dots. LogEntry.MessageId of a SEL entry is a
    number of four bytes; of three in published examples.
    """
    told = told[:MAX_ID]
    if _SEL.fullmatch(told):
        return MessageId(told, sel=bytes.fromhex(told[2:]))
    steps = told.split(".")
    if len(steps) < 2 or not all(_KEY.fullmatch(step) for step in steps) or not _NAME.fullmatch(steps[0]):
        return MessageId(told)
    first = next((at for at, step in enumerate(steps) if _number(step)), len(steps))
    last = first
    while last < min(len(steps) - 1, first + 3) and _number(steps[last]):
        last += 1
    if first == len(steps):  # no version: the last step is the key
        first = last = len(steps) - 1
    version = tuple(int(step) for step in steps[first:last])
    return MessageId(told, ".".join(steps[:first]), version, ".".join(steps[last:]))


def _number(step: str) -> bool:
    return step.isascii() and step.isdecimal() and len(step) <= 6


def severity_of(word: object) -> Health | None:
    """The health that a severity word stands for (Resource.Health; letter case is forgiven); None for any other."""
    if not isinstance(word, str):
        return None
    return _SEVERITIES.get(word.strip().casefold())


_SEVERITIES = {"ok": Health.OK, "warning": Health.WARNING, "critical": Health.CRITICAL}


class Clearing(Struct, frozen=True):
    """Which earlier messages a message clears (MessageRegistry.ClearingLogic): only ones of its own registry."""

    prefix: str
    keys: frozenset[str] = frozenset()
    everything: bool = False
    """ClearsAll: every message of the registry."""
    same_origin: bool = False
    """ClearsIf SameOriginOfCondition; without it the origin does not matter."""

    def clears(self, origin: str | None, earlier: MessageId, earlier_origin: str | None) -> bool:
        """Whether this message, from ``origin``, clears an earlier one. No known origin is the same as no other."""
        if earlier.prefix != self.prefix or not (self.everything or earlier.key in self.keys):
            return False
        return not self.same_origin or (origin is not None and origin == earlier_origin)


class Message(Struct, frozen=True, kw_only=True):
    """One message of a registry."""

    key: str
    text: str
    severity: Health | None = None
    resolution: str = ""
    clearing: Clearing | None = None


class Registry(Struct, frozen=True, kw_only=True):
    """One message registry."""

    prefix: str
    version: tuple[int, ...]
    messages: Mapping[str, Message]
    language: str = ""
    owner: str = ""

    @property
    def name(self) -> str:
        """E.g. ``Environmental.1.4.0``."""
        return ".".join((self.prefix, *map(str, self.version)))


def parse_registry(body: Mapping[str, Any], place: Place, resource: str) -> tuple[Registry | None, tuple[Defect, ...]]:
    """A MessageRegistry body as a registry, and what can't be read in it; None where the whole can't."""
    reader = _RegistryReader(body, place, resource)
    return reader.registry(), tuple(reader.defects)


class _RegistryReader:
    """Reads one body; ``defects`` fills as it does."""

    def __init__(self, body: Mapping[str, Any], place: Place, resource: str) -> None:
        self._body = body
        self._place = place
        self._resource = resource
        self.defects: list[Defect] = []

    def _blame(self, pointer: str, kind: DefectKind, detail: str) -> None:
        if len(self.defects) < MAX_DEFECTS:
            self.defects.append(self._place.defect(self._resource, pointer, kind, detail))

    def registry(self) -> Registry | None:
        kind = self._body.get("@odata.type")
        if isinstance(kind, str) and not kind.startswith("#MessageRegistry."):
            self._blame("/@odata.type", DefectKind.WRONG_TYPE, f"{kind!r} is no message registry")
            return None
        prefix, version = self._name()
        messages = self._body.get("Messages")
        if not prefix:
            self._blame("/RegistryPrefix", DefectKind.MISSING, "the registry has no usable prefix")
            return None
        if not isinstance(messages, dict):
            self._blame("/Messages", DefectKind.MISSING, "the registry has no messages")
            return None
        if len(messages) > MAX_MESSAGES:
            self._blame("/Messages", DefectKind.TOO_BIG, f"{len(messages)} messages; {MAX_MESSAGES} are taken")
        taken = (self._message(prefix, key, messages[key]) for key in list(messages)[:MAX_MESSAGES])
        return Registry(
            prefix=prefix,
            version=version,
            messages={message.key: message for message in taken if message is not None},
            language=_text(self._body.get("Language"), 40),
            owner=_text(self._body.get("OwningEntity"), 100),
        )

    def _name(self) -> tuple[str, tuple[int, ...]]:
        """RegistryPrefix and RegistryVersion, else what the Id says (``Base.1.22.1``)."""
        named, numbered = split_name(self._body.get("Id"))
        prefix, version = self._body.get("RegistryPrefix"), self._body.get("RegistryVersion")
        if isinstance(prefix, str) and all(_NAME.fullmatch(step) for step in prefix.split(".")):
            named = prefix[:MAX_ID]
        if isinstance(version, str):
            numbered = split_name(f"x.{version}")[1] or numbered
        return named, numbered

    def _message(self, prefix: str, key: str, told: object) -> Message | None:
        pointer = "/Messages/" + key.replace("~", "~0").replace("/", "~1")
        text = told.get("Message") if isinstance(told, dict) else None
        if not isinstance(told, dict) or not isinstance(text, str) or not text.strip() or len(key) > MAX_ID:
            self._blame(pointer, DefectKind.WRONG_TYPE, "the message has no text")
            return None
        word = told.get("MessageSeverity", told.get("Severity"))
        severity = severity_of(word)
        if severity is None and word is not None:
            self._blame(f"{pointer}/MessageSeverity", DefectKind.UNKNOWN_WORD, f"{word!r} is no severity")
        resolution = _text(told.get("Resolution"))
        return Message(
            key=key,
            text=_text(text),
            severity=severity,
            resolution="" if resolution.lower() in NO_RESOLUTION else resolution,
            clearing=self._clearing(prefix, pointer + "/ClearingLogic", told.get("ClearingLogic")),
        )

    def _clearing(self, prefix: str, pointer: str, told: object) -> Clearing | None:
        if told is None:
            return None
        if not isinstance(told, dict):
            self._blame(pointer, DefectKind.WRONG_TYPE, "it is no object")
            return None
        condition = told.get("ClearsIf")
        if condition not in (None, "SameOriginOfCondition"):  # a condition that we can't check is never met
            self._blame(f"{pointer}/ClearsIf", DefectKind.UNKNOWN_WORD, f"{condition!r} is no condition for clearing")
            return None
        keys: set[str] = set()
        listed = told.get("ClearsMessage")
        for key in listed[:MAX_MESSAGES] if isinstance(listed, list) else ():
            named = message_id(key) if isinstance(key, str) else None
            if named is None or named.prefix not in ("", prefix):  # "shall not reference … other message registries"
                self._blame(f"{pointer}/ClearsMessage", DefectKind.WRONG_TYPE, f"{key!r} is no key of this registry")
            else:
                keys.add(named.key or named.told)
        everything = told.get("ClearsAll") is True
        if not keys and not everything:
            return None
        return Clearing(prefix, frozenset(keys), everything, condition is not None)


def split_name(name: object) -> tuple[str, tuple[int, ...]]:
    """A registry's name (``Base.1.22.1``, ``Base.1.22``, ``Base``) as prefix and version; ("", ()) for any other."""
    if not isinstance(name, str) or len(name) > MAX_ID:
        return "", ()
    steps = name.split(".")
    numbers = len(steps)
    while numbers > 1 and len(steps) - numbers < 3 and _number(steps[numbers - 1]):
        numbers -= 1
    if not all(_NAME.fullmatch(step) for step in steps[:numbers]):
        return "", ()
    return ".".join(steps[:numbers]), tuple(int(step) for step in steps[numbers:])


class Shelf:
    """Registries to look messages up in; several versions of one may stand side by side."""

    def __init__(self, registries: Iterable[Registry] = ()) -> None:
        self._by_prefix: dict[str, list[Registry]] = {}
        for registry in registries:
            self._by_prefix.setdefault(registry.prefix, []).append(registry)

    @property
    def prefixes(self) -> frozenset[str]:
        """Prefixes of the registries that it holds."""
        return frozenset(self._by_prefix)

    def find(self, wanted: MessageId) -> tuple[Registry, Message] | None:
        """The message of an id.

        Versions must agree in the major number (another one may mean something else); of those, the told minor one is
        best, else the nearest newer, else the nearest older. Of one minor version the newest errata counts, and an id
        without version means the newest registry.
        """
        holding = [registry for registry in self._by_prefix.get(wanted.prefix, ()) if wanted.key in registry.messages]
        if wanted.version:
            holding = [registry for registry in holding if registry.version[:1] in (wanted.version[:1], ())]
            minor = wanted.version[1] if len(wanted.version) > 1 else 0
            holding.sort(key=lambda registry: _distance(registry.version, minor))
        else:
            holding.sort(key=lambda registry: registry.version, reverse=True)
        return (holding[0], holding[0].messages[wanted.key]) if holding else None


def _distance(version: tuple[int, ...], minor: int) -> tuple[bool, int, int]:
    """Sorts newer minor versions before older ones, near ones first, and new errata before old."""
    has = version[1] if len(version) > 1 else 0
    return (has < minor, abs(has - minor), -(version[2] if len(version) > 2 else 0))


class ReadFrom(StrEnum):
    """Where the text of a message comes from."""

    OWN = "the service's registry"
    STANDARD = "a standard registry"
    RECORD = "the record itself"
    ID = "the message id"


class Meaning(Struct, frozen=True, kw_only=True):
    """What a message says to a person."""

    text: str
    severity: Health
    read_from: ReadFrom
    resolution: str = ""
    registry: str = ""
    """Name of the registry that knows the message; "" for none."""
    clearing: Clearing | None = None


class Library:
    """The registries of one controller, and behind them the standard ones that the user has at hand."""

    def __init__(self, own: Shelf | None = None, standard: Shelf | None = None) -> None:
        self.own = own or Shelf()
        self.standard = standard or Shelf()

    def knows(self, told: str) -> bool:
        """Whether some registry has the message."""
        wanted = message_id(told)
        return self.own.find(wanted) is not None or self.standard.find(wanted) is not None

    def meaning(
        self,
        told: str,
        args: Sequence[str] = (),
        *,
        literal: str = "",
        severity: Health | None = None,
        resolution: str = "",
    ) -> Meaning:
        """The text of a message: from the service's registry, else a standard one, else the record, else its id.

        A registry's text whose arguments did not come gives way to the record's literal one. ``severity`` and
        ``resolution`` of the record outrank the registry's: EventRecord.MessageSeverity, LogEntry.Severity and
        EventRecord.Resolution let a service put in the more specific ones.
        """
        wanted = message_id(told)
        found, read_from = self.own.find(wanted), ReadFrom.OWN
        if found is None:
            found, read_from = self.standard.find(wanted), ReadFrom.STANDARD
        choices: list[tuple[str, ReadFrom]] = []
        if found is not None:
            choices.append((found[1].text, read_from))
        if literal.strip():
            choices.append((_text(literal), ReadFrom.RECORD))
        filled = [(*fill(text, args), source) for text, source in choices]
        text, _, source = next(
            (choice for choice in filled if choice[1]), filled[0] if filled else (wanted.told, True, ReadFrom.ID)
        )
        message = found[1] if found is not None else None
        if severity is None:
            severity = message.severity if message is not None else None
        return Meaning(
            text=_text(text),
            severity=Health.UNKNOWN if severity is None else severity,
            read_from=source,
            resolution=_text(resolution) or (message.resolution if message is not None else ""),
            registry=found[0].name if found is not None else "",
            clearing=message.clearing if message is not None else None,
        )


def fill(text: str, args: Sequence[str]) -> tuple[str, bool]:
    """A text with its ``%1`` … replaced by the arguments, and whether all came; those that did not stay visible.

    Arguments are put in as they are (a ``%1`` in one is text), and those that the text does not ask for are left out.
    """
    missing = False

    def argument(found: re.Match[str]) -> str:
        nonlocal missing
        at = int(found[1]) - 1
        if at < len(args):
            return args[at]
        missing = True
        return found[0]

    return _ARG.sub(argument, text), not missing


def _text(told: object, limit: int = MAX_TEXT) -> str:
    """A text in one line, safe to show, bounded; "" for anything else."""
    return plain(" ".join(told[: 4 * limit].split()), limit) if isinstance(told, str) else ""
