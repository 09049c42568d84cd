"""What the facts of a probe mean: judged by table, from a name that is not known to a clock that is a year off."""

from __future__ import annotations

from typing import Any

import pytest

from collector.model import Outcome
from collector.redfish.facts import (
    Certificate,
    Connected,
    Failure,
    Handshake,
    Login,
    Resolved,
    Root,
    SessionEnd,
    Trust,
)
from collector.redfish.features import declared
from collector.redfish.resources import ClockRead
from collector.redfish.session import Way
from collector.redfish.verdicts import (
    Findings,
    Result,
    of_clock,
    of_connection,
    of_login,
    of_name,
    of_root,
    of_tls,
)

NOW = 1_800_000_000.0
DAY = 86_400.0
PRINT, OTHER = "sha256:" + "a" * 64, "sha256:" + "b" * 64


def told(findings: Findings) -> list[tuple[str, str]]:
    return [(finding.result.value, finding.line) for finding in findings]


def has(findings: Findings, result: str, *words: str) -> None:
    """One finding of that result has all of the words."""
    lines = [line for one, line in told(findings) if one == result]
    assert any(all(word in line for word in words) for line in lines), told(findings)


CERTIFICATE = Certificate(
    fingerprint=PRINT,
    subject="CN=n2",
    issuer="CN=Somebody",
    names=("n2.example", "192.0.2.17"),
    not_before=NOW - 100 * DAY,
    not_after=NOW + 200 * DAY,
)
GOOD = Handshake(
    trust=Trust.CA_FILE, host="192.0.2.17", protocol="TLSv1.3", certificate=CERTIFICATE, ca_file="/etc/fleet/ca.pem"
)


def hand(cert: dict[str, Any] | None = None, **more: Any) -> Handshake:
    fields = {name: getattr(GOOD, name) for name in GOOD.__struct_fields__} | more
    if cert is not None:
        names = CERTIFICATE.__struct_fields__
        fields["certificate"] = Certificate(**({name: getattr(CERTIFICATE, name) for name in names} | cert))
    return Handshake(**fields)


EXPIRED = {"not_after": NOW - 3 * DAY}
UNBORN = {"not_before": NOW + 2 * DAY}
# Codes: OpenSSL, include/openssl/x509_vfy.h, X509_V_ERR_…
TLS_CASES: list[tuple[Handshake, bool, list[tuple[str, list[str]]]]] = [
    (GOOD, True, [("passed", ["vouched for by ca.pem", PRINT]), ("passed", ["200 more days"])]),
    (hand(trust=Trust.SYSTEM, ca_file=None), True, [("passed", ["this system's authorities"]), ("passed", ["200"])]),
    (hand({"not_after": NOW + 12.4 * DAY}), True, [("passed", [PRINT]), ("to note", ["in 12 days", "renew"])]),
    (hand(EXPIRED, verify_code=10), False, [("failed", ["expired 3 days ago", "renew"])]),
    (hand(verify_code=10), False, [("failed", ["an authority above"]), ("passed", ["200 more days"])]),
    (hand(UNBORN, verify_code=9), False, [("failed", ["valid from 2027-01-17", "date of this machine"])]),
    (
        hand(host="n3.example", verify_code=62),
        False,
        [("failed", ["is for n2.example, 192.0.2.17, not for n3.example"]), ("passed", ["200"])],
    ),
    (hand(host="192.0.2.18", verify_code=64), False, [("failed", ["not for 192.0.2.18"]), ("passed", ["200"])]),
    (hand(verify_code=18), False, [("failed", ["self-signed", f'fingerprint = "{PRINT}"']), ("passed", ["200"])]),
    (hand(verify_code=19), False, [("failed", ["issuer", "not among ca.pem", PRINT]), ("passed", ["200"])]),
    (hand(verify_code=20), False, [("failed", ["CN=Somebody", "not among ca.pem", PRINT]), ("passed", ["200"])]),
    (hand(EXPIRED, verify_code=20), False, [("failed", ["CN=Somebody"]), ("failed", ["expired on"])]),
    (
        hand(verify_code=66, verify_message="EE certificate key too weak"),
        False,
        [("failed", ["too weak"]), ("passed", ["200"])],
    ),
    (
        hand(verify_code=79, verify_message="invalid CA certificate"),
        False,
        [("failed", ["invalid CA"]), ("passed", ["200"])],
    ),
    (
        hand(ca_error="ca_file can't be used: no certificate"),
        False,
        [("failed", ["ca.pem", "PEM"]), ("passed", ["200"])],
    ),
    (hand(trust=Trust.PIN, pinned=PRINT), True, [("passed", ["it is the pinned one"]), ("passed", ["200"])]),
    (hand(trust=Trust.PIN, pinned=OTHER), False, [("failed", [PRINT, OTHER, "renewed"]), ("passed", ["200"])]),
    (
        hand(EXPIRED, trust=Trust.PIN, pinned=PRINT),
        True,
        [("passed", ["pinned one"]), ("to note", ["expired", "not checked here"])],
    ),
    (
        hand({"not_after": NOW + DAY}, trust=Trust.PIN, pinned=PRINT),
        True,
        [("passed", ["pinned one"]), ("to note", ["in 1 day,", "pin the new one"])],
    ),
    (
        hand(trust=Trust.UNCHECKED, ca_file=None),
        True,
        [("passed", ["unchecked"]), ("to note", ["insecure = true", f'fingerprint = "{PRINT}"']), ("passed", ["200"])],
    ),
    (hand(trust=Trust.NO_TLS, certificate=None), True, [("to note", ["plain http", "https://"])]),
    (hand(certificate=None, error="WRONG_VERSION_NUMBER"), False, [("failed", ["does not speak TLS"])]),
    (hand(certificate=None, error="TLSV1_ALERT_PROTOCOL_VERSION"), False, [("failed", ["firmware"])]),
    (hand(certificate=None, error="no answer in time", timed_out=True), False, [("failed", ["overloaded"])]),
    (hand(certificate=None), False, [("failed", ["no certificate"])]),
    (
        hand(certificate=Certificate(fingerprint=PRINT, unread="bad"), trust=Trust.PIN, pinned=PRINT),
        True,
        [("passed", ["can't be read: bad", PRINT])],
    ),
]


