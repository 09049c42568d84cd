"""How the pages are served: the command line and the environment of their Streamlit server.

Nothing of the server calls out: usage statistics, the e-mail prompt, help links and the file watcher are off, and
fonts and scripts come with the server itself.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
from pathlib import Path
from urllib.parse import urlsplit

from dashboard.people import NOBODY_SIGNS_IN, PEOPLE, People, secret_in

HERE = Path(__file__).resolve().parent
APP = HERE / "entry" / "app.py"
THEME = HERE / "theme.toml"
PUBLIC_URL = "SLEDKEEPER_PUBLIC_URL"
"""Environment variable with the pages' own address."""

_OPTIONS: dict[str, str] = {
    "server.headless": "true",
    "server.showEmailPrompt": "false",
    "server.fileWatcherType": "none",
    "server.runOnSave": "false",
    "browser.gatherUsageStats": "false",
    "runner.magicEnabled": "false",
    "client.toolbarMode": "minimal",
    "client.showErrorDetails": "type",
    "client.showErrorLinks": "false",
    "client.showSidebarNavigation": "false",
    "logger.level": "warning",
    "theme.base": str(THEME),
}


def command(
    state_dir: Path,
    port: int,
    host: str = "127.0.0.1",
    people: People = NOBODY_SIGNS_IN,
    secrets: Path | None = None,
) -> list[str]:
    """The command that serves the pages of ``state_dir`` on ``host``:``port``; it runs until it is told to end.

    ``secrets``: what :func:`sign_in_secrets` made, where people sign in.
    """
    options = {**_OPTIONS, "server.address": host, "server.port": str(port), "browser.serverAddress": host}
    if people.sign_in is not None:
        options["browser.serverAddress"] = urlsplit(people.sign_in.redirect_uri).hostname or host
    if secrets is not None:
        options["secrets.files"] = str(secrets)
    argv = [sys.executable, "-m", "dashboard.start", "--state", str(state_dir), "--"]
    return argv + [f"--{name}={value}" for name, value in options.items()]


def environment(public_url: str = "", people_file: Path | None = None) -> dict[str, str]:
    """What the server needs in its environment, beyond what it inherits.

    ``public_url``: where others reach the pages, for what is printed; "" to take what each browser asked for.
    """
    told = {"PYTHONUNBUFFERED": "1", "STREAMLIT_BROWSER_GATHER_USAGE_STATS": "false"}
    told[PEOPLE] = "" if people_file is None else str(people_file.resolve())
    return {**told, PUBLIC_URL: public_url} if public_url else told


def checked_url(told: str) -> str:
    """The pages' own address without a trailing slash; raises ``ValueError``, one sentence, where it can't be one."""
    try:
        split = urlsplit(told)
        port = split.port
    except ValueError as error:
        raise ValueError(f"{told!r} is no address: {error}") from error
    if split.scheme not in ("http", "https") or not split.hostname or port == 0:
        raise ValueError(f"{told!r} is no address of pages: it begins with https:// or http:// and names a host")
    if split.query or split.fragment or split.username is not None:
        raise ValueError(f"{told!r} may hold a scheme, a host, a port and a path, nothing else")
    return told.rstrip("/")


def sign_in_secrets(people: People) -> tuple[Path, int | None] | None:
    """What Streamlit wants to read for signing in, where only this process and the one that it becomes can read it.

    On Linux that is memory, and a link to it in a folder of its own, since Streamlit wants a name that ends so: no
    secret is on any disk. The descriptor is given too, and must be inherited. Elsewhere it is a file in such a
    folder, which only this user can read. None where nobody signs in.
    """
    sign_in = people.sign_in
    if sign_in is None:
        return None
    told = {
        "redirect_uri": sign_in.redirect_uri,
        "cookie_secret": secret_in(sign_in.cookie_secret_file),
        "client_id": sign_in.client_id,
        "client_secret": secret_in(sign_in.client_secret_file),
        "server_metadata_url": sign_in.metadata_url,
    }
    text = "[auth]\n" + "".join(f"{key} = {json.dumps(value)}\n" for key, value in told.items())
    path = Path(tempfile.mkdtemp(prefix="sledkeeper-sign-in-")) / "sign-in.toml"
    if hasattr(os, "memfd_create"):
        descriptor = os.memfd_create("sledkeeper-sign-in", 0)
        os.write(descriptor, text.encode())
        os.set_inheritable(descriptor, True)
        path.symlink_to(f"/proc/self/fd/{descriptor}")
        return path, descriptor
    path.touch(mode=0o600)
    path.write_text(text, encoding="utf-8")
    return path, None
