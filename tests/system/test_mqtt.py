"""The MQTT publisher against a real broker, Debian's mosquitto: killed, restarted, protected, silent, away."""

from __future__ import annotations

import asyncio
import gc
import ipaddress
import json
import math
import shutil
import signal
import subprocess
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from msgspec import structs
from pydantic import SecretStr

from collector.model import Health, Kind, Outcome, Status
from collector.publish.errors import BrokerSetup
from collector.publish.mqtt import QUEUE, MqttPublisher
from collector.settings import MqttSettings
from tests.conftest import ROOT
from tests.publish.fleet import NOON, Fleet, margin, order, part, sensor, sled, trouble
from tests.system.broker import Broker, broker, free_port, looking, retained, until

pytestmark = pytest.mark.system

NAMES = ("n1", "n2", "n3")
ME = "sledkeeper/1/_collector/me"


def publisher(fleet: Fleet, port: int, **more: Any) -> MqttPublisher:
    settings = MqttSettings(host="127.0.0.1", port=port, client_id="me")
    return MqttPublisher(settings, None, fleet.live, fleet.feed, version="0.1.0", first_delay=0.05, **more)


@asynccontextmanager
async def running(one: MqttPublisher) -> AsyncIterator[MqttPublisher]:
    task = asyncio.create_task(one.run())
    try:
        yield one
    finally:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task


async def state_of(port: int, topic: str = ME) -> Any:
    payload = (await retained(port, topic)).get(topic)
    return None if payload is None else json.loads(payload)


async def settled(port: int, fleet: Fleet) -> dict[str, bytes]:
    """What is retained once it is as the live state says; fails after a while telling the difference."""
    wanted = expected(fleet)
    for _ in range(300):
        found = {topic: payload for topic, payload in (await retained(port)).items() if "/_collector/" not in topic}
        facts = {topic: essence(topic, payload) for topic, payload in found.items()}
        if facts == wanted:
            return found
        await asyncio.sleep(0.05)
    assert facts == wanted
    raise AssertionError("unreachable")


def essence(topic: str, payload: bytes) -> Any:
    """What a message says, less its wording: enough to compare with the live state."""
    body = json.loads(payload)
    match topic.split("/")[3]:
        case "readings":
            return {(of, name): value for of, each in body["readings"].items() for name, value in each.items()}
        case "sensors":
            return [(each["part"], each["sensor"], each["unit"]) for each in body["sensors"]]
        case "state":
            return body["up"]
        case "conditions" | "troubles":
            return body["severity"]
        case "orders":
            return (body["urgency"], body["part"])
        case "margins":
            return {(each["part"], each["kind"]): each["left"] for each in body["margins"]}
        case _:
            return (body["part"], body.get("health"), body.get("lamps"), body.get("reported", {}).get("power"))


def expected(fleet: Fleet) -> dict[str, Any]:
    """The same from the live state, put together here independently of the publisher."""
    wanted: dict[str, Any] = {}
    for name, known in fleet.live.controllers.items():
        outcome = known.tally.outcome
        wanted[f"sledkeeper/1/{name}/state"] = None if outcome is None else outcome in (Outcome.OK, Outcome.PARTIAL)
        for condition in known.conditions.values():
            wanted[f"sledkeeper/1/{name}/conditions/{condition.id}"] = condition.severity.word
        for each_trouble in known.troubles.values():
            wanted[f"sledkeeper/1/{name}/troubles/{each_trouble.id}"] = each_trouble.severity.word
        for each_order in known.orders.values():
            level = each_order.id.replace("/", "%2F")
            wanted[f"sledkeeper/1/{name}/orders/{level}"] = (each_order.urgency.value, each_order.part)
        if known.margins:
            left = {(each.part, each.kind.value): each.left for each in known.margins.values()}
            wanted[f"sledkeeper/1/{name}/margins"] = left
        if known.inventory is None or known.frame is None:
            continue
        layout = known.inventory.layout.sensors
        wanted[f"sledkeeper/1/{name}/sensors"] = [(each.part, each.sensor, each.unit) for each in layout]
        wanted[f"sledkeeper/1/{name}/readings"] = {
            (each.part, each.sensor): None if math.isnan(value) else value
            for each, value in zip(layout, known.frame.values, strict=True)
        }
        for each in known.inventory.parts:
            rolled, lamps, status = known.rolled.get(each.id), known.lamps.get(each.id), known.statuses.get(each.id)
            level = each.uri.removeprefix("/redfish/v1/").replace("%", "%25").replace("#", "%23").replace("/", "%2F")
            wanted[f"sledkeeper/1/{name}/parts/{level}"] = (
                each.id,
                rolled and rolled.own.word,
                lamps and {"blue": lamps.blue.value, "amber": lamps.amber.value},
                status and status.power.value,
            )
    return wanted