@pytest.mark.parametrize(("facts", "trusted", "expected"), TLS_CASES)
def test_what_a_handshake_means(facts: Handshake, trusted: bool, expected: list[tuple[str, list[str]]]) -> None:
    findings = of_tls(facts, NOW)
    assert [finding.result.value for finding in findings] == [result for result, _ in expected], told(findings)
    for finding, (_, words) in zip(findings, expected, strict=True):
        assert all(word in finding.line for word in words), finding.line
        assert "\n" not in finding.line
        assert (finding.result is Result.PASSED) == (not finding.to_do), "what is wrong comes with what to do"
    assert facts.trusted is trusted
    assert trusted == all(finding.result is not Result.FAILED for finding in findings), "judged as it is trusted"


@pytest.mark.parametrize(
    ("facts", "result", "words"),
    [
        (Resolved(host="192.0.2.1", literal=True, addresses=("192.0.2.1",)), "passed", ["nothing to resolve"]),
        (Resolved(host="n2", literal=False, addresses=("192.0.2.1", "::1")), "passed", ["n2 is 192.0.2.1, ::1"]),
        (Resolved(host="n2", literal=False, error="name not known"), "failed", ["n2: name not known", "spelling"]),
        (Resolved(host="n2", literal=False, timed_out=True, seconds=10.0), "failed", ["within 10 s", "name servers"]),
    ],
)
def test_what_a_name_resolution_means(facts: Resolved, result: str, words: list[str]) -> None:
    has(of_name(facts), result, *words)


@pytest.mark.parametrize(
    ("facts", "result", "words"),
    [
        (Connected(port=443, address="192.0.2.1", seconds=0.002), "passed", ["192.0.2.1 port 443", "2.0 ms"]),
        (
            Connected(port=443, address="192.0.2.1", refused=(("::1", "no route to host"),)),
            "to note",
            ["::1: no route"],
        ),
        (Connected(port=443, refused=(("::1", "connection refused"),)), "failed", ["refused", "switched on"]),
        (Connected(port=443, refused=(("::1", "no answer"),), timed_out=True), "failed", ["no answer", "power"]),
        (Connected(port=443, refused=(("::1", "network is unreachable"),)), "failed", ["unreachable", "address"]),
    ],
)
def test_what_a_connection_means(facts: Connected, result: str, words: list[str]) -> None:
    has(of_connection(facts), result, *words)


