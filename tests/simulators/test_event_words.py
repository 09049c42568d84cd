"""The messages that simulated controllers send, against the published registries (DMTF DSP8011)."""

from __future__ import annotations

import json

import pytest

from simulators.service import eventwords
from simulators.service.registries import REGISTRIES
from tests.conftest import standard
from tests.simulators.service_kit import asker, tree_of


@pytest.mark.parametrize("prefix", eventwords.VERSIONS)
def test_words_severities_arguments_and_clearing_are_the_registry_s(prefix: str) -> None:
    file = standard("redfish", "registries", f"{prefix}.{eventwords.VERSIONS[prefix]}.json")
    published = json.loads(file.read_text())
    assert (published["RegistryPrefix"], published["RegistryVersion"]) == (prefix, eventwords.VERSIONS[prefix])
    for key, words in eventwords.MESSAGES[prefix].items():
        known = published["Messages"][key]
        assert words.text == known["Message"], key
        assert words.severity == known["MessageSeverity"], key
        assert words.takes == known["NumberOfArgs"], key
        assert words.resolution == known["Resolution"], key
        assert list(words.types) == known.get("ParamTypes", []), key
        assert list(words.clears) == known.get("ClearingLogic", {}).get("ClearsMessage", []), key
        assert not words.clears or known["ClearingLogic"]["ClearsIf"] == "SameOriginOfCondition", key


@pytest.mark.parametrize("name", ["Base.1.22.1", *(f"{p}.{v}" for p, v in eventwords.VERSIONS.items())])
def test_a_served_registry_says_nothing_else_than_the_published_one(name: str) -> None:
    served = asker().get(f"{REGISTRIES}/{name}/Registry")
    published = json.loads(standard("redfish", "registries", f"{name}.json").read_text())
    for member in ("RegistryPrefix", "RegistryVersion", "Language", "OwningEntity"):
        assert served[member] == published[member]
    assert served["Messages"]
    for key, message in served["Messages"].items():
        for member, value in message.items():
            if member != "Description":
                assert value == published["Messages"][key][member], (key, member)
    assert "has more" in served["Description"]


def test_the_older_dialect_points_to_the_published_registries_only() -> None:
    files = [path for path in tree_of("quad", "classic").resources if path.startswith(f"{REGISTRIES}/")]
    one = asker("quad", "classic")
    assert len(files) == 1 + len(eventwords.VERSIONS)
    for path in files:
        [location] = one.get(path)["Location"]
        assert location["PublicationUri"].startswith("https://redfish.dmtf.org/registries/")
        assert "Uri" not in location


def test_arguments_are_not_filled_twice() -> None:
    assert eventwords.fill("%1 and %2 of %3", ("%2", "b")) == "%2 and b of %3"


def test_every_message_id_is_found_again() -> None:
    for prefix, messages in eventwords.MESSAGES.items():
        for key, words in messages.items():
            id_ = eventwords.message_id(prefix, key)
            assert id_.count(".") == 3
            assert eventwords.words(id_) is words
    assert eventwords.words("Nobody.1.0.Knows") is None
