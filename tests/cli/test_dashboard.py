"""The command that serves the pages: what it takes for the pages' own address."""

from __future__ import annotations

from pathlib import Path

import pytest

from dashboard.serve import PUBLIC_URL, checked_url, environment
from tests.cli.processes import sledkeeper


@pytest.mark.parametrize(
    ("told", "kept"),
    [
        ("https://pages.example", "https://pages.example"),
        ("https://pages.example/", "https://pages.example"),
        ("http://192.0.2.7:8460/rack/", "http://192.0.2.7:8460/rack"),
    ],
)
def test_an_address_is_kept_without_a_trailing_slash(told: str, kept: str) -> None:
    assert checked_url(told) == kept


@pytest.mark.parametrize(
    "told",
    ["pages.example", "ftp://pages.example", "https://", "https://a:99999", "https://a?x=1", "https://me:pw@a", "//a"],
)
def test_what_is_no_address_is_refused_with_a_sentence(told: str) -> None:
    with pytest.raises(ValueError, match=r"address|scheme"):
        checked_url(told)


def test_a_wrong_address_ends_the_command_with_code_2(tmp_path: Path) -> None:
    done = sledkeeper("dashboard", "--state", tmp_path, "--public-url", "pages")
    assert done.returncode == 2
    assert "--public-url" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_server_learns_of_it_only_where_it_was_told() -> None:
    assert environment("https://a")[PUBLIC_URL] == "https://a"
    assert PUBLIC_URL not in environment()
