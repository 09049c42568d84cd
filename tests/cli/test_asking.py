"""What people have done from a terminal, beside a running collector: lamps, sightings, work orders."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.cli.asking import the_part
from collector.cli.waiting import WrongRequest
from collector.model import Identity, Kind, Location, Part
from simulators.site import scaled_site
from tests.cli.processes import read, running, simulated, sledkeeper, until

SLED = scaled_site(1).sleds[0]
WHO = ("--who", "Tamsin Orrel")
WHY = ("--why", "to find it")


def test_lamps_sightings_and_orders_from_a_terminal(tmp_path: Path) -> None:
    state = tmp_path / "state"
    faults = ("--fault", f"fan-seized@{SLED.name}/fan1", "--poll-interval", "1", "--dialect", "modern")
    with (
        simulated(tmp_path / "fleet", "--controllers", "1", *faults) as config,
        running("collect", "--config", config, "--state", state),
    ):
        until(lambda: read("parts", state) if (state / "sledkeeper.db").exists() else None)
        blades = until(lambda: [each for each in read("parts", state) if each["kind"] == "blade"])
        blade = str(blades[0]["part"])

        done = sledkeeper("locate", blade, "--for", "5m", "--state", state, *WHO, *WHY)
        assert (done.returncode, done.stdout.partition(":")[0]) == (0, "done"), done.stdout + done.stderr
        until(
            lambda: [each for each in read("indicators", state) if each["part"] == blade and each["amber"] == "blink"]
        )
        done = sledkeeper("observe", blade, "--blue", "on", "--amber", "blink", "--state", state, *WHO)
        assert done.returncode == 0, done.stdout + done.stderr
        assert "somebody has its locate lamp lit" in done.stdout
        done = sledkeeper("locate", blade, "--off", "--state", state, *WHO, *WHY)
        assert done.returncode == 0, done.stdout + done.stderr

        (order,) = until(lambda: read("orders", state))
        assert (order["state"], order["by"]) == ("open", None)
        done = sledkeeper("take", str(order["id"]), "--state", state, *WHO)
        assert done.returncode == 0, done.stdout + done.stderr
        (taken,) = until(lambda: [each for each in read("orders", state) if each["state"] == "taken"])
        assert taken["by"] == "Tamsin Orrel"
        refused = sledkeeper("take", str(order["id"]), "--state", state, "--who", "Ivo Maan")
        assert refused.returncode == 1
        assert "Tamsin Orrel has it" in refused.stdout
        done = sledkeeper("finish", str(order["part"]), "--serial", "NEW-1", "--state", state, *WHO)
        assert done.returncode == 0, done.stdout + done.stderr
        (still,) = until(lambda: [each for each in read("orders", state) if each["state"] == "done, still there"])
        assert [step["state"] for step in still["steps"]] == ["taken", "done, watching", "done, still there"]

        refused = sledkeeper("power", blade, "force-off", "--confirm", "X", "--state", state, *WHO, *WHY)
        assert refused.returncode == 2
        assert "force off" in refused.stdout, "it names what goes down before it asks for anything"
        assert "[actions] power" in refused.stderr
        told = read("requests", state)
        assert [(each["what"], each["state"]) for each in reversed(told)] == [
            ("locate", "done"),
            ("observe", "done"),
            ("locate", "done"),
            ("take", "done"),
            ("take", "refused"),
            ("finish", "done"),
        ]
        wrong = sledkeeper("locate", "nowhere", "--state", state, *WHO, *WHY)
        assert (wrong.returncode, "no part has" in wrong.stderr) == (2, True)


def part(name: str, slot: str, serial: str | None = None, parent: str | None = None) -> Part:
    return Part(
        id=f"c1:{name}",
        controller="c1",
        uri=f"/{name}",
        kind=Kind.BLADE,
        name=name,
        parent=parent,
        location=Location(slot=slot),
        identity=Identity(serial=serial),
    )


PARTS = [part("a", "Blade 1", "S-1"), part("b", "Blade 2", "S-2"), part("c", "Blade 2", "S-3", parent="c1:b")]


@pytest.mark.parametrize(
    ("told", "name"), [("c1:a", "a"), ("s-2", "b"), ("blade 1", "a"), ("Blade 2", "b"), ("c", "c")]
)
def test_a_part_by_id_label_or_serial(told: str, name: str) -> None:
    assert the_part(PARTS, told).name == name


@pytest.mark.parametrize(("told", "said"), [("", "no part"), ("Blade 7", "near that"), ("x", "2 parts")])
def test_a_part_that_is_none_or_several(told: str, said: str) -> None:
    with pytest.raises(WrongRequest, match=said):
        the_part([*PARTS, part("d", "x"), part("e", "x")], told)