@pytest.fixture
def fleet() -> Fleet:
    fleet = Fleet(*NAMES)
    fleet.walk(sled("n1"))
    fleet.walk(sled("n2", blades=4))
    fleet.poll("n3", NOON, outcome=Outcome.UNREACHABLE, error="refused")
    return fleet


async def test_the_broker_holds_what_the_live_state_holds_also_after_it_forgot_everything(
    tmp_path: Path, fleet: Fleet
) -> None:
    with broker(tmp_path) as server:
        async with running(publisher(fleet, server.port)) as mqtt:
            before = await settled(server.port, fleet)
            assert len(before) > 10
            online = await state_of(server.port)
            assert (online["state"], online["complete"], online["version"]) == ("online", True, "0.1.0")

            fleet.poll("n1", NOON + 30, [4200.0, 50.0, 310.0, math.nan, 298.25])
            fleet.poll("n2", NOON + 30, [0.0] + [25.0, 300.0] * 4, {"Fan1": Status(health=Health.CRITICAL)})
            during = await settled(server.port, fleet)
            assert sum("/conditions/" in topic for topic in during) == 2

            server.kill()
            await until(lambda: not mqtt.statistics().connected)
            fleet.poll("n1", NOON + 60, [4200.0, 25.0, 310.0, 26.0, 298.25])  # well again
            fleet.without_part("n2", "Blade4", NOON + 60)
            fleet.walk(sled("n3"))
            server.start()
            after = await settled(server.port, fleet)
            assert not any(topic.startswith("sledkeeper/1/n1/conditions/") for topic in after)
            assert "sledkeeper/1/n2/parts/Blade4" not in after
            assert "sledkeeper/1/n3/parts/Blade1" in after
            await until(lambda: mqtt.statistics().connected)
            assert mqtt.statistics().failures >= 1
            assert mqtt.statistics().retained == len(after) + 1
        assert (await state_of(server.port)) == {"state": "offline"}, "said by itself on a clean end"


async def test_answers_are_told_where_the_trouble_began_and_deleted_when_they_close(
    tmp_path: Path, fleet: Fleet
) -> None:
    found = trouble("n1", "Fan1")
    with broker(tmp_path) as server:
        async with running(publisher(fleet, server.port)):
            fleet.answer("n2", NOON + 30, troubles=(found,), orders=(order(found),), margins=(margin("n2", "Blade1"),))
            held = await settled(server.port, fleet)
            assert f"sledkeeper/1/n1/troubles/{found.id}" in held
            assert sum("/orders/" in topic for topic in held) == 1
            assert "sledkeeper/1/n2/margins" in held
            body = json.loads(held[f"sledkeeper/1/n1/troubles/{found.id}"])
            assert [(each["fault"], each["probability"]) for each in body["suspects"]] == [("seized", 0.9)]
        # While nobody tells, it closes; the next run finds its topics left and deletes them.
        ended = structs.replace(found, closed=NOON + 60)
        fleet.answer("n3", NOON + 60, troubles=(ended,), orders=(structs.replace(order(found), closed=NOON + 60),))
        async with running(publisher(fleet, server.port)):
            held = await settled(server.port, fleet)
            assert not any("/troubles/" in topic or "/orders/" in topic for topic in held)
            assert "sledkeeper/1/n2/margins" in held


async def test_what_is_gone_is_deleted_at_once(tmp_path: Path, fleet: Fleet) -> None:
    with broker(tmp_path) as server:
        async with running(publisher(fleet, server.port)):
            fleet.poll("n1", NOON + 30, [4200.0, 50.0, 310.0, 25.0, 298.25])
            assert sum("/conditions/" in topic for topic in await settled(server.port, fleet)) == 1
            fleet.poll("n1", NOON + 60, [4200.0, 25.0, 310.0, 25.0, 298.25])
            fleet.without_part("n2", "Blade3", NOON + 60)
            after = await settled(server.port, fleet)
            assert not any("/conditions/" in topic and "/n1/" in topic for topic in after)


