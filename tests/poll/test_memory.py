"""What outlives the process: the secret and the notes of sessions, whatever befell the files."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from collector.poll.memory import NOTES, SECRET, Memory, MemoryUnusable, derived
from collector.redfish.left_over import Intent, LeftOver

ONE = LeftOver("/redfish/v1/SessionService/Sessions/1", {"UserName": "ops"})
TWO = LeftOver("/redfish/v1/SessionService/Sessions/2", {"UserName": "ops", "CreatedTime": "2025-11-25T12:00:00Z"})


def test_the_secret_stays_and_is_for_one_s_own_eyes(tmp_path: Path) -> None:
    with Memory(tmp_path / "state") as memory:
        secret = memory.secret
    assert len(secret) == 32
    with Memory(tmp_path / "state") as memory:
        assert memory.secret == secret
    with Memory(tmp_path / "other") as memory:
        assert memory.secret != secret
    for name in (SECRET, NOTES):
        assert (tmp_path / "state" / name).stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("damage", [b"", b"short", b"x" * 33])
def test_a_damaged_secret_is_made_anew(tmp_path: Path, damage: bytes) -> None:
    (tmp_path / SECRET).write_bytes(damage)
    with Memory(tmp_path) as memory:
        made = memory.secret
        assert len(made) == 32
    with Memory(tmp_path) as memory:
        assert memory.secret == made


def test_what_was_noted_last_counts_after_a_kill(tmp_path: Path) -> None:
    memory = Memory(tmp_path)  # never closed, as after a kill
    a, b = memory.notes("a"), memory.notes("b")
    assert a.recall() is None
    a.note(ONE)
    b.note(ONE)
    a.note(TWO)
    b.note(None)
    with Memory(tmp_path) as again:
        assert again.notes("a").recall() == TWO
        assert again.notes("b").recall() is None
    memory.close()


def test_a_line_that_was_cut_off_takes_no_other_with_it(tmp_path: Path) -> None:
    with Memory(tmp_path) as memory:
        memory.note("a", ONE)
        memory.note("b", TWO)
    path = tmp_path / NOTES
    path.write_bytes(path.read_bytes()[:-9])
    with Memory(tmp_path) as again:
        assert again.recall("a") == ONE
        assert again.recall("b") is None
        again.note("b", TWO)
    with Memory(tmp_path) as last:
        assert (last.recall("a"), last.recall("b")) == (ONE, TWO)


def test_the_notes_do_not_grow_without_end(tmp_path: Path) -> None:
    with Memory(tmp_path) as memory:
        for _ in range(3000):
            memory.note("a", ONE)
            memory.note("a", None)
        memory.note("a", TWO)
        assert (tmp_path / NOTES).stat().st_size < 200_000
    with Memory(tmp_path) as again:
        assert again.recall("a") == TWO


def test_a_full_disk_keeps_nobody_from_logging_in(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Memory(tmp_path) as memory:

        def full(*_: object) -> int:
            raise OSError(28, "No space left on device")

        with monkeypatch.context() as patched:
            patched.setattr(os, "write", full)
            memory.note("a", ONE)
        assert memory.recall("a") == ONE
    assert "No space left" in caplog.text


def test_a_folder_that_can_not_be_used(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(MemoryUnusable, match="file"):
        Memory(tmp_path / "file")


def test_what_is_derived_tells_nothing_of_other_purposes() -> None:
    all_of_them = {derived(secret, use, name) for secret in (b"a", b"b") for use in ("x", "y") for name in ("m", "n")}
    assert len(all_of_them) == 8


def test_an_intent_stands_until_its_outcome_is_noted(tmp_path: Path) -> None:
    memory = Memory(tmp_path, now=lambda: 1_800_000_000.0)  # never closed, as after a kill
    memory.note("a", ONE)
    assert memory.notes("a").intent() is None
    assert memory.notes("a").intend() == Intent(1_800_000_000.0)
    with Memory(tmp_path) as again:
        assert again.intent("a") == Intent(1_800_000_000.0)
        assert again.recall("a") == ONE, "the session before is not forgotten"
        again.notes("a").note(TWO)
    with Memory(tmp_path) as last:
        assert (last.intent("a"), last.recall("a")) == (None, TWO)
    memory.close()
