"""Runs the standard body's command line validators against a service on loopback, and reads what they found."""

from __future__ import annotations

import asyncio
import csv
import os
import re
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import pytest

COLOURS = re.compile(r"\x1b\[[0-9;]*m")
_SUMMARY = re.compile(r"PASS\s*\|\s*WARN\s*\|\s*FAIL\s*\|.*?\n\+[-+]+\n\|\s*(\d+)\s*\|\s*(\d+)\s*\|\s*(\d+)\s*\|", re.S)


def tool(name: str) -> str:
    """A validator of this environment; skips the test where it is not installed."""
    path = Path(sys.executable).with_name(name)
    if not path.exists():
        pytest.skip(f"{name} is not installed")
    return str(path)


async def run(command: Iterable[str], folder: Path, ca: Path) -> tuple[int, str]:
    """Run a validator that trusts this CA and no proxy; returns its exit code and what it printed."""
    clean = {key: value for key, value in os.environ.items() if "proxy" not in key.lower()}
    trust = {"REQUESTS_CA_BUNDLE": str(ca), "CURL_CA_BUNDLE": str(ca), "SSL_CERT_FILE": str(ca), "NO_PROXY": "*"}
    child = await asyncio.create_subprocess_exec(
        *command, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.STDOUT, cwd=folder, env=clean | trust
    )
    try:
        out, _ = await child.communicate()
    finally:
        if child.returncode is None:
            child.kill()
            await child.wait()
    return child.returncode or 0, COLOURS.sub("", out.decode())


def summary(out: str) -> tuple[int, int, int]:
    """Counts of what passed, warned and failed."""
    found = _SUMMARY.search(out)
    assert found, out[-2000:]
    passed, warned, failed = (int(count) for count in found.groups())
    return passed, warned, failed


def logs(folder: Path) -> str:
    """All that was logged below a folder."""
    return "".join(path.read_text() for path in folder.rglob("*.log"))


@dataclass(frozen=True)
class Verdict:
    """One line of the protocol validator's report."""

    assertion: str
    method: str
    status: str
    uri: str
    result: str
    message: str


def verdicts(folder: Path) -> list[Verdict]:
    """The protocol validator's report."""
    [report] = folder.glob("*.tsv")
    with report.open(newline="") as file:
        rows = list(csv.DictReader(file, delimiter="\t"))
    return [
        Verdict(row["Assertion"], row["Method"], row["Status code"], row["URI"], row["Result"], row["Message"])
        for row in rows
    ]
