"""What building an image needs, and whether it is there."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

from handbell.base.errors import HandbellError

VERSION = "1.28.0"
GET = f"git clone --branch v{VERSION} https://github.com/micropython/micropython"

# Folders of MicroPython's that come as submodules, each with a file by which it is known.
SUBMODULES = {
    "lib/mbedtls": "include/mbedtls/version.h",
    "lib/micropython-lib": "micropython/drivers/led/neopixel/neopixel.py",
    "lib/pico-sdk": "pico_sdk_init.cmake",
    "lib/tinyusb": "src/tusb.h",
}

# Programs, with the package of Debian and Ubuntu that has them.
PROGRAMS = {
    "arm-none-eabi-gcc": "gcc-arm-none-eabi libnewlib-arm-none-eabi",
    "arm-none-eabi-nm": "binutils-arm-none-eabi",
    "arm-none-eabi-objcopy": "binutils-arm-none-eabi",
    "cmake": "cmake",
    "make": "make",
    "cc": "build-essential",
    "c++": "build-essential",
}


def check(micropython: Path) -> None:
    """Raise HandbellError, in words that say what to do, when something is missing."""
    header = micropython / "py/mpconfig.h"
    if not header.is_file() or not (micropython / "ports/rp2/CMakeLists.txt").is_file():
        raise HandbellError(f"{micropython} is no source of MicroPython", f"Get it: {GET}")
    version = version_of(header.read_text(encoding="utf-8"))
    if version != VERSION:
        raise HandbellError(
            f"{micropython} is MicroPython {version}, and the image is made of {VERSION}",
            f"Get that: {GET}",
        )
    empty = [name for name, file in SUBMODULES.items() if not (micropython / name / file).exists()]
    if empty:
        raise HandbellError(
            f"In {micropython} these are empty: {', '.join(empty)}",
            f"Fill them: git -C {micropython} submodule update --init {' '.join(empty)}",
        )
    missing = [name for name in PROGRAMS if shutil.which(name) is None]
    if missing:
        packages = " ".join(dict.fromkeys(PROGRAMS[name] for name in missing))
        raise HandbellError(
            f"Not installed here: {', '.join(missing)}",
            f"On Debian or Ubuntu: sudo apt install {packages}",
        )


def version_of(header: str) -> str:
    """Return the version that MicroPython's mpconfig.h states, such as 1.28.0 or 1.29.0-preview."""
    parts = dict(re.findall(r"#define MICROPY_VERSION_(\w+) (\d+)", header))
    numbers = ".".join(parts.get(part, "?") for part in ("MAJOR", "MINOR", "MICRO"))
    return numbers + ("-preview" if parts.get("PRERELEASE", "0") != "0" else "")
