"""``history`` as a user runs it, on what ``collect`` kept of a simulated sled whose parts were swapped in between."""

from __future__ import annotations

from pathlib import Path

from simulators.site import scaled_site
from tests.cli.processes import read, simulated, sledkeeper

SLED = scaled_site(1).sleds[0]
DRIVE = f"{SLED.name}/blade1/drive0"


def looked(tmp_path: Path, *faults: str) -> None:
    """One run of the simulator and of the collector, always on the same state."""
    options = [option for fault in faults for option in ("--fault", fault)]
    with simulated(tmp_path / "fleet", "--controllers", "1", *options) as config:
        done = sledkeeper("collect", "--once", "--config", config, "--state", tmp_path / "state")
    assert done.returncode == 0, done.stdout + done.stderr


def test_a_swapped_drive_is_found_by_part_by_serial_number_and_by_place(tmp_path: Path) -> None:
    delivered, state = SLED.parts[DRIVE].serial, tmp_path / "state"
    looked(tmp_path)
    looked(tmp_path, f"part-swapped@{DRIVE}:serial=SWAPPED-0001")
    (event,) = [row for row in read("events", state) if row["subject"] == "part swapped"]
    assert f"serial SWAPPED-0001, was {delivered}" in event["text"]

    told = read("history", state, "--part", event["part"])
    assert [(row["serial"], row["began"], row["ended"]) for row in told] == [
        (delivered, "first seen", "swapped"),
        ("SWAPPED-0001", "swapped", None),
    ]
    assert told[0]["until"] == told[1]["since"]
    assert told[1]["until"] is None
    assert read("history", state, "--serial", "swapped-0001") == told[1:]
    assert read("history", state, "--serial", delivered) == told[:1]
    assert told == [
        row for row in read("history", state, "--location", told[0]["place"]) if row["part"] == event["part"]
    ]
    assert read("history", state, "--serial", "nobody's") == []

    table = sledkeeper("history", "--state", state, "--serial", delivered)
    assert table.returncode == 0
    assert table.stdout.splitlines()[0].split() == [
        *("since", "until", "place", "kind", "name", "serial", "part_number", "firmware", "began", "ended"),
    ]
    lines = sledkeeper("history", "--state", state, "--part", event["part"], "--format", "csv").stdout.splitlines()
    assert len(lines) == 3
    assert lines[0].startswith("since,until,controller,part,")


def test_wrong_use_is_told(tmp_path: Path) -> None:
    both = sledkeeper("history", "--state", tmp_path, "--part", "a", "--serial", "b")
    assert (both.returncode, "not allowed with" in both.stderr) == (2, True)
    neither = sledkeeper("history", "--state", tmp_path)
    assert (neither.returncode, "required" in neither.stderr) == (2, True)
    empty = sledkeeper("history", "--state", tmp_path, "--part", "a")
    assert (empty.returncode, "no collector state here" in empty.stderr) == (2, True)
