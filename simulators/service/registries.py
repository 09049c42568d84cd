"""The message registries: files that tell where each is published and, in newer dialects, what of it is sent here.

A registry that is served tells the standard's own texts, severities, arguments and clearing logic of the messages that
the service sends, says in its name that it has no others, and points to the whole one beside itself.
"""

from __future__ import annotations

from simulators.service import eventwords, messages
from simulators.service.offers import Offer
from simulators.service.query import Body
from simulators.service.root import REGISTRIES
from simulators.service.tree import Tree

_PUBLISHED = "https://redfish.dmtf.org/registries"
_TYPE = "MessageRegistry.v1_7_0.MessageRegistry"


def add(tree: Tree, offer: Offer) -> None:
    """Add a file for every registry that is used, in place of those that were there."""
    files = []
    for name in (messages.REGISTRY, *(f"{prefix}.{version}" for prefix, version in eventwords.VERSIONS.items())):
        prefix = name.partition(".")[0]
        location: Body = {"Language": "en", "PublicationUri": f"{_PUBLISHED}/{name}.json"}
        if offer.newer:
            location["Uri"] = _registry(tree, name)
        told: Body = {"Registry": name.rpartition(".")[0], "Languages": ["en"], "Location": [location]}
        files.append(tree.add(f"{REGISTRIES}/{name}", offer.registry_file, f"{prefix} message registry", told))
    tree.collect(REGISTRIES, "MessageRegistryFile", "Message registries", files)


def _registry(tree: Tree, name: str) -> str:
    prefix, _, version = name.partition(".")
    body: Body = {
        "Language": "en",
        "Description": f"The messages of {name} that this service sends; the whole registry has more.",
        "RegistryPrefix": prefix,
        "RegistryVersion": version,
        "OwningEntity": "DMTF",
        "Messages": _base() if prefix == "Base" else _events(prefix),
    }
    return tree.add(f"{REGISTRIES}/{name}/Registry", _TYPE, f"{prefix} messages sent by this service", body)


def _base() -> Body:
    return {
        key: _message(severity, text, text.count("%"), ["string"] * text.count("%"), resolution)
        for key, (severity, text, resolution) in messages.MESSAGES.items()
    }


def _events(prefix: str) -> Body:
    told: Body = {}
    for key, words in eventwords.MESSAGES[prefix].items():
        told[key] = _message(words.severity, words.text, words.takes, list(words.types), words.resolution)
        if words.clears:
            told[key]["ClearingLogic"] = {"ClearsIf": "SameOriginOfCondition", "ClearsMessage": list(words.clears)}
    return told


def _message(severity: str, text: str, takes: int, types: list[str], resolution: str) -> Body:
    return {
        "Description": "A message of the standard's registry.",
        "Message": text,
        "MessageSeverity": severity,
        "NumberOfArgs": takes,
        **({"ParamTypes": types} if takes else {}),
        "Resolution": resolution,
    }
