"""A page as PDF, by a browser of this computer that prints without a window."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from handbell.base.errors import HandbellError
from handbell.base.files import whole_file
from handbell.base.places import BROWSER, named

COMMANDS = ("chromium", "chromium-browser", "google-chrome", "chrome", "msedge")
FOLDERS = (
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "C:/Program Files/Google/Chrome/Application/chrome.exe",
    "C:/Program Files (x86)/Microsoft/Edge/Application/msedge.exe",
)
FLAGS = (
    *("--headless", "--disable-gpu", "--no-first-run", "--disable-sync"),
    *("--disable-background-networking", "--disable-component-update", "--no-pdf-header-footer"),
)
TIMEOUT_S = 60


def find_browser() -> str | None:
    """Return a browser that prints from the command line: HANDBELL_BROWSER, or one found."""
    own = named(BROWSER)
    for command in (own,) if own else (*COMMANDS, *FOLDERS):
        found = shutil.which(command)
        if found:
            return found
    return None


def print_pdf(browser: str, page: Path, pdf: Path) -> None:
    """Print a page to a PDF file; raises HandbellError when the browser can't."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        made = Path(folder) / "made.pdf"
        flags = [*FLAGS, f"--user-data-dir={folder}/profile", f"--print-to-pdf={made}"]
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            flags.append("--no-sandbox")  # browsers refuse to start for the superuser otherwise
        try:
            command = [browser, *flags, page.resolve().as_uri()]
            subprocess.run(command, capture_output=True, timeout=TIMEOUT_S, check=False)
            data = made.read_bytes()
        except (OSError, subprocess.TimeoutExpired):
            data = b""
    if not data.startswith(b"%PDF"):
        raise HandbellError(
            f"{browser} did not print {page}",
            "Open the page in any browser and print it from there",
        )
    with whole_file(pdf, own_sort=True) as file:
        file.write(data)
