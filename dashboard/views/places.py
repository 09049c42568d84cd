"""What parts are called on the pages; where they are stands in :mod:`collector.model.places`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from collector.model import Kind, Location, Part
from collector.model.places import Places as Places
from collector.model.places import label_told
from collector.text import plain

_LONGEST = 60
"""Characters of a part's name that are shown."""


class Whereabouts:
    """Where the sled of every controller is, without its parts."""

    def __init__(self, of: Mapping[str, Location]) -> None:
        self._of = of

    def controller_place(self, controller: str) -> Location:
        """The place of its front, as far as told."""
        return self._of.get(controller, Location())


def label(part: Part) -> str:
    """What stands on the part's sticker, as far as told: its slot or sled label, else its name."""
    return shown(label_told(part))


def shown(told: str) -> str:
    """A label as told, made safe and short."""
    return plain(told, _LONGEST)


def named(part: Part) -> str:
    """A part's name with its kind, unless the name says the kind already."""
    name = label(part)
    told = part.kind is Kind.OTHER or part.kind.value.lower() in name.lower()
    return name if told else f"{name} ({part.kind.value})"


def sticker(part: Part) -> str:
    """The last step of the slot's label, which is what stands at the part itself, else its name."""
    told = (part.location.slot or "").rpartition("/")[2].strip()
    return plain(told, _LONGEST) if told and part.kind is not Kind.HOST else label(part)


def without_name(text: str, part: Part | None) -> str:
    """A text about a part, without the part's name at its beginning and the full stop at its end."""
    if part is not None:
        for name in {part.name, label(part)}:
            if name and text.lower().startswith(f"{name.lower()}: "):
                text = text[len(name) + 2 :]
                break
    return text.rstrip().removesuffix(".")


def names_of(ids: Iterable[str], parts: Mapping[str, Part]) -> tuple[str, ...]:
    """Labels of some parts; the id's tail for one that is not known."""
    return tuple(label(parts[each]) if each in parts else tail_of(each) for each in ids)


def tail_of(part: str) -> str:
    """What an id alone tells of a part: its tail."""
    return part.rsplit("/", 1)[-1]
