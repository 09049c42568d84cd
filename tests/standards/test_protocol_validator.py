"""DMTF redfish_protocol_validator (assertions of DSP0266) against the simulated services, live over HTTPS.

What it can't test here stands in :data:`UNTESTED`, each with the reason; what is not listed there must pass.
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import pytest

from simulators.serve import Fleet, with_dialect
from simulators.service.accounts import ADMIN
from simulators.service.service import Service
from simulators.site import scaled_site
from simulators.world import World
from tests.standards.validators import Verdict, run, tool, verdicts

_WITHOUT_DISCOVERY = (
    "import redfish_protocol_validator.utils as utils\n"
    "utils.discover_ssdp = lambda *args, **more: {}\n"
    "from redfish_protocol_validator.console_scripts import main\n"
    "main()\n"
)
"""The validator as it is, but for its search of the whole network by multicast: tests keep to loopback."""

UNTESTED: dict[str, str] = {
    "SERV_SSDP_": "discovery goes out to the whole network, which a test must not",
    "SERV_SSE_": "release 1.3.2 of the validator has its own stream tests switched off; tests/simulators/test_streams "
    "tries them over TLS",
    "SEC_SESSION_TERMINATION_SIDE_EFFECTS": "needs the validator's stream, which it has switched off",
    "SEC_PWD_CHANGE_REQ_": "no account here can be told to change its password",
    "SEC_DEFAULT_CERT_REPLACE": "the services have no CertificateService: a fleet's authority issues what they show",
    "PROTO_REDIRECT_ENFORCES_TARGET_PRIVS": "a conforming service here never redirects",
    "RESP_STATUS_INTERNAL_SERVER_ERROR": "nothing fails inside",
    "RESP_HEADERS_CONTENT_TYPE": "there is no OpenAPI document, which DSP0266 leaves to the service",
    "REQ_HEADERS_ACCEPT": "there is no OpenAPI document, which DSP0266 leaves to the service",
    "REQ_DATA_MOD_ERRORS": "none of the validator's POSTs fails",
}
"""Assertion, or how a group of them begins -> why the validator can't decide it here."""

ABSENT: dict[str, dict[str, str]] = {
    "modern": {},
    "push": {"REQ_QUERY_INVALID_VALUES": "the validator tries `only`, which this dialect does not know"},
    "reports": {"REQ_QUERY_INVALID_VALUES": "the validator tries `only`, which this dialect does not know"},
    "classic": {
        "REQ_QUERY_": "its service root is older than ProtocolFeaturesSupported",
        "SERV_EVENT_": "it has no event service",
    },
}
"""Dialect -> how the assertions begin that are about what it says that it does not have -> why."""

RELIED_ON = (
    # sessions and authentication
    *("SEC_SESSIONS_URI_LOCATION", "SEC_SESSION_POST_RESPONSE", "SEC_REQUIRE_LOGIN_SESSIONS", "SEC_BOTH_AUTH_TYPES"),
    *("SEC_SUPPORT_BASIC_AUTH", "SEC_BASIC_AUTH_STANDALONE", "SEC_NO_AUTH_COOKIES", "SEC_READ_REQUIRES_AUTH"),
    *("SEC_WRITE_REQUIRES_AUTH", "REQ_HEADERS_AUTHORIZATION", "REQ_HEADERS_X_AUTH_TOKEN", "RESP_HEADERS_X_AUTH_TOKEN"),
    *("RESP_HEADERS_WWW_AUTHENTICATE", "REQ_GET_SERVICE_ROOT_NO_AUTH", "REQ_GET_METADATA_ODATA_NO_AUTH"),
    # ETags
    *("PROTO_ETAG_412_WRITE_NOT_APPLIED", "PROTO_ETAG_CONDITIONAL_GET", "PROTO_ETAG_HEADER_AND_PROPERTY"),
    *("PROTO_ETAG_IF_MATCH_ENFORCED", "PROTO_ETAG_LOST_UPDATE", "PROTO_ETAG_ON_GET_ACCOUNT", "PROTO_ETAG_RFC7232"),
    *("PROTO_ETAG_ROTATES_ON_WRITE", "PROTO_ETAG_STABLE_WITHOUT_MODIFICATION", "REQ_HEADERS_IF_MATCH"),
    *("RESP_HEADERS_ETAG", "SEC_ACCOUNTS_SUPPORT_ETAGS"),
    # query parameters
    *("REQ_QUERY_IGNORE_UNSUPPORTED", "REQ_QUERY_UNSUPPORTED_DOLLAR_PARAMS", "REQ_QUERY_INVALID_VALUES"),
    # errors
    "RESP_STATUS_BAD_REQUEST",
    # events
    *("SERV_EVENT_POST_RESP", "SERV_EVENT_ERROR_ON_BAD_REQUEST"),
)
"""What the collector relies on: each must have been tested, and have passed, unless the dialect has no such thing."""