async def test_a_follower_sees_events_once_and_changes_as_they_come(tmp_path: Path, fleet: Fleet) -> None:
    with broker(tmp_path) as server:
        async with running(publisher(fleet, server.port)), looking(server.port) as client:
            await settled(server.port, fleet)
            await client.subscribe("sledkeeper/1/n1/events", qos=1)
            await client.subscribe("sledkeeper/1/n1/conditions/+", qos=1)
            fleet.poll("n1", NOON + 30, [4200.0, 50.0, 310.0, 25.0, 298.25])
            fleet.poll("n1", NOON + 60, [4200.0, 25.0, 310.0, 25.0, 298.25])
            events: list[str] = []
            kept: list[bytes] = []
            async with asyncio.timeout(30):
                async for message in client.messages:
                    assert isinstance(message.payload, bytes)
                    if message.topic.matches("sledkeeper/1/n1/events"):
                        events.append(json.loads(message.payload)["subject"])
                    else:
                        kept.append(message.payload)
                    if events[-1:] == ["condition closed"]:
                        break
            assert events == ["condition opened", "condition closed"]
        assert not any(topic.endswith("/events") for topic in await retained(server.port)), "events are not retained"
        assert all(payload == b"" or json.loads(payload)["severity"] == "Critical" for payload in kept)


async def test_a_killed_publisher_leaves_a_will_that_says_offline(tmp_path: Path) -> None:
    topic = "sledkeeper/1/_collector/child"
    with broker(tmp_path) as server:
        async with looking(server.port) as client:
            await client.subscribe(topic, qos=1)
            child = subprocess.Popen([sys.executable, "-m", "tests.system.mqtt_child", str(server.port)], cwd=ROOT)
            try:
                said: list[Any] = []
                async with asyncio.timeout(60):
                    async for message in client.messages:
                        assert isinstance(message.payload, bytes)
                        said.append(json.loads(message.payload))
                        if said[-1].get("complete"):
                            child.send_signal(signal.SIGKILL)
                        if said[-1]["state"] == "offline":
                            break
            finally:
                child.kill()
                child.wait()
        assert [(each["state"], each.get("complete")) for each in said] == [
            ("online", False),
            ("online", True),
            ("offline", None),
        ]
        assert await state_of(server.port, topic) == {"state": "offline"}, "retained for those who come later"
        assert any("/n1/parts/" in each for each in await retained(server.port))


async def test_what_an_earlier_run_left_behind_is_swept(tmp_path: Path, fleet: Fleet) -> None:
    with broker(tmp_path) as server:
        fleet.poll("n1", NOON + 30, [4200.0, 50.0, 310.0, 25.0, 298.25])
        async with running(publisher(fleet, server.port)):
            earlier = await settled(server.port, fleet)
        async with looking(server.port) as client:
            await client.publish("sledkeeper/1/other/parts/x", b'{"part":"other:x"}', retain=True, qos=1)
            await client.publish("sledkeeper/1/other/state", b'{"told_by":"somebody else"}', retain=True, qos=1)
        later = Fleet("n1", "n2")  # n3 left the fleet file
        async with running(publisher(later, server.port)) as mqtt:
            await until(lambda: mqtt.statistics().connected)
            while not (await state_of(server.port)).get("complete"):
                await asyncio.sleep(0.01)
            found = set(await retained(server.port))
            assert not any("/n3/" in topic for topic in found)
            assert not any("/conditions/" in topic for topic in found), "the store told of none that is open"
            assert {"sledkeeper/1/other/parts/x", "sledkeeper/1/other/state"} <= found, "not ours to delete"
            before = {topic for topic in earlier if "/n1/parts/" in topic or "/n2/parts/" in topic}
            assert before <= found, "not walked yet: they may well be there"
            later.walk(sled("n1", blades=1))
            later.walk(sled("n2"))
            async with looking(server.port) as client:
                for topic in ("sledkeeper/1/other/parts/x", "sledkeeper/1/other/state"):
                    await client.publish(topic, b"", retain=True, qos=1)
            after = await settled(server.port, later)
            assert not any("/n1/parts/Blade2" in topic or "/n2/parts/Blade4" in topic for topic in after)


