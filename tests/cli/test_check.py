"""``check`` as a user runs it: over loopback, good controllers beside every kind of bad one."""

from __future__ import annotations

import asyncio
import io
import json
import re
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from collector.cli.check import Progress, table
from collector.model import Defect, DefectKind, Outcome
from collector.poll.clock import SystemClock
from collector.poll.cost import Feature, Measured, Naive, RoundCost, WalkCost
from collector.poll.examine import diagnose, examine, of_plan, of_round, of_walk, worst
from collector.redfish.verdicts import Result
from collector.settings import CollectorSettings, ControllerSettings, load
from tests.cli.processes import COMMAND, simulated, sledkeeper
from tests.redfish.servers import hang, make_identity, serve
from tests.redfish.test_probe import SESSIONS, service, serving
from tests.redfish.test_verdicts import has

STEPS = ["name resolution", "TCP connect", "TLS", "authentication", "service root", "clock", "walk", "plan", "round"]
GOOD = ("r01-e1-s3", "r02-e2-s3", "r03-e2-s1")
BAD = {
    # controller: (what the wire does, the step that fails, what its line must name)
    "r01-e1-s1": ("wire-refuse", "TCP connect", "connection refused"),
    "r01-e2-s1": ("wire-hang", "service root", "no login and service root within 4 s"),
    "r01-e2-s2": ("wire-stall", "service root", "within 4 s"),
    "r02-e1-s1": ("wire-reset", "service root", "answer cut short"),
    "r02-e1-s2": ("wire-truncated", "service root", "not a JSON object"),
    "r02-e1-s3": ("wire-html", "service root", "markup"),
    "r02-e2-s1": ("wire-endless", "service root", "too big"),
    "r03-e1-s2": ("wire-redirect", "service root", "leads to another origin"),
    "r03-e2-s2": ("wire-hang:under=/redfish/v1/Chassis", "walk", "not done within 4 s"),
}
ODD = {
    # controller: (what the wire does, the step with a note, what its line must name)
    "r02-e2-s2": ("wire-nan", "walk", "not a number"),
    "r03-e1-s3": ("wire-page-loop", "walk", "link loop"),
}
TRUST = {
    # controller: (the fleet file's line of trust, result and step, what its line must name)
    "r01-e1-s2": ("insecure = true", "to note", "TLS", "not checked at all"),
    "r01-e2-s3": (f'fingerprint = "sha256:{"0" * 64}"', "failed", "TLS", "the fleet file pins sha256:000"),
    "r03-e1-s1": ("", "failed", "TLS", "not among this system's authorities"),
}
PATIENCE = "[collector]\nwalk_deadline = 4"


def lines(row: dict[str, Any], step: str, result: str) -> list[str]:
    (one,) = (one for one in row["steps"] if one["step"] == step)
    return [f"{told['told']}; {told['to_do']}" for told in one["findings"] if told["result"] == result]


