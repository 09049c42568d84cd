"""Names as topic levels: MQTT 5's rules (check-values.md section 7), and back again."""

from __future__ import annotations

import aiomqtt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.publish import topics

AWKWARD = ["", "+", "#", "/", "%", "%41", "\x00", "a/b+c#d", "naïve 温度", "\ud800", "\uffff", "$SYS", "~", "x" * 1000]


@pytest.mark.parametrize("name", AWKWARD)
def test_there_and_back(name: str) -> None:
    assert topics.unescape(topics.escape(name)) == name


@given(st.text(st.characters(exclude_categories=[]), max_size=300))
def test_any_name_is_one_level_of_a_valid_topic_and_comes_back(name: str) -> None:
    level = topics.escape(name)
    assert level
    assert not set(level) & set("+#/\x00")
    assert level.isprintable()
    aiomqtt.Topic(f"{topics.ROOT}/{level}")
    assert len(level.encode("utf-8")) <= topics.LONGEST
    if "%~" not in level:
        assert topics.unescape(level) == name


@given(st.lists(st.text(max_size=20), min_size=2, max_size=5, unique=True), st.sampled_from("x/温"))
def test_names_too_long_stay_apart(ends: list[str], filler: str) -> None:
    levels = {topics.escape(filler * 2000 + end) for end in ends}
    assert len(levels) == len(ends)
    assert all(len(level.encode("utf-8")) <= topics.LONGEST for level in levels)


@pytest.mark.parametrize("char", ["x", "/", "温", "é"])
def test_a_cut_name_says_so(char: str) -> None:
    level = topics.escape(char * 5000)
    assert len(level.encode("utf-8")) <= topics.LONGEST
    with pytest.raises(ValueError, match="too long"):
        topics.unescape(level)


def test_the_topics_of_a_controller() -> None:
    assert topics.of_controller("n2-e1-s1", "readings") == "sledkeeper/1/n2-e1-s1/readings"
    assert topics.part("n1", "/redfish/v1/Chassis/Blade1") == "sledkeeper/1/n1/parts/Chassis%2FBlade1"
    assert topics.part("n1", "/redfish/v1/Chassis/1/Thermal#/Fans/0") == (
        "sledkeeper/1/n1/parts/Chassis%2F1%2FThermal%23%2FFans%2F0"
    )
    assert topics.part("n1", "/elsewhere") == "sledkeeper/1/n1/parts/%2Felsewhere"
    assert topics.condition("n1", "n1.threshold.00") == "sledkeeper/1/n1/conditions/n1.threshold.00"


def test_whose_a_topic_is() -> None:
    assert topics.controller_of(topics.part("n1", "/redfish/v1/x")) == "n1"
    assert topics.controller_of(topics.of_controller("collector", "state")) == "collector"
    assert topics.controller_of(topics.collector("n1")) is None
    assert topics.controller_of("other/1/n1/state") is None
    assert topics.controller_of("sledkeeper/1/%~00/state") is None
    assert topics.controller_of("sledkeeper/1") is None