CHANCE = "may not be sufficiently random"
"""The validator puts one token to the monobit and the runs test of NIST SP 800-22 at a level of 1 % each, so that one
sound token in fifty fails; a service whose tokens are not random fails every time."""
TRIES = 4
"""Runs in a row that chance alone would have to spoil: less than one in six million."""


def begins(name: str, table: dict[str, str]) -> bool:
    return name.startswith(tuple(table)) if table else False


async def validate(service: Service, fleet: Fleet, folder: Path) -> tuple[int, list[Verdict]]:
    """Run the validator as an administrator."""
    tool("rf_protocol_validator")
    url = fleet.listeners[service.name].url
    reports = folder / "reports"
    code, out = await run(
        (
            *(sys.executable, "-c", _WITHOUT_DISCOVERY, "--rhost", url, "--user", ADMIN),
            *("--password", fleet.admin_password, "--ca-bundle", str(fleet.out_dir / "ca.pem")),
            *("--report-dir", str(reports), "--report-type", "tsv", "--avoid-http-redirect"),
        ),
        folder,
        fleet.out_dir / "ca.pem",
    )
    assert reports.exists(), out[-2000:]
    return code, verdicts(reports)


async def validate_beyond_chance(service: Service, fleet: Fleet, folder: Path) -> tuple[int, list[Verdict]]:
    """Run the validator, again where a token by chance looked less than random."""
    for number in range(TRIES):
        (own := folder / str(number)).mkdir()
        code, found = await validate(service, fleet, own)
        if not any(CHANCE in verdict.message for verdict in found):
            break
    return code, found


@pytest.mark.system
@pytest.mark.parametrize("dialect", ["modern", "push", "reports", "classic"])
async def test_nothing_that_can_be_tested_fails(dialect: str, tmp_path: Path) -> None:
    site = with_dialect(scaled_site(1), dialect)
    async with Fleet(World(site), tmp_path / "fleet", tick=3600.0) as fleet:
        service = fleet.services[site.sleds[0].name]
        if service.events is not None:
            # the validator subscribes in the name of another machine and unsubscribes at once; nothing is sent there
            service.events.far = True
        code, found = await validate_beyond_chance(service, fleet, tmp_path)
        assert len(service.login.sessions) == 0
        assert service.events is None or len(service.events.table) == 0
        assert service.login.accounts.ids() == ["1", "2"]
    counts = Counter(verdict.result for verdict in found)
    assert [verdict for verdict in found if verdict.result not in ("PASS", "NOT_TESTED")] == []
    assert code == 0
    assert counts["PASS"] > 200

    explained = UNTESTED | ABSENT[dialect]
    untested = {verdict.assertion for verdict in found if verdict.result == "NOT_TESTED"}
    assert sorted(name for name in untested if not begins(name, explained)) == []
    assert sorted(why for why in explained if not any(name.startswith(why) for name in untested)) == []

    passed = {verdict.assertion for verdict in found if verdict.result == "PASS"}
    assert sorted(name for name in RELIED_ON if name not in passed and not begins(name, ABSENT[dialect])) == []


@pytest.mark.system
async def test_the_validator_does_find_faults(tmp_path: Path) -> None:
    """The check of the check: a service that heeds no If-Match fails by name."""
    site = with_dialect(scaled_site(1), "modern")
    async with Fleet(World(site), tmp_path / "fleet", tick=3600.0) as fleet:
        service = fleet.services[site.sleds[0].name]
        real = service.respond

        def forgetful(request: object) -> object:
            request.headers.pop("if-match", None)  # type: ignore[attr-defined]
            return real(request)  # type: ignore[arg-type]

        service.respond = forgetful  # type: ignore[method-assign,assignment]
        code, found = await validate(service, fleet, tmp_path)
    failed = {verdict.assertion for verdict in found if verdict.result == "FAIL"}
    assert code == 1
    assert "PROTO_ETAG_IF_MATCH_ENFORCED" in failed
    # a destination that is not this machine is refused unless told otherwise
    assert "SERV_EVENT_POST_RESP" in failed
