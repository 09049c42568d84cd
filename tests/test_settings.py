"""The fleet file: everything wrong with it is told at once, by key or line; secrets never print."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.settings import Settings, SettingsError, load
from tests.redfish.servers import make_identity

GOOD = """
[collector]
poll_interval = 10
listen = "127.0.0.1:9460"

[credentials.ops]
username = "monitor"
password_file = "secrets/ops"

[[controllers]]
name = "n2-e1-s1"
url = "https://192.0.2.17/"
credentials = "ops"
fingerprint = "sha256:{digest}"
location = {{ site = "Quellmark", row = "A", rack = "R02", offset = 4 }}
""".format(digest="AB:" * 31 + "AB")


def write(folder: Path, text: str, **files: str) -> Path:
    (folder / "secrets").mkdir(exist_ok=True)
    (folder / "secrets" / "ops").write_text("hunter-of-seals\n")
    for name, content in files.items():
        (folder / name.replace("__", ".")).write_text(content)
    path = folder / "fleet.toml"
    path.write_text(text)
    return path


def problems(path: Path, environ: dict[str, str] | None = None) -> list[str]:
    with pytest.raises(SettingsError) as caught:
        load(path, environ or {})
    return caught.value.problems


def test_reads_a_whole_file(tmp_path: Path) -> None:
    settings = load(write(tmp_path, GOOD), {})
    (controller,) = settings.controllers
    assert controller.url == "https://192.0.2.17"
    assert controller.fingerprint == "sha256:" + "ab" * 32
    assert controller.location.text == "Quellmark / A / R02 / U5"
    assert controller.credential is not None
    assert controller.credential.password.get_secret_value() == "hunter-of-seals"
    assert settings.collector.round_deadline == 8.0


def test_secrets_never_print(tmp_path: Path) -> None:
    settings = load(write(tmp_path, GOOD), {})
    assert "hunter-of-seals" not in repr(settings) + str(settings)


def test_controllers_from_csv_with_inline_ones(tmp_path: Path) -> None:
    text = GOOD.replace("[collector]", '[collector]\ncontrollers_file = "more.csv"')
    table = "name,url,credentials,insecure,rack,offset\nx1,https://127.0.0.1:8443,ops,true,R9,12\nx2,http://127.0.0.1:80,,,,\n"
    settings = load(write(tmp_path, text, more__csv=table), {})
    assert [c.name for c in settings.controllers] == ["n2-e1-s1", "x1", "x2"]
    assert settings.controllers[1].insecure
    assert settings.controllers[1].location.rack == "R9"
    assert settings.controllers[1].location.offset == 12.0
    assert settings.controllers[2].credential is None


def test_every_error_at_once_with_its_key(tmp_path: Path) -> None:
    text = """
[collector]
poll_intervall = 10
listen = "nowhere"
controllers_file = "more.csv"
[credentials.ops]
username = "monitor"
[[controllers]]
name = "bad name"
url = "ftp://x"
[[controllers]]
name = "a"
url = "https://user:pw@h/x"
insecure = "perhaps"
"""
    found = problems(write(tmp_path, text, more__csv="name,url,colour\nb,https://h:99999,red\n"))
    for expected in (
        "collector.poll_intervall: unknown key",
        "collector.listen: must be host:port",
        "credentials.ops: needs exactly one of password_file and password_env",
        "controllers[0]: name: must be 1 to 64",
        "controllers[0]: url: must be https://",
        "controllers[1]: url: must not carry credentials",
        "controllers[1]: insecure:",
        "more.csv line 1: unknown column 'colour'",
        "more.csv line 2: url: is not a URL",
    ):
        assert any(problem.startswith(expected) for problem in found), (expected, found)
    assert "user:pw" not in " ".join(found)


def test_duplicates_missing_secrets_and_files(tmp_path: Path) -> None:
    text = """
