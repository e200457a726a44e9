"""The browser: Debian's Chromium, headless, from an empty profile, never on the network."""

import html
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "host"))  # the made-up classes

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
    "--enable-logging=stderr",
    # Every name and address is answered by nothing, so that a page that asked would be seen to.
    "--proxy-server=127.0.0.1:9",
)


PHONE_WIDE = 390


def on_phone(text: str, high: int = 800, wide: int = PHONE_WIDE) -> str:
    """Return a page's text in a frame as wide as a phone: no window is narrower than 500."""
    look = f"border: 0; width: {wide}px; height: {high}px"
    frame = f'<iframe style="{look}" srcdoc="{html.escape(text)}"></iframe>'
    return f'<!doctype html><title></title><body style="margin: 0">{frame}</body>'


class Browser:
    """Runs Chromium once for each question; ``said`` is what it logged."""

    def __init__(self, command: str, folder: Path) -> None:
        self._command = command
        self._folder = folder
        self._runs = 0

    def run(self, page: Path, *flags: str) -> "subprocess.CompletedProcess[str]":
        self._runs += 1
        profile = self._folder / f"profile{self._runs}"
        net = self._folder / f"net{self._runs}.json"
        done = subprocess.run(
            [
                self._command,
                *FLAGS,
                f"--user-data-dir={profile}",
                f"--log-net-log={net}",
                *flags,
                page.as_uri(),
            ],
            capture_output=True,
            text=True,
            timeout=60,
        )
        self.net = net.read_text(encoding="utf-8") if net.exists() else ""
        return done


@pytest.fixture
def browser(tmp_path):
    command = shutil.which("chromium")
    if command is None:
        pytest.skip("no chromium here: apt-get install chromium")
    return Browser(command, tmp_path)