async def test_names_of_any_kind_reach_the_broker(tmp_path: Path) -> None:
    names = ["a+b", "c#d", "e/f", "nul\x00", "温度", "\ud800", "\ufffe", "\x85", "y" * 5000, "$SYS", "%41"]
    fleet = Fleet("n1")
    walked = sled("n1", sensors=[sensor("n1", name, name) for name in names])
    fleet.walk(structs.replace(walked, parts=tuple(part("n1", name, Kind.OTHER) for name in names), statuses={}))
    with broker(tmp_path) as server:
        async with running(publisher(fleet, server.port)) as mqtt:
            await until(lambda: mqtt.statistics().retained == len(names) + 4)
            while not (await state_of(server.port)).get("complete"):
                await asyncio.sleep(0.01)
            found = [topic for topic in await retained(server.port) if "/parts/" in topic]
            assert len(found) == len(names)
            assert "sledkeeper/1/n1/parts/a%2Bb" in found
            assert "c#d" in {unquote(topic.rpartition("/")[2]) for topic in found}
            assert mqtt.statistics().failures == 0


async def test_a_broker_that_is_away_slows_nobody_and_gets_everything_once_it_is_there(
    tmp_path: Path, fleet: Fleet
) -> None:
    server = Broker(tmp_path)
    async with running(publisher(fleet, server.port)) as mqtt:
        for number in range(5 * QUEUE):
            fleet.poll("n1", NOON + number, [4200.0, 25.0, 310.0, 25.0, float(number)])
        (queue,) = fleet.feed.statistics().subscriptions
        assert queue.queued <= QUEUE + len(NAMES)
        assert queue.merged > 0
        await until(lambda: mqtt.statistics().failures >= 3)
        assert str(server.port) in (mqtt.statistics().last_error or "")
        server.start()
        try:
            await settled(server.port, fleet)
            assert mqtt.statistics().last_error is None
        finally:
            server.kill()


async def test_a_silent_server_is_given_up_and_left_cleanly(fleet: Fleet) -> None:
    """It takes the connection and says nothing; and an end in the middle of connecting leaves nothing behind."""
    port = free_port()
    writers: list[asyncio.StreamWriter] = []

    async def silent(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writers.append(writer)
        await reader.read()

    async with await asyncio.start_server(silent, "127.0.0.1", port):
        async with running(publisher(fleet, port, timeout=0.2)) as mqtt:
            await until(lambda: mqtt.statistics().failures >= 2)
            assert "timed out" in (mqtt.statistics().last_error or "")
            await until(lambda: len(writers) > mqtt.statistics().failures)
        for writer in writers:
            writer.close()


async def test_an_unknown_host_is_an_error_to_try_again(fleet: Fleet) -> None:
    settings = MqttSettings(host="broker.invalid", client_id="me")
    one = MqttPublisher(settings, None, fleet.live, fleet.feed, version="0", first_delay=0.01)
    async with running(one):
        await until(lambda: one.statistics().failures >= 2)
    assert "broker.invalid" in (one.statistics().last_error or "")


async def test_it_ends_when_the_feed_closes(tmp_path: Path, fleet: Fleet) -> None:
    with broker(tmp_path) as server:
        mqtt = publisher(fleet, server.port)
        task = asyncio.create_task(mqtt.run())
        await settled(server.port, fleet)
        fleet.poll("n1", NOON + 30, [4200.0, 50.0, 310.0, 25.0, 298.25])
        fleet.feed.close()
        async with asyncio.timeout(30):
            await task
        assert await state_of(server.port) == {"state": "offline"}
        await settled(server.port, fleet)


# Passwords and certificates


def certificates(folder: Path) -> None:
    """A CA, a server certificate of it for 127.0.0.1, and another CA, as PEM files."""

    def key_file(name: str) -> ec.EllipticCurvePrivateKey:
        key = ec.generate_private_key(ec.SECP256R1())
        form = serialization.PrivateFormat.TraditionalOpenSSL
        pem = key.private_bytes(serialization.Encoding.PEM, form, serialization.NoEncryption())
        (folder / f"{name}.key").write_bytes(pem)
        return key

    def certificate(name: str, key: Any, issuer: str, issuer_key: Any, *, ca: bool) -> None:
        now = datetime.now(UTC)
        builder = (
            x509.CertificateBuilder()
            .subject_name(x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, name)]))
            .issuer_name(x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, issuer)]))
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - timedelta(hours=1))
            .not_valid_after(now + timedelta(days=1))
            .add_extension(x509.BasicConstraints(ca=ca, path_length=None), critical=True)
        )
        if ca:
            usage = dict.fromkeys(
                (
                    "digital_signature",
                    "content_commitment",
                    "key_encipherment",
                    "data_encipherment",
                    "key_agreement",
                    "encipher_only",
                    "decipher_only",
                ),
                False,
            )
            builder = builder.add_extension(x509.KeyUsage(key_cert_sign=True, crl_sign=True, **usage), critical=True)
        else:
            address = x509.IPAddress(ipaddress.ip_address("127.0.0.1"))
            builder = builder.add_extension(x509.SubjectAlternativeName([address]), critical=False)
        pem = builder.sign(issuer_key, hashes.SHA256()).public_bytes(serialization.Encoding.PEM)
        (folder / f"{name}.pem").write_bytes(pem)

    ca, other, server = key_file("ca"), key_file("other"), key_file("server")
    certificate("ca", ca, "ca", ca, ca=True)
    certificate("other", other, "other", other, ca=True)
    certificate("server", server, "ca", ca, ca=False)


