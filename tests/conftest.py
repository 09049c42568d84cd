"""What all tests share."""

from __future__ import annotations

from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SHARED = ROOT.parent / "shared"
"""Published standards material lies beside the checkout; tests that need it skip, naming the file, where it is not."""

STANDARDS = SHARED / "standards"


def standard(*steps: str) -> Path:
    """A file or folder of the published material; skips the test, saying which is missing, where it is absent."""
    path = STANDARDS.joinpath(*steps)
    if not path.exists():
        pytest.skip(f"published material is missing: shared/standards/{'/'.join(steps)}")
    return path


@pytest.fixture
def mockups() -> Path:
    """The folder of DMTF DSP2043 example services."""
    return standard("redfish", "mockups")
