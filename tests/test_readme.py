"""What the README promises is what the code does."""

from __future__ import annotations

import re

import pytest

from collector.publish.families import documentation
from collector.settings import ActionSettings, CollectorSettings, EventSettings, MqttSettings, StoreSettings
from tests.cli.processes import sledkeeper
from tests.conftest import ROOT

README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_first_paragraph_states_the_job() -> None:
    title, paragraph, *_ = README.split("\n\n")
    assert title == "# sledkeeper"
    assert paragraph.startswith("sledkeeper ")
    assert len(paragraph) > 200


def test_the_table_of_metrics_is_the_code() -> None:
    told = re.search(r"<!-- metrics:.*?-->\n(.*?)<!-- end of metrics -->", README, re.DOTALL)
    assert told is not None
    assert told[1] == documentation()


def test_every_command_and_setting_is_told() -> None:
    usage = sledkeeper("--help").stdout
    commands = re.findall(r"^    ([a-z]+)(?: |$)", usage, re.MULTILINE)
    assert {"demo", "collect", "dashboard", "simulate", "readings", "conditions"} <= set(commands)
    section = README[README.index("### Commands") : README.index("### A reading in JSON")]
    for command in commands:
        assert f"`{command}" in section, f"{command} is not in the README's table of commands"
    for model in (CollectorSettings, StoreSettings, MqttSettings, EventSettings, ActionSettings):
        for name in model.model_fields:
            assert name in README, f"setting {name} is not in the README"


@pytest.mark.parametrize("command", ["sh .ci/test", ".venv/bin/sledkeeper demo"])
def test_the_two_commands_stand_near_the_top(command: str) -> None:
    assert command in README[:2500]


def test_ci_runs_the_readmes_test_command() -> None:
    assert "exec sh .ci/test" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")