[credentials.ops]
username = "monitor"
password_env = "OPS_PASSWORD"
[credentials.lost]
username = "monitor"
password_file = "secrets/none"
[[controllers]]
name = "a"
url = "https://h1"
credentials = "ops"
[[controllers]]
name = "a"
url = "https://h1"
credentials = "nobody"
ca_file = "none.pem"
"""
    found = problems(write(tmp_path, text))
    for expected in (
        "credentials.ops.password_env: the environment variable OPS_PASSWORD is not set",
        "credentials.lost.password_file: secrets/none can't be read",
        "controllers[1]: name: 'a' stands already at controllers[0]",
        "controllers[1]: url: 'https://h1' stands already at controllers[0]",
        "controllers[1]: credentials: no [credentials.nobody]",
        "controllers[1]: ca_file: no such file: none.pem",
    ):
        assert any(problem.startswith(expected) for problem in found), (expected, found)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", "controllers: none given"),
        ("[collector", "is not TOML"),
        ('controllers = "x"', "controllers: Input should be a valid list"),
        ('collector = "x"', "collector: Input should be"),
        ("[[controllers]]\nurl = 'https://h'", "controllers[0]: name: Field required"),
        (
            "[[controllers]]\nname = 'h'\nurl = 'https://h'\nlocation = { rak = 'x' }",
            "controllers[0]: location.rak: unknown",
        ),
        ("[[controllers]]\nname = 'h'\nurl = 'http://h'\ninsecure = true", "controllers[0]: ca_file, fingerprint"),
        (
            "[[controllers]]\nname = 'h'\nurl = 'https://h'\nfingerprint = 'md5:00'",
            "controllers[0]: fingerprint: must be",
        ),
        ("[[controllers]]\nname = 'h'\nurl = 'https://a..b'", "controllers[0]: url: holds a host name with an empty"),
        ("[[controllers]]\nname = 'h'\nurl = 'https://" + "x" * 64 + "'", "controllers[0]: url: holds a host name"),
        ("[mqtt]\nport = 99999", "mqtt.host: Field required"),
    ],
)
def test_one_wrong_thing(tmp_path: Path, text: str, expected: str) -> None:
    assert any(problem.startswith(expected) for problem in problems(write(tmp_path, text))), problems(
        write(tmp_path, text)
    )


def test_no_file(tmp_path: Path) -> None:
    assert problems(tmp_path / "none.toml") == ["can't be read: No such file or directory"]


def test_settings_are_frozen(tmp_path: Path) -> None:
    settings: Settings = load(write(tmp_path, GOOD), {})
    with pytest.raises(AttributeError, match="cannot assign"):
        settings.path = tmp_path  # type: ignore[misc]


LISTENING = """
[events]
listen = "0.0.0.0:9461"
advertise = "https://collector.example:9461/"
cert_file = "server.pem"
key_file = "server.pem"
[[controllers]]
name = "a"
url = "https://h1"
"""


def test_a_listener_for_events(tmp_path: Path) -> None:
    make_identity(tmp_path)
    events = load(write(tmp_path, LISTENING), {}).events
    assert events is not None
    assert events.listen_address == ("0.0.0.0", 9461)
    assert events.advertise == "https://collector.example:9461", "paths are put behind it"
    assert events.cert_file == events.key_file == tmp_path / "server.pem"


def test_none_unless_asked_for(tmp_path: Path) -> None:
    assert load(write(tmp_path, "[[controllers]]\nname = 'a'\nurl = 'https://h'"), {}).events is None


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (("0.0.0.0:9461", "9461"), "events.listen: must be host:port"),
        (("https://collector.example:9461/", "collector.example"), "events.advertise: must be https://host"),
        (("https://collector.example:9461/", "https://collector.example:0"), "events.advertise: must be https://host"),
        (("https://collector.example:9461/", "https://a:b@collector.example"), "events.advertise: takes scheme, host"),
        (("https://collector.example:9461/", "https://collector.example/?a"), "events.advertise: takes scheme, host"),
        (("https://collector.example:9461/", "http://collector.example"), "events: has a certificate, but"),
        (('cert_file = "server.pem"', ""), "events: needs cert_file and key_file together"),
        (('cert_file = "server.pem"\nkey_file = "server.pem"', ""), "events: needs cert_file and key_file, since"),
        (('cert_file = "server.pem"', 'cert_file = "none.pem"'), "events.cert_file: no such file: none.pem"),
        (('key_file = "server.pem"', 'key_file = "ca.pem"'), "events.cert_file: server.pem and ca.pem can't be used"),
        (("listen =", "listne ="), "events.listne: unknown key"),
        (('advertise = "https://collector.example:9461/"', ""), "events.advertise: Field required"),
    ],
)
def test_what_is_wrong_with_a_listener(tmp_path: Path, change: tuple[str, str], expected: str) -> None:
    make_identity(tmp_path)
    found = problems(write(tmp_path, LISTENING.replace(*change, 1)))
    assert any(problem.startswith(expected) for problem in found), found


def test_what_people_may_have_done(tmp_path: Path) -> None:
    more = """
[actions]
power = true
locate_minutes = 5

[credentials.hands]
username = "hands"
password_env = "HANDS"
"""
    text = (
        GOOD.replace('credentials = "ops"', 'credentials = "ops"\naction_credentials = "hands"\npower = false') + more
    )
    text = text.replace("[collector]", '[collector]\ncontrollers_file = "more.csv"')
    table = "name,url,action_credentials,power\nb,https://b,hands,true\nc,https://c,,\n"
    settings = load(write(tmp_path, text, more__csv=table), {"HANDS": "a second secret"})
    told = {each.name: (each.power, each.action_credential) for each in settings.controllers}
    assert (settings.actions.power, settings.actions.locate, settings.actions.locate_minutes) == (True, True, 5.0)
    assert {name: power for name, (power, _) in told.items()} == {"n2-e1-s1": False, "b": True, "c": None}
    assert {name for name, (_, credential) in told.items() if credential is not None} == {"n2-e1-s1", "b"}
    assert "a second secret" not in repr(settings)
    wrong = text.replace('action_credentials = "hands"', 'action_credentials = "nobody"')
    found = problems(write(tmp_path, wrong, more__csv=table), {"HANDS": "a second secret"})
    assert found == ["controllers[0]: action_credentials: no [credentials.nobody] in this file"]
    assert not load(write(tmp_path, GOOD), {}).actions.power, "nothing is switched unless somebody says so"
