"""``simulate`` and ``collect --once`` as a user runs them, over loopback, good controllers beside bad ones."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from collector.settings import load
from tests.cli.processes import read, simulated, sledkeeper

GOOD = ("r01-e1-s3", "r02-e2-s3", "r03-e2-s1", "r03-e2-s3")
BAD = {
    # controller: (what the wire does, the outcome, what the message must name)
    "r01-e1-s1": ("wire-refuse", "unreachable", "connection refused"),
    "r01-e2-s1": ("wire-hang", "timed out", "no answer in time"),
    "r01-e2-s2": ("wire-stall", "timed out", "no answer in time"),
    "r01-e2-s3": ("wire-drip", "timed out", "no answer in time"),
    "r02-e1-s1": ("wire-reset", "malformed", "answer cut short"),
    "r02-e1-s2": ("wire-truncated", "malformed", "not a JSON object"),
    "r02-e1-s3": ("wire-html", "malformed", "markup"),
    "r02-e2-s1": ("wire-endless", "malformed", "too big"),
    "r03-e1-s2": ("wire-redirect", "malformed", "leads to another origin"),
}
ODD = {
    # controller: (what the wire does, the kind of defect that names it)
    "r02-e2-s2": ("wire-nan", "not a number"),
    "r03-e1-s1": ("wire-text-numbers", "wrong type"),
    "r03-e1-s3": ("wire-page-loop", "link loop"),
}
RELOGIN = "r01-e1-s2"


def test_bad_controllers_are_named_and_the_others_are_unaffected(tmp_path: Path) -> None:
    wires = {name: told[0] for name, told in (BAD | ODD).items()}
    faults = [option for name, wire in wires.items() for option in ("--fault", f"{wire}@{name}")]
    with simulated(tmp_path / "fleet", *faults, "--fault", f"wire-login-lost@{RELOGIN}:spare=20") as config:
        config.write_text(config.read_text().replace("[collector]", "[collector]\nwalk_deadline = 12", 1))
        names = [controller.name for controller in load(config).controllers]
        done = sledkeeper("collect", "--once", "--config", config, "--state", tmp_path / "state")

    assert done.returncode == 1, done.stderr
    assert "Traceback" not in done.stderr
    assert f"\n[{len(names)}/{len(names)}] " in done.stderr, "progress is shown"
    lines = dict(line.split(maxsplit=1) for line in done.stdout.splitlines() if line.split()[0] in names)
    assert list(lines) == names, "one summary line a controller"
    for name, (_, outcome, message) in BAD.items():
        assert lines[name].startswith(f"{outcome}: "), lines[name]
        assert message in lines[name]
    for name in (*GOOD, RELOGIN):
        assert re.match(r"ok: (\d+) parts, (\d+) of \2 readings, 0 defects", lines[name]), lines[name]

    readings = read("readings", tmp_path / "state")
    assert {row["controller"] for row in readings} == set(lines) - set(BAD)
    defects = read("defects", tmp_path / "state")
    for name, (wire, kind) in ODD.items():
        assert kind in {row["kind"] for row in defects if row["controller"] == name}, wire
    for name in ("r02-e2-s2", "r03-e1-s1"):
        # The wire spoils what stands under "Reading"; a fan's SpeedRPM beside it, a drive's life or a count of errors
        # stay numbers, and are read. A Sensor's own reading is told by its resource alone.
        of_it = [row for row in readings if row["controller"] == name]
        spoilt = [row for row in of_it if "#" not in row["source"] or row["source"].endswith("/Reading")]
        assert len(spoilt) > 50
        assert [row["source"] for row in spoilt if row["value"] is not None] == [], "nothing is invented"


def test_a_healthy_fleet_ends_with_0_and_every_reading_has_all_its_keys(tmp_path: Path) -> None:
    with simulated(tmp_path / "fleet", "--controllers", "3") as config:
        done = sledkeeper("collect", "--once", "--config", config, "--state", tmp_path / "state")
    assert done.returncode == 0, done.stdout + done.stderr
    readings = read("readings", tmp_path / "state")
    assert len(readings) > 100
    keys = {"controller", "part", "kind", "location", "sensor", "quantity", "unit", "value", "health", "time"}
    for row in readings:
        assert set(row) == keys | {"thresholds", "source", "also_at"}
        assert row["source"].startswith("/redfish/v1/")
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", row["time"])
        assert row["location"]["site"]
    places = [(row["controller"], row["part"], row["sensor"]) for row in readings]
    assert len(set(places)) == len(places), "one sensor once"
    assert read("conditions", tmp_path / "state") == []


def test_the_password_is_nowhere_but_in_its_file(tmp_path: Path) -> None:
    with simulated(tmp_path / "fleet", "--controllers", "2") as config:
        password = (config.parent / "secrets" / "monitor").read_text().strip()
        assert (config.parent / "secrets" / "monitor").stat().st_mode & 0o077 == 0
        done = sledkeeper("collect", "--once", "--config", config, "--state", tmp_path / "state")
    assert len(password) >= 12
    assert password not in done.stdout + done.stderr + config.read_text()
    kept = [path for path in (tmp_path / "state").rglob("*") if path.is_file()]
    assert kept
    for path in kept:
        assert password.encode() not in path.read_bytes(), path


def test_wrong_password_is_told_as_such(tmp_path: Path) -> None:
    with simulated(tmp_path / "fleet", "--controllers", "1") as config:
        (config.parent / "secrets" / "monitor").write_text("not-this-one")
        done = sledkeeper("collect", "--once", "--config", config, "--state", tmp_path / "state")
    assert done.returncode == 1
    assert "login refused" in done.stdout
    assert "not-this-one" not in done.stdout + done.stderr


@pytest.mark.parametrize(
    ("text", "messages"),
    [
        ("[collector]\npol = 1\n[[controllers]]\nname='a'\nurl='ftp://x'", ["collector.pol: unknown", "url: must be"]),
        ("[collector", ["is not TOML"]),
    ],
)
def test_a_wrong_fleet_file_ends_with_2(tmp_path: Path, text: str, messages: list[str]) -> None:
    (tmp_path / "fleet.toml").write_text(text)
    done = sledkeeper("collect", "--once", "--config", tmp_path / "fleet.toml", "--state", tmp_path / "state")
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    for message in messages:
        assert message in done.stderr
    assert not (tmp_path / "state").exists()


@pytest.mark.parametrize("argv", [["readings"], ["conditions", "--format", "json"], ["parts", "--format", "csv"]])
def test_no_state_directory_ends_with_2_and_says_what_to_do(tmp_path: Path, argv: list[str]) -> None:
    done = sledkeeper(*argv, "--state", tmp_path / "none")
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert str(tmp_path / "none") in done.stderr
    assert "collect" in done.stderr


def test_an_unknown_fault_ends_with_2_and_names_the_known_ones(tmp_path: Path) -> None:
    done = sledkeeper("simulate", "--out", tmp_path, "--fault", "fan-sized@r01-e1-s1/fan1")
    assert done.returncode == 2
    assert "fan-seized" in done.stderr
    assert "Traceback" not in done.stderr


def test_faults_are_listed() -> None:
    done = sledkeeper("simulate", "--out", "unused", "--fault", "list")
    assert done.returncode == 0
    for name in ("fan-seized", "inlet-blocked", "controller-hung", "blade-power-lost", "sensor-stuck"):
        assert name in done.stdout