REFUSED = Failure(
    kind="LoginRefused", outcome=Outcome.LOGIN_REFUSED, resource="/s", happened="login refused: 401", to_do="look"
)
SESSION = Login(username="ops", way=Way.SESSION, proof="/redfish/v1/Chassis", session_status=201)


def login(**more: Any) -> Login:
    return Login(**({name: getattr(SESSION, name) for name in SESSION.__struct_fields__} | more))


@pytest.mark.parametrize(
    ("facts", "end", "result", "words"),
    [
        (SESSION, SessionEnd(deleted_status=204, sent=True), "passed", ["session deleted again"]),
        (SESSION, SessionEnd(deleted_status=404, sent=True), "passed", ["session deleted again"]),
        (SESSION, SessionEnd(deleted_status=500, sent=True), "to note", ["answered with 500", "unused sessions"]),
        (SESSION, SessionEnd(deleted_status=None, sent=True), "to note", ["no answer to its deletion"]),
        (SESSION, SessionEnd(), "to note", ["did not say where its session is"]),
        (login(way=Way.BASIC, session_status=404), None, "to note", ["basic", "has no sessions"]),
        (login(way=Way.BASIC, session_status=503), None, "to note", ["session table is full"]),
        (login(failure=REFUSED), None, "failed", ["/s: login refused: 401; look"]),
        (login(username=None, way=Way.NONE), None, "passed", ["no credentials given"]),
        (login(proof=None), None, "to note", ["not proven"]),
        (login(over_http=True), None, "to note", ["in the clear", "https://"]),
        (login(password_mode=0o644, password_file="p"), None, "to note", ["p has mode 0644", "chmod 600"]),
    ],
)
def test_what_a_login_means(facts: Login, end: SessionEnd | None, result: str, words: list[str]) -> None:
    has(of_login(facts, end), result, *words)


@pytest.mark.parametrize(
    ("offset", "spread", "result", "words"),
    [
        (0.4, 0.6, "passed", ["within 1.0 s"]),
        (-5.5, 0.6, "passed", ["within"]),
        (8.0, 0.6, "to note", ["8.0 s ahead of ours"]),
        (-250.0, 0.6, "to note", ["4.2 minutes behind ours"]),
        (-302.0, 0.6, "failed", ["5.0 minutes behind", "NTP"]),
        (-365 * DAY, 0.6, "failed", ["365.0 days behind ours", "NTP"]),
        (400.0, 380.0, "to note", ["6.7 minutes ahead"]),
    ],
)
def test_what_a_clock_means(offset: float, spread: float, result: str, words: list[str]) -> None:
    has(of_clock(ClockRead(source="/redfish/v1/Managers/1", offset=offset, spread=spread)), result, *words)


def test_a_clock_that_is_told_nowhere_is_worth_a_note() -> None:
    has(of_clock(None), "to note", "nowhere")


def test_what_a_service_root_means() -> None:
    has(of_root(Root(version="1.15.0", product="Warden", declares=("$select",))), "passed", "1.15.0, Warden", "$select")
    has(of_root(Root()), "passed", "no version told, no product told", "no protocol feature")
    has(of_root(Root(failure=REFUSED)), "failed", "look")


@pytest.mark.parametrize(
    ("root", "features"),
    [
        ({}, ()),
        ({"ProtocolFeaturesSupported": "yes"}, ()),
        (
            {"ProtocolFeaturesSupported": {"ExpandQuery": {"NoLinks": True}, "SelectQuery": 1}},
            ("$expand (., 1 level)",),
        ),
        (
            {
                "ProtocolFeaturesSupported": {
                    "ExpandQuery": {"NoLinks": True, "ExpandAll": True, "Levels": True, "MaxLevels": 6},
                    "SelectQuery": True,
                    "FilterQuery": False,
                }
            },
            ("$expand (. *, 6 levels)", "$select"),
        ),
    ],
)
def test_features_as_declared(root: dict[str, Any], features: tuple[str, ...]) -> None:
    # DSP8010 ServiceRoot, ProtocolFeaturesSupported
    assert declared(root) == features