@pytest.mark.filterwarnings("ignore:unclosed <ssl.SSLSocket:ResourceWarning")
async def test_tls_and_password(tmp_path: Path, fleet: Fleet) -> None:
    tool = shutil.which("mosquitto_passwd")
    if tool is None:
        pytest.skip("the Debian package mosquitto is missing: no mosquitto_passwd")
    certificates(tmp_path)
    subprocess.run([tool, "-b", "-c", str(tmp_path / "users"), "sled", "right"], check=True, capture_output=True)
    extra = (
        f"password_file {tmp_path}/users\ncertfile {tmp_path}/server.pem\nkeyfile {tmp_path}/server.key\n"
        f"cafile {tmp_path}/ca.pem\n"
    )

    async def tried(ca: str, password: str) -> tuple[bool, str]:
        """Whether it came through, else why not."""
        settings = MqttSettings(host="127.0.0.1", port=server.port, username="sled", ca_file=tmp_path / ca)
        one = MqttPublisher(settings, SecretStr(password), fleet.live, fleet.feed, version="0", first_delay=0.05)
        async with running(one):
            await until(lambda: one.statistics().published > 0 or one.statistics().failures > 0)
            told = one.statistics()
        assert password not in repr(vars(one))
        return told.published > 0, told.last_error or ""

    with broker(tmp_path, extra, anonymous=False) as server:
        assert await tried("ca.pem", "right") == (True, "")
        through, why = await tried("ca.pem", "wrong")
        assert not through
        assert "not authori" in why.lower()
        through, why = await tried("other.pem", "right")
        assert not through
        assert "certificate" in why.lower()
    gc.collect()  # paho-mqtt leaves the socket of a failed handshake to be closed by the garbage collector


def test_a_ca_file_that_is_none_is_told_at_the_start(tmp_path: Path, fleet: Fleet) -> None:
    (tmp_path / "ca.pem").write_text("no certificate")
    for name in ("ca.pem", "missing.pem"):
        settings = MqttSettings(host="127.0.0.1", ca_file=tmp_path / name)
        with pytest.raises(BrokerSetup, match=rf"mqtt\.ca_file: .*{name}"):
            MqttPublisher(settings, None, fleet.live, fleet.feed, version="0")


def test_the_default_client_id_is_the_same_for_the_same_fleet() -> None:
    def client_id(*names: str) -> str:
        fleet = Fleet(*names)
        return MqttPublisher(MqttSettings(host="h"), None, fleet.live, fleet.feed, version="0").client_id

    assert client_id("n1", "n2") == client_id("n2", "n1")
    assert client_id("n1", "n2") != client_id("n1", "n3")
    assert client_id("n1").startswith("sledkeeper-")
    assert len(client_id("n1")) <= 23, "what every broker must take (MQTT 5, 3.1.3.1)"
