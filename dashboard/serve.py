"""How the pages are served: the command line and the environment of their Streamlit server.

Nothing of the server calls out: usage statistics, the e-mail prompt, help links and the file watcher are off, and
fonts and scripts come with the server itself.
"""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
APP = HERE / "entry" / "app.py"
THEME = HERE / "theme.toml"

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
    argv = [sys.executable, "-m", "streamlit", "run", str(APP)]
    argv += [f"--{name}={value}" for name, value in options.items()]
    return [*argv, "--", "--state", str(state_dir)]


def environment() -> dict[str, str]:
    """What the server needs in its environment, beyond what it inherits."""
    return {"PYTHONUNBUFFERED": "1", "STREAMLIT_BROWSER_GATHER_USAGE_STATS": "false"}