@pytest.fixture(scope="module")
def unwell(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The fleet file of the demo site, with something wrong with most of it."""
    folder = tmp_path_factory.mktemp("unwell") / "fleet"
    faults: list[str] = []
    for name, told in (BAD | ODD).items():
        fault, _, options = told[0].partition(":")
        faults += ["--fault", f"{fault}@{name}" + (f":{options}" if options else "")]
    with simulated(folder, *faults) as config:
        text = config.read_text().replace("[collector]", PATIENCE, 1)
        for name, (trust, *_) in TRUST.items():
            text = re.sub(rf'(name = "{name}"\n(?:.*\n){{2}})ca_file = "ca.pem"\n', rf"\g<1>{trust}\n", text)
        config.write_text(text)
        yield config


@pytest.fixture(scope="module")
def checked(unwell: Path) -> tuple[dict[str, dict[str, Any]], str, int]:
    """Rows by controller, stderr and exit code of one run over all of it."""
    done = sledkeeper("check", "--config", unwell, "--format", "json")
    return {row["controller"]: row for row in json.loads(done.stdout)}, done.stderr, done.returncode


def names(config: Path) -> list[str]:
    """The controllers of a fleet file."""
    return [controller.name for controller in load(config).controllers]


def test_each_trouble_is_told_at_its_step_and_good_ones_pass(
    unwell: Path, checked: tuple[dict[str, dict[str, Any]], str, int]
) -> None:
    rows, stderr, code = checked
    assert code == 1
    assert "Traceback" not in stderr
    assert list(rows) == names(unwell), "in the order of the fleet file"
    for row in rows.values():
        assert [step["step"] for step in row["steps"]] == STEPS
        for step in row["steps"]:
            for told in step["findings"]:
                assert told["told"]
                assert "\n" not in told["told"] + told["to_do"]
    for name in GOOD:
        assert rows[name]["result"] == "passed", rows[name]["steps"]
        assert {step["result"] for step in rows[name]["steps"]} == {"passed"}
    for name, (_, step, words) in BAD.items():
        assert rows[name]["result"] == "failed"
        assert any(words in line for line in lines(rows[name], step, "failed")), (name, rows[name]["steps"])
        failed = [one["step"] for one in rows[name]["steps"] if one["result"] == "failed"]
        assert failed == [step], "one trouble is told once"
        later = rows[name]["steps"][STEPS.index(step) + 1 :]
        assert {one["result"] for one in later} == {"skipped"} or step == "walk"
    for name, (_, step, words) in ODD.items():
        assert rows[name]["result"] == "to note"
        assert any(words in line for line in lines(rows[name], step, "to note")), (name, rows[name]["steps"])
    for name, (_, result, step, words) in TRUST.items():
        assert rows[name]["result"] == result
        assert any(words in line for line in lines(rows[name], step, result)), (name, rows[name]["steps"])


def test_progress_is_a_line_a_controller_where_there_is_no_terminal(
    unwell: Path, checked: tuple[dict[str, dict[str, Any]], str, int]
) -> None:
    _, stderr, _ = checked
    known = names(unwell)
    told = re.findall(rf"^\[(\d+)/{len(known)}\] (\S+) (?:passed|to note|failed)$", stderr, re.MULTILINE)
    assert [int(number) for number, _ in told] == list(range(1, len(known) + 1))
    assert sorted(name for _, name in told) == sorted(known)
    assert "\x1b" not in stderr


def test_the_facts_hold_what_a_pin_needs_and_no_secret(
    unwell: Path, checked: tuple[dict[str, dict[str, Any]], str, int]
) -> None:
    rows, stderr, _ = checked
    good = rows[GOOD[0]]["facts"]
    fingerprint = good["reached"]["handshake"]["certificate"]["fingerprint"]
    assert good["session"] == {"deleted_status": 204, "sent": True}
    password = (unwell.parent / "secrets" / "monitor").read_text().strip()
    assert len(password) >= 12
    assert password not in json.dumps(rows) + stderr
    text = unwell.read_text()
    start = text.index(f'name = "{GOOD[0]}"')
    pinned = text[:start] + text[start:].replace('ca_file = "ca.pem"', f'fingerprint = "{fingerprint}"', 1)
    (unwell.parent / "pinned.toml").write_text(pinned)
    done = sledkeeper("check", "--config", unwell.parent / "pinned.toml", GOOD[0])
    assert done.returncode == 0, done.stdout + done.stderr
    assert "it is the pinned one" in done.stdout


def test_of_a_named_controller_every_step_is_shown_of_a_fleet_only_trouble(unwell: Path) -> None:
    done = sledkeeper("check", "--config", unwell, GOOD[1], GOOD[0])
    assert done.returncode == 0
    assert done.stdout.index(GOOD[0]) < done.stdout.index(GOOD[1])
    for step in STEPS:
        assert len(re.findall(rf"^  {step} +passed  ", done.stdout, re.MULTILINE)) == 2
    assert done.stdout.endswith("2 controllers: 0 failed, 0 to note, 2 passed\n")


def test_wrong_password_and_an_open_password_file(tmp_path: Path) -> None:
    with simulated(tmp_path / "fleet", "--controllers", "1") as config:
        secret = config.parent / "secrets" / "monitor"
        secret.chmod(0o644)
        done = sledkeeper("check", "--config", config)
        assert done.returncode == 0, done.stdout
        assert re.search(r"to note  .*monitor has mode 0644.*chmod 600", done.stdout)
        secret.write_text("not-this-one")
        done = sledkeeper("check", "--config", config)
    assert done.returncode == 1
    assert re.search(r"^  authentication +failed +/redfish/\S+/Sessions: login refused", done.stdout, re.M)
    assert re.search(r"^  walk +skipped  not tried because of: authentication$", done.stdout, re.M)
    assert "not-this-one" not in done.stdout + done.stderr


def test_wrong_use_ends_with_2(tmp_path: Path) -> None:
    config = tmp_path / "fleet.toml"
    config.write_text('[[controllers]]\nname = "n2-e1-s1"\nurl = "http://127.0.0.1:9"\n')
    done = sledkeeper("check", "--config", config, "n2-e1-s2", "wholly-other")
    assert done.returncode == 2
    assert "no controller 'n2-e1-s2' in it; near that: n2-e1-s1" in done.stderr
    assert "no controller 'wholly-other' in it; it has n2-e1-s1" in done.stderr
    assert not done.stdout
    assert sledkeeper("check", "--config", tmp_path / "none.toml").returncode == 2
    assert sledkeeper("check").returncode == 2


async def test_interrupted_it_still_deletes_its_session(tmp_path: Path) -> None:
    answers = service()
    del answers["GET", "/redfish/v1/Managers"]
    hanging = asyncio.Event()

    async def script(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        class Reader:
            """Hangs at the managers, the first time."""

            async def readuntil(self, end: bytes) -> bytes:
                head = await reader.readuntil(end)
                if head.startswith(b"GET /redfish/v1/Managers "):
                    hanging.set()
                    await asyncio.Event().wait()
                return head

            readexactly = reader.readexactly

        await serving(answers)(Reader(), writer)  # type: ignore[arg-type]

    async with serve(script) as served:
        config = tmp_path / "fleet.toml"
        (tmp_path / "ops").write_text("between us only")
        config.write_text(
            f'[credentials.ops]\nusername = "ops"\npassword_file = "ops"\n'
            f'[[controllers]]\nname = "bmc"\nurl = "{served.url}"\ncredentials = "ops"\n'
        )
        child = await asyncio.create_subprocess_exec(
            *COMMAND, "check", "--config", str(config), stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE
        )
        try:
            await asyncio.wait_for(hanging.wait(), 60)
            child.send_signal(signal.SIGTERM)
            _, stderr = await asyncio.wait_for(child.communicate(), 60)
        finally:
            if child.returncode is None:
                child.kill()
                await child.wait()
    assert child.returncode == 130
    assert b"Traceback" not in stderr
    assert served.heads[-1].startswith(f"DELETE {SESSIONS}/1 ")


# In this process


def bmc(url: str, **more: Any) -> ControllerSettings:
    return ControllerSettings(name="bmc", url=url, **more)


async def test_a_bug_of_ours_is_that_controllers_failed_step(caplog: pytest.LogCaptureFixture) -> None:
    async def broken(host: str, port: int) -> list[str]:
        raise RuntimeError("oh")

    facts = await examine(bmc("https://bmc.example"), CollectorSettings(), clock=SystemClock(), resolve=broken)
    steps = diagnose(facts)
    assert worst(steps) is Result.FAILED
    has(steps[0].findings, "failed", "internal error, RuntimeError", "report")
    assert {step.result for step in steps[1:]} == {Result.SKIPPED}
    assert "oh" in caplog.text


async def test_an_untrusted_controller_gets_no_request(tmp_path: Path) -> None:
    identity = make_identity(tmp_path, expired=True)
    async with serve(hang, context=identity.context) as served:
        settings = served.settings(ca_file=identity.ca_file)
        steps = diagnose(await examine(settings, CollectorSettings(), clock=SystemClock()))
    assert [step.result.value for step in steps] == ["passed", "passed", "failed", *["skipped"] * 6]
    has(steps[3].findings, "skipped", "because of: TLS")
    assert not served.heads


async def test_a_service_without_anything_passes_with_notes() -> None:
    async with serve(serving(service())) as served:
        facts = await examine(served.settings(), CollectorSettings(), clock=SystemClock())
    steps = {step.step: step for step in diagnose(facts)}
    assert steps["authentication"].result is Result.PASSED
    assert steps["clock"].result in (Result.FAILED, Result.NOTE, Result.PASSED)
    has(steps["walk"].findings, "to note", "no sensor found")
    assert [head.split(" ")[0] for head in served.heads].count("POST") == 0


WALK = WalkCost(seconds=1.0, allowed=180.0, requests=5, received=5000, resources=5, parts=2, sensors=3)
ROUND = RoundCost(outcome=Outcome.OK, error="", seconds=0.2, allowed=24.0, requests=4, received=900, values=3)


def with_fields(base: Any, **more: Any) -> Any:
    return type(base)(**({name: getattr(base, name) for name in base.__struct_fields__} | more))


def test_what_walks_plans_and_rounds_mean() -> None:
    has(of_walk(WALK), "passed", "2 parts, 3 sensors in 5 resources: 5 requests, 5.0 kB")
    has(of_walk(with_fields(WALK, missed=2)), "failed", "2 resources did not answer")
    has(of_walk(with_fields(WALK, seconds=100.0)), "to note", "100 s of 180 s", "walk_deadline")
    kinds = (DefectKind.MISSING, DefectKind.WRONG_TYPE, DefectKind.MISSING)
    defects = tuple(Defect(controller="a", resource="/r", property="", kind=kind, detail="d") for kind in kinds)
    has(of_walk(with_fields(WALK, defects=defects)), "to note", "3 defects: 2 missing, 1 wrong type")
    has(of_round(ROUND, 3), "passed", "4 requests", "3 of 3 sensors")
    has(of_round(with_fields(ROUND, seconds=13.0), 3), "to note", "slow", "poll_interval")
    has(of_round(with_fields(ROUND, outcome=Outcome.TIMED_OUT, error="/x: no"), 3), "failed", "timed out: /x: no")
    expand = Feature(feature="$expand", offered=True, used=0, remark="given up: /r?$expand=. was answered with 501")
    measured = Measured(walk=WALK, features=(expand,), naive=Naive(requests=9, received=9))
    has(of_plan(measured) or (), "to note", "$expand is declared, given up", "501")


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_on_a_terminal_a_bar_stays_on_its_line_and_goes_away() -> None:
    out = Terminal()
    progress = Progress(4, out)
    for name, result in (("a", Result.PASSED), ("b", Result.FAILED), ("c", Result.NOTE), ("d", Result.PASSED)):
        progress.step(name, result)
    progress.end()
    drawn = out.getvalue().split("\r\x1b[K")
    assert drawn[1].endswith("0 of 4, 0 failed")
    assert drawn[3].endswith("2 of 4, 1 failed")
    assert drawn[3].count("=") == drawn[3].count(".") == 15
    assert drawn[5].count("=") == 30
    assert drawn[-1] == ""
    assert "\n" not in out.getvalue()


async def test_a_long_list_shows_only_trouble() -> None:
    async def nowhere(host: str, port: int) -> list[str]:
        return []

    async with serve(serving(service())) as served:
        fine = await examine(served.settings(), CollectorSettings(), clock=SystemClock())
    bad = await examine(bmc("https://bmc.example"), CollectorSettings(), clock=SystemClock(), resolve=nowhere)
    judged = [(facts, diagnose(facts)) for facts in (fine, bad)]
    short = table(judged, full=False)
    assert any("name resolution  failed   bmc.example: no address" in line for line in short)
    assert not any("skipped" in line or "  passed  " in line for line in short)
    assert any("skipped" in line for line in table(judged, full=True))
