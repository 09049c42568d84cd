"""The way to a controller gone step by step on real loopback sockets."""

from __future__ import annotations

import asyncio
import datetime
import ipaddress
import json
import ssl
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from pydantic import SecretStr

from collector.redfish.certificates import certificate
from collector.redfish.client import Client
from collector.redfish.facts import (
    Handshake,
    Reached,
    Service,
    SessionEnd,
)
from collector.redfish.probe import ask, reach, session_end
from collector.redfish.recorder import Recorder
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
from collector.redfish.wire import Limits
from collector.settings import ControllerSettings, Credential
from tests.redfish.servers import Identity, Script, hang, make_identity, ok, says, serve
from tests.redfish.test_verdicts import has

NOW = 1_800_000_000.0
DAY = 86_400.0
QUICK = Limits(connect_timeout=0.3, response_timeout=0.5)


def lone(folder: Path, *, born: float = -9, dies: float = 9) -> Identity:
    """A self-signed certificate for 127.0.0.1, valid between two days from now."""
    now = datetime.datetime.now(datetime.UTC)
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "127.0.0.1")])
    address = x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))])
    signed = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now + datetime.timedelta(days=born))
        .not_valid_after(now + datetime.timedelta(days=dies))
        .add_extension(address, critical=False)
        .sign(key, hashes.SHA256())
    )
    pem = signed.public_bytes(serialization.Encoding.PEM)
    secret = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    (folder / "lone.pem").write_bytes(secret + pem)
    (folder / "lone-ca.pem").write_bytes(pem)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(folder / "lone.pem")
    fingerprint = certificate(signed.public_bytes(serialization.Encoding.DER)).fingerprint
    return Identity(folder / "lone-ca.pem", fingerprint, context)


async def way(settings: ControllerSettings, limits: Limits | None = None, **more: Any) -> Reached:
    return await reach(settings, timer=time.monotonic, limits=limits, **more)


async def tls_of(settings: ControllerSettings) -> tuple[Handshake, Findings]:
    reached = await way(settings)
    assert reached.handshake is not None
    assert reached.good is reached.handshake.trusted
    return reached.handshake, of_tls(reached.handshake, time.time())


async def test_trusted_by_authority_by_pin_and_not_at_all(identity: Identity) -> None:
    async with serve(says(), context=identity.context) as served:
        for trust in ({"ca_file": identity.ca_file}, {"fingerprint": identity.fingerprint}, {"insecure": True}):
            handshake, findings = await tls_of(served.settings(**trust))
            assert handshake.trusted
            assert handshake.certificate is not None
            assert handshake.certificate.fingerprint == identity.fingerprint
            assert handshake.certificate.names == ("127.0.0.1",)
            assert handshake.protocol == "TLSv1.3"
            has(findings, "to note", "in 9 days")
    assert not served.heads, "no byte of a request is sent"


@pytest.mark.parametrize(
    ("make", "code", "words"),
    [
        (lambda folder: make_identity(folder, expired=True), 10, ["expired 1 day ago"]),
        (lambda folder: make_identity(folder, name="127.0.0.2"), 64, ["is for 127.0.0.2, not for 127.0.0.1"]),
        (lambda folder: lone(folder, born=3, dies=9), 9, ["valid from", "date of this machine"]),
    ],
)
async def test_why_a_certificate_of_a_known_authority_is_not_taken(
    tmp_path: Path, make: Callable[[Path], Identity], code: int, words: list[str]
) -> None:
    identity = make(tmp_path)
    async with serve(says(), context=identity.context) as served:
        handshake, findings = await tls_of(served.settings(ca_file=identity.ca_file))
        assert handshake.verify_code == code
        assert not handshake.trusted
        assert handshake.certificate is not None, "seen all the same"
        assert handshake.certificate.fingerprint == identity.fingerprint
        has(findings, "failed", *words)
        assert sum(finding.result is Result.FAILED for finding in findings) == 1, "told once"


