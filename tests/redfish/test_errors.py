"""The tree of errors: every one is told in one safe line, and nothing of httpx is left untranslated."""

from __future__ import annotations

import ssl
from pathlib import Path
from typing import Any

import httpx
import pytest

from collector.model import DefectKind, Outcome
from collector.redfish import errors
from collector.redfish.channel import translated
from collector.redfish.errors import ControllerError, HttpStatus, Malformed, TimedOut, Unreachable, Untrusted


def descend(kind: type[Any]) -> list[type[Any]]:
    return [kind, *(deeper for below in kind.__subclasses__() for deeper in descend(below))]


KINDS = [kind for kind in descend(ControllerError) if kind is not HttpStatus]


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_every_error_names_controller_resource_and_next_step(kind: type[ControllerError]) -> None:
    error = kind("n2-e1-s1", "/redfish/v1/Chassis", "it\nsaid\x1b[31m so")
    text = str(error)
    assert text.startswith("n2-e1-s1: /redfish/v1/Chassis: ")
    assert text == f"n2-e1-s1: {error.line}"
    assert text.isprintable(), "safe to show"
    assert text.endswith("; " + error.next_step)
    assert isinstance(error.outcome, Outcome)


def test_the_tree_that_is_drawn_is_the_tree_that_is_there() -> None:
    drawn = [line.split()[1] for line in str(errors.__doc__).splitlines() if "──" in line]
    assert sorted(drawn) == sorted(kind.__name__ for kind in descend(ControllerError)[1:])


@pytest.mark.parametrize(
    ("status", "outcome", "defect", "temporary"),
    [
        (401, Outcome.LOGIN_REFUSED, DefectKind.HTTP_ERROR, False),
        (403, Outcome.LOGIN_REFUSED, DefectKind.HTTP_ERROR, False),
        (404, Outcome.MALFORMED, DefectKind.DANGLING_LINK, False),
        (410, Outcome.MALFORMED, DefectKind.DANGLING_LINK, False),
        (429, Outcome.UNAVAILABLE, DefectKind.HTTP_ERROR, True),
        (500, Outcome.UNAVAILABLE, DefectKind.HTTP_ERROR, True),
        (501, Outcome.MALFORMED, DefectKind.HTTP_ERROR, False),
        (503, Outcome.UNAVAILABLE, DefectKind.HTTP_ERROR, True),
    ],
)
def test_statuses(status: int, outcome: Outcome, defect: DefectKind, temporary: bool) -> None:
    error = HttpStatus("bmc", "/x", status, "so it is", keys=["GeneralError"], retry_after="30")
    assert (error.outcome, error.defect, error.temporary) == (outcome, defect, temporary)
    assert f"HTTP status: {status} so it is" in str(error)


HTTPX = [kind for kind in descend(httpx.HTTPError) if kind is not httpx.HTTPStatusError]


@pytest.mark.parametrize("kind", HTTPX, ids=lambda kind: kind.__name__)
def test_every_error_of_httpx_has_a_counterpart(kind: type[httpx.HTTPError]) -> None:
    """Fails to be specific when httpx grows a class that the table does not know."""
    ours = translated(kind("why"), "bmc", "/x")
    general = kind in (httpx.HTTPError, httpx.RequestError)
    assert (ours.happened == f"malformed answer: {kind.__name__}: why") is general
    if issubclass(kind, httpx.TimeoutException):
        assert type(ours) is TimedOut
    elif issubclass(kind, (httpx.NetworkError, httpx.ProxyError)):
        assert type(ours) is Unreachable
    else:
        assert isinstance(ours, (Malformed, Unreachable))


def test_a_certificate_error_deep_inside_is_found() -> None:
    error = httpx.ConnectError("handshake")
    error.__cause__ = OSError("wrapped")
    error.__cause__.__cause__ = ssl.SSLCertVerificationError(1, "self-signed certificate")
    assert type(translated(error, "bmc", "/x")) is Untrusted


def test_the_advice_names_keys_that_the_fleet_file_has() -> None:
    """Advice ages: what it tells people to set must exist."""
    from dataclasses import fields

    from collector.settings import CollectorSettings, ControllerSettings

    source = Path(errors.__file__).read_text(encoding="utf-8")
    assert "collector.deadline" in source
    assert "deadline" in CollectorSettings.model_fields
    for name in ("ca_file", "fingerprint"):
        assert name in Untrusted.advice
        assert name in {field.name for field in fields(ControllerSettings)}
