"""How the pages are served: the command line and the environment of their Streamlit server.

Nothing of the server calls out: usage statistics, the e-mail prompt, help links and the file watcher are off, and
fonts and scripts come with the server itself.
"""

from __future__ import annotations

import sys
from pathlib import Path
from urllib.parse import urlsplit

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


def command(state_dir: Path, port: int, host: str = "127.0.0.1") -> list[str]:
    """The command that serves the pages of ``state_dir`` on ``host``:``port``; it runs until it is told to end."""
    options = {**_OPTIONS, "server.address": host, "server.port": str(port), "browser.serverAddress": host}
    argv = [sys.executable, "-m", "dashboard.start", "--state", str(state_dir), "--"]
    return argv + [f"--{name}={value}" for name, value in options.items()]


def environment(public_url: str = "") -> dict[str, str]:
    """What the server needs in its environment, beyond what it inherits.

    ``public_url``: where others reach the pages, for what is printed; "" to take what each browser asked for.
    """
    told = {"PYTHONUNBUFFERED": "1", "STREAMLIT_BROWSER_GATHER_USAGE_STATS": "false"}
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