async def test_self_signed_unknown_authority_and_wrong_pin_are_told_apart(
    tmp_path: Path, identity: Identity, other_identity: Identity
) -> None:
    alone = lone(tmp_path)
    async with serve(says(), context=alone.context) as served:
        handshake, findings = await tls_of(served.settings(ca_file=other_identity.ca_file))
        assert handshake.certificate is not None
        assert handshake.certificate.self_signed
        has(findings, "failed", "self-signed", alone.fingerprint)
    async with serve(says(), context=identity.context) as served:
        handshake, findings = await tls_of(served.settings())
        assert handshake.certificate is not None
        assert not handshake.certificate.self_signed
        has(findings, "failed", "CN=Test CA", "this system's authorities", identity.fingerprint)
        _, findings = await tls_of(served.settings(fingerprint=other_identity.fingerprint))
        has(findings, "failed", identity.fingerprint, other_identity.fingerprint)
        (tmp_path / "empty.pem").write_text("nothing")
        handshake, findings = await tls_of(served.settings(ca_file=tmp_path / "empty.pem"))
        has(findings, "failed", "empty.pem", "PEM")
        assert not handshake.trusted


async def test_no_tls_and_a_handshake_that_hangs(identity: Identity) -> None:
    async def plain(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.read(1)
        writer.write(b"HTTP/1.1 400 Bad Request\r\n\r\n")
        await writer.drain()

    async with serve(plain) as served:
        _, findings = await tls_of(replace(served.settings(), url=served.url.replace("http:", "https:")))
        has(findings, "failed", "does not speak TLS")
    async with serve(hang) as served:
        settings = replace(served.settings(), url=served.url.replace("http:", "https:"))
        reached = await way(settings, QUICK)
        assert reached.handshake is not None
        has(of_tls(reached.handshake, NOW), "failed", "no answer in time")
        reached = await way(served.settings())
        assert reached.good, "plain http has no TLS to fail"
        assert reached.handshake is not None
        has(of_tls(reached.handshake, NOW), "to note", "plain http")


async def test_names_and_ports_that_lead_nowhere() -> None:
    async with serve(says()) as served:
        settings = served.settings()
    reached = await way(settings)  # the server is gone, its port free
    assert reached.handshake is None
    assert reached.connected is not None
    has(of_connection(reached.connected), "failed", "connection refused")
    named = ControllerSettings(name="bmc", url="https://" + "a" * 70 + ".example")
    reached = await way(named)  # a label has 63 characters at most, RFC 1035 2.3.4: never asked of any server
    assert reached.connected is None
    has(of_name(reached.resolved), "failed", "label")


async def test_all_addresses_of_a_name_are_tried_and_a_resolver_that_hangs_is_waited_for_briefly() -> None:
    async def two(host: str, port: int) -> Sequence[str]:
        return ["127.0.0.3", "127.0.0.1"]

    async def never(host: str, port: int) -> Sequence[str]:
        await asyncio.Event().wait()
        raise AssertionError

    async with serve(says()) as served:
        settings = replace(served.settings(), url=served.url.replace("127.0.0.1", "bmc.example"))
        reached = await way(settings, resolve=two)
        assert reached.connected is not None
        assert reached.connected.address == "127.0.0.1"
        has(of_connection(reached.connected), "to note", "127.0.0.3: connection refused")
        reached = await way(settings, QUICK, resolve=never)
        has(of_name(reached.resolved), "failed", "no answer about bmc.example")


@pytest.mark.parametrize("der", [b"", b"\x30\x03\x02\x01\x01", b"\x30\x82" + bytes(600)])
def test_what_is_no_certificate_still_has_a_fingerprint(der: bytes) -> None:
    found = certificate(der)
    assert found.unread
    assert found.fingerprint.startswith("sha256:")


# Asked for real

Answers = dict[tuple[str, str], bytes]
CREDENTIAL = Credential(username="ops", password=SecretStr("between us only"))
SESSIONS = "/redfish/v1/SessionService/Sessions"
DATE = "Date: Mon, 01 Mar 2027 12:00:00 GMT"


def answer(status: str, body: Any = None, *headers: str) -> bytes:
    raw = b"" if body is None else json.dumps(body).encode()
    lines = "".join(f"{header}\r\n" for header in headers)
    return f"HTTP/1.1 {status}\r\nContent-Length: {len(raw)}\r\n{lines}\r\n".encode() + raw


def error(key: str) -> dict[str, Any]:
    """An error body as DSP0266 'Error responses' has it."""
    return {"error": {"code": f"Base.1.18.{key}", "message": "No.", "@Message.ExtendedInfo": []}}


def body(path: str, **more: Any) -> bytes:
    return answer("200 OK", {"@odata.id": path, "@odata.type": "#X.v1_0_0.X", **more})


def link(path: str) -> dict[str, str]:
    return {"@odata.id": path}


def service(**replaced: bytes) -> Answers:
    """A tiny service, any answer of it replaced: root, chassis, managers, manager, login, logout."""
    root = {
        "RedfishVersion": "1.15.0",
        "Chassis": link("/redfish/v1/Chassis"),
        "Managers": link("/redfish/v1/Managers"),
    }
    told = {
        "root": body("/redfish/v1/", **root, Links={"Sessions": link(SESSIONS)}),
        "chassis": body("/redfish/v1/Chassis", Members=[]),
        "managers": body("/redfish/v1/Managers", Members=[link("/redfish/v1/Managers/1")]),
        "manager": body("/redfish/v1/Managers/1", DateTime="2027-01-15T08:00:00Z"),
        "login": answer("201 Created", {}, "X-Auth-Token: tkn", f"Location: {SESSIONS}/1"),
        "logout": answer("204 No Content"),
    } | replaced
    return {
        ("GET", "/redfish/v1/"): told["root"],
        ("GET", "/redfish/v1/Chassis"): told["chassis"],
        ("GET", "/redfish/v1/Managers"): told["managers"],
        ("GET", "/redfish/v1/Managers/1"): told["manager"],
        ("POST", SESSIONS): told["login"],
        ("DELETE", f"{SESSIONS}/1"): told["logout"],
    }


def serving(answers: Answers) -> Script:
    async def script(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while True:
            head = (await reader.readuntil(b"\r\n\r\n")).decode()
            method, path, _ = head.split(" ", 2)
            for line in head.split("\r\n"):
                if line.lower().startswith("content-length:"):
                    await reader.readexactly(int(line.partition(":")[2]))
            missing = answer("404 Not Found", error("ResourceMissingAtURI"))
            writer.write(answers.get((method, path), missing))  # an empty answer is none
            await writer.drain()

    return script


async def asked(
    answers: Answers, credential: Credential | None = CREDENTIAL, limit: float = 5.0
) -> tuple[Service, SessionEnd | None]:
    async with serve(serving(answers)) as served:
        settings = served.settings(credential=credential)
        recorder = Recorder(settings, timer=time.monotonic, limits=QUICK)
        async with Client(settings, transport=recorder, limits=QUICK) as client:
            found = await ask(client, recorder, now=lambda: NOW, limit=limit)
        return found, session_end(recorder.exchanges)


async def test_a_session_is_made_proven_and_deleted_again() -> None:
    found, end = await asked(service())
    assert found.login is not None
    assert found.login.way is Way.SESSION
    assert found.login.proof == "/redfish/v1/Chassis"
    assert found.login.over_http
    assert end == SessionEnd(deleted_status=204, sent=True)
    assert found.root is not None
    assert found.root.version == "1.15.0"
    # 1 800 000 000 s after the epoch is 2027-01-15T08:00:00Z (date -u -d @1800000000)
    assert found.clock == ClockRead(source="/redfish/v1/Managers/1", offset=0.5, spread=0.5)


UNAUTHORIZED = answer("401 Unauthorized", error("NoValidSession"))


@pytest.mark.parametrize(
    ("replaced", "result", "words"),
    [
        ({"login": answer("503 Service Unavailable", error("SessionLimitExceeded"))}, "to note", ["table is full"]),
        ({"login": answer("404 Not Found", error("ResourceMissingAtURI"))}, "to note", ["has no sessions"]),
        ({"login": UNAUTHORIZED}, "failed", [f"{SESSIONS}: login refused", "[credentials]"]),
        ({"chassis": UNAUTHORIZED}, "failed", ["/redfish/v1/Chassis: login refused"]),
        ({"chassis": answer("403 Forbidden", error("InsufficientPrivilege"))}, "failed", ["right to read"]),
        (
            {"login": answer("404 Not Found", error("ResourceMissingAtURI")), "chassis": UNAUTHORIZED},
            "failed",
            ["login refused"],
        ),
        ({"logout": answer("500 Oops", error("InternalError"))}, "to note", ["answered with 500"]),
        ({"login": answer("201 Created", {}, "X-Auth-Token: tkn")}, "to note", ["did not say where"]),
        ({"chassis": answer("500 Oops", error("InternalError"))}, "passed", ["session as ops"]),
    ],
)
async def test_logins_that_go_another_way(replaced: dict[str, bytes], result: str, words: list[str]) -> None:
    found, end = await asked(service(**replaced))
    assert found.login is not None
    findings = of_login(found.login, end)
    has(findings, result, *words)
    assert CREDENTIAL.password.get_secret_value() not in repr((found, end, findings))
    assert "tkn" not in repr((found, end))


async def test_a_service_that_wants_credentials_where_none_are_given() -> None:
    found, end = await asked(service(chassis=UNAUTHORIZED), credential=None)
    assert found.login is not None
    assert end is None
    has(of_login(found.login, end), "failed", "gives no credentials")


async def test_a_root_that_can_not_be_read_is_not_blamed_on_the_account() -> None:
    for root in (ok(b"<html>"), answer("404 Not Found"), answer("302 Found", None, "Location: https://192.0.2.1/")):
        found, end = await asked(service(root=root))
        assert found.login is None
        assert end is None
        assert found.root is not None
        assert found.root.failure is not None


async def test_the_clock_is_the_managers_else_the_headers() -> None:
    year_off = body("/redfish/v1/Managers/1", DateTime="2026-01-15T08:00:00Z")
    found, _ = await asked(service(manager=year_off))
    has(of_clock(found.clock), "failed", "365.0 days behind ours (/redfish/v1/Managers/1)")
    root = body("/redfish/v1/", Managers=link("/redfish/v1/Managers"), Links={"Sessions": link(SESSIONS)})
    dated = root.replace(b"\r\n", f"\r\n{DATE}\r\n".encode(), 1)
    for manager in (body("/redfish/v1/Managers/1", DateTime="soon"), answer("500 Oops")):
        found, _ = await asked(service(root=dated, manager=manager))
        assert found.clock is not None
        assert found.clock.source == "Date header"
        # 2027-03-01T12:00Z is 45 days and 4 hours after NOW
        assert found.clock.offset == pytest.approx(45 * DAY + 4 * 3600 + 0.5)
    found, _ = await asked(service(root=root, manager=answer("500 Oops")))
    assert found.clock is None


async def test_a_password_file_for_everybody_is_noted(tmp_path: Path) -> None:
    file = tmp_path / "ops"
    file.write_text("between us only")
    for mode, noted in ((0o644, 0o644), (0o640, 0o640), (0o600, None)):
        file.chmod(mode)
        found, _ = await asked(service(), replace(CREDENTIAL, password_file=file))
        assert found.login is not None
        assert found.login.password_mode == noted


async def test_what_hangs_behind_the_login_is_left_to_the_walk() -> None:
    answers = service(chassis=b"", manager=b"")  # never answered
    found, end = await asked(answers, limit=0.4)
    assert found.root is not None
    assert found.root.failure is None
    assert found.login is not None
    assert found.login.failure is None
    assert found.login.proof == "/redfish/v1/Managers", "the first of them that answers"
    assert found.clock is None
    assert end == SessionEnd(deleted_status=204, sent=True)
    found, _ = await asked(service(root=b""), limit=0.2)
    assert found.root is not None
    has(of_root(found.root), "failed", "no login and service root within 0.2 s", "overloaded")


async def test_names_are_resolved_as_the_collector_does_when_it_connects(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []

    class Known:
        async def addresses(self, host: str) -> Sequence[str]:
            asked.append(host)
            return ["127.0.0.1"]

    monkeypatch.setattr("collector.redfish.probe.names", Known)
    async with serve(says()) as served:
        settings = replace(served.settings(), url=served.url.replace("127.0.0.1", "bmc.example"))
        reached = await way(settings)
    assert reached.connected is not None
    assert reached.connected.address == "127.0.0.1"
    assert asked == ["bmc.example"]
