"""Acknowledging, shelving and maintenance as a user does them, beside a running collector and across its restart."""

from __future__ import annotations

import json
import time
from pathlib import Path

import pytest

from collector.cli.care import _time
from collector.cli.waiting import WrongRequest, span
from simulators.site import scaled_site
from tests.cli.processes import read, running, simulated, sledkeeper, until

SLED = scaled_site(1).sleds[0]
DRIVE = f"{SLED.name}/blade1/drive0"
WHO = ("--who", "Tamsin Orrel", "--why", "the part is ordered")


def test_what_people_do_is_carried_out_marked_listed_and_survives_a_restart(tmp_path: Path) -> None:
    state = tmp_path / "state"
    with simulated(tmp_path / "fleet", "--controllers", "1", "--fault", f"drive-failure-predicted@{DRIVE}") as config:
        with running("collect", "--config", config, "--state", state):
            (found,) = until(lambda: _conditions(state))
            assert (found["announced"], found["care"]) == (True, None)
            done = sledkeeper("acknowledge", found["id"], "--state", state, *WHO)
            assert (done.returncode, done.stdout.partition(":")[0]) == (0, "done"), done.stderr
            done = sledkeeper("shelve", found["id"], "--for", "8h", "--state", state, *WHO)
            assert done.returncode == 0, done.stderr
            (shelved,) = until(lambda: [each for each in _conditions(state) if each["shelved"]])
            assert shelved["acknowledged"]["who"] == "Tamsin Orrel"
            assert not shelved["announced"]
            refused = sledkeeper("shelve", found["id"], "--for", "365d", "--state", state, *WHO)
            assert (refused.returncode, refused.stdout) == (1, "refused: it can last 7 days at most\n")
        stopped = sledkeeper("unshelve", found["id"], "--state", state, "--who", "Ivo Maan")
        assert stopped.returncode == 0
        assert "no collector runs" in stopped.stdout
        asked = [row["what"] for row in read_care(state)]
        assert asked == ["acknowledged", "shelved", "asked: unshelve"]
        with running("collect", "--config", config, "--state", state):
            until(lambda: [row["what"] for row in read_care(state)] == ["acknowledged"])
            (back,) = until(lambda: [each for each in _conditions(state) if each["announced"]])
            assert (back["id"], back["opened"]) == (found["id"], found["opened"])
            assert back["acknowledged"]["why"] == "the part is ordered"
            rack = back["location"]["rack"]
            done = sledkeeper("maintain", "--rack", rack, "--for", "2h", "--state", state, *WHO)
            assert done.returncode == 0, done.stdout + done.stderr
            (kept,) = until(lambda: [each for each in _conditions(state) if each["maintenance"]])
            assert not kept["announced"]
            (row,) = [row for row in read_care(state) if row["what"] == "in maintenance"]
            assert row["place"] == {"rack": rack}
            done = sledkeeper("unmaintain", str(row["number"]), "--state", state, "--who", "Ivo Maan")
            assert done.returncode == 0, done.stdout
            until(lambda: [each for each in _conditions(state) if not each["maintenance"]])


def _conditions(state: Path) -> list[dict[str, object]]:
    done = sledkeeper("conditions", "--state", state, "--format", "json")
    return json.loads(done.stdout) if done.returncode == 0 else []  # type: ignore[no-any-return]


def read_care(state: Path):  # type: ignore[no-untyped-def]
    return read("care", state)


def test_a_condition_that_is_not_there_is_named_with_what_is_near(tmp_path: Path) -> None:
    with simulated(tmp_path / "fleet", "--controllers", "1", "--fault", f"drive-failure-predicted@{DRIVE}") as config:
        done = sledkeeper("collect", "--once", "--config", config, "--state", tmp_path / "state")
        assert done.returncode == 0, done.stderr
    (found,) = _conditions(tmp_path / "state")
    wrong = str(found["id"])[:-1]
    done = sledkeeper("acknowledge", wrong, "--state", tmp_path / "state", *WHO)
    assert done.returncode == 2
    assert str(found["id"]) in done.stderr


@pytest.mark.parametrize(("text", "seconds"), [("30m", 1800.0), ("8h", 28800.0), ("1.5d", 129600.0)])
def test_spans(text: str, seconds: float) -> None:
    assert span(text) == seconds


@pytest.mark.parametrize("text", ["", "8", "h", "-1h", "0m", "nanh", "infd", "8 weeks"])
def test_what_is_nospan(text: str) -> None:
    with pytest.raises(WrongRequest):
        span(text)


def test_times() -> None:
    """ISO 8601, check-values.md §8."""
    assert _time("2015-03-13T04:14:33+06:00") == _time("2015-03-12T22:14:33Z") == 1426198473.0
    for text in ("tomorrow", "2015-03-13T04:14:33", str(time.time())):
        with pytest.raises(WrongRequest):
            _time(text)
