"""Drives flows in tests: a service is any function from what is asked to what is answered."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

from collector.redfish.flow import Answer, Ask, Flow, Place
from tests.conftest import standard

T = TypeVar("T")
Service = Callable[[Ask], Answer]

PLACE = Place("n2-e1-s1", "https://192.0.2.17")
NOT_FOUND = Answer(404, keys=("ResourceMissingAtURI",), text="It is not there.")


def run(flow: Flow[T], service: Service, asked: list[Ask] | None = None) -> T:
    """A flow to its end; ``asked`` collects what it asked."""
    try:
        ask = next(flow)
        while True:
            if asked is not None:
                asked.append(ask)
            ask = flow.send(service(ask))
    except StopIteration as end:
        return end.value  # type: ignore[no-any-return]


def from_folder(folder: Path) -> Service:
    """An example service of DMTF DSP2043, GET only; queries are ignored, as a file server would."""

    def answer(ask: Ask) -> Answer:
        path = folder / ask.path.partition("?")[0].removeprefix("/redfish/v1").strip("/")
        file = path if path.is_file() else path / "index.json"
        return Answer(200, json.loads(file.read_bytes())) if file.is_file() else NOT_FOUND

    return answer


@lru_cache
def examples() -> tuple[tuple[str, Any], ...]:
    """(where, body) of every JSON file of the published examples."""
    root = standard("redfish", "mockups")
    return tuple((str(path.relative_to(root)), json.loads(path.read_bytes())) for path in sorted(root.rglob("*.json")))


def published(*kinds: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """(where, body) of everything of some ``@odata.type``s in the published examples, nested bodies included."""
    for where, whole in examples():
        for body in _objects(whole):
            kind = body.get("@odata.type")
            if isinstance(kind, str) and kind.rpartition(".")[2] in kinds:
                yield where, body


def strings(*names: str) -> Iterator[str]:
    """Every string that properties of some names have in the published examples."""
    for _, whole in examples():
        for body in _objects(whole):
            yield from (body[name] for name in names if isinstance(body.get(name), str))


def _objects(told: Any) -> Iterator[dict[str, Any]]:
    if isinstance(told, dict):
        yield told
        for value in told.values():
            yield from _objects(value)
    elif isinstance(told, list):
        for value in told:
            yield from _objects(value)
