"""Imports run one way, as DEVELOPERS.md says: read from the sources, not from what happens to be loaded."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from tests.conftest import ROOT

MAY_IMPORT: dict[str, set[str]] = {
    "collector.model": set(),
    "collector.text": set(),
    "collector.settings": {"collector.model"},
    "collector.redfish": {"collector.model", "collector.settings", "collector.text"},
    "collector.assess": {"collector.model"},
    "collector.store": {"collector.model", "collector.settings"},
    "collector.normalise": {"collector.redfish", "collector.model", "collector.text"},
    "collector.poll": {
        "collector.redfish",
        "collector.normalise",
        "collector.assess",
        "collector.model",
        "collector.settings",
        "collector.text",
    },
    "collector.publish": {"collector.model", "collector.store", "collector.settings", "collector.text"},
    "dashboard": {"collector.model", "collector.store", "collector.assess", "collector.text"},
    "simulators": set(),
}
"""``collector.cli`` may import everything."""


def room(module: str) -> str:
    """The room a module belongs to: ``collector.x`` or a package other than the collector."""
    steps = module.split(".")
    return ".".join(steps[:2]) if steps[0] == "collector" else steps[0]


def imported(path: Path) -> set[str]:
    """Our own modules that a file imports, wherever in the file."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            module = node.module or ""
            found |= {f"{module}.{alias.name}" for alias in node.names} if module == "collector" else {module}
    return {name for name in found if name.split(".")[0] in ("collector", "dashboard", "simulators")}


FILES = sorted(path for name in ("collector", "dashboard", "simulators") for path in (ROOT / name).rglob("*.py"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_imports_run_one_way(path: Path) -> None:
    here = room(".".join(path.relative_to(ROOT).with_suffix("").parts))
    if here == "collector.cli" or path == ROOT / "collector" / "__init__.py":
        return
    assert here in MAY_IMPORT, f"{here} is a new room: say in DEVELOPERS.md and here what it may import"
    wrong = {name for name in imported(path) if room(name) != here and room(name) not in MAY_IMPORT[here]}
    assert not wrong, f"{here} must not import {sorted(wrong)}"
