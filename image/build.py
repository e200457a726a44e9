"""Builds the image: python -m image.build MICROPYTHON [--out FOLDER], or make image MICROPYTHON=...

MicroPython for the RP2040 with the firmware frozen inside, as a UF2 file, and a text file with the
licences of all its parts beside it. The board's files keep their place, so they outlive the image.
"""

from __future__ import annotations

import argparse
import ast
import hashlib
import os
import shutil
import struct
import subprocess
import sys
from pathlib import Path

from handbell.base.errors import HandbellError
from handbell.boxes.firmware import uf2
from handbell.boxes.firmware.files import MODULES, inlined
from image import licences, sources

ROOT = Path(__file__).parents[1]
BOARD = "RPI_PICO"

MANIFEST = """\
include("$(PORT_DIR)/boards/manifest.py")
for name in {packages!r}:
    package(name, base_path=".", opt=3)
for name in {modules!r}:
    module(name, base_path=".", opt=3)
"""


def main(arguments: list[str] | None = None) -> int:
    """Build an image and say what was made; returns the exit code."""
    parser = argparse.ArgumentParser(prog="make image", description=(__doc__ or "").split("\n")[0])
    parser.add_argument("micropython", help="the folder of MicroPython's source")
    parser.add_argument("--out", default=str(ROOT / "build/image"), help="where the image goes")
    options = parser.parse_args(arguments)
    if not options.micropython:
        print(
            f"Say where MicroPython's source is: make image MICROPYTHON=...\nGet it: {sources.GET}"
        )
        return 2
    try:
        made = build(Path(options.micropython).absolute(), Path(options.out).absolute())
    except HandbellError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    blocks = uf2.FILES_SIZE // 4096
    print(f"{made.path}")
    print(f"  {made.name}")
    print(f"  {len(made.flash)} bytes of {uf2.FILES_AT}; SHA-256 of the file {made.sha256}")
    print(f"  The board's files stay where they are: {blocks} blocks at {uf2.FILES_AT:#x}")
    print("Put it on a box: handbell prepare --image", made.path)
    return 0


def build(micropython: Path, out: Path) -> uf2.BoardImage:
    """Build the image into a folder; raises HandbellError, which says what is missing."""
    sources.check(micropython)
    tree, work = out / "tree", out / "work"
    version, name = lay_out(tree)
    say(f"Building {name}: some minutes")
    port = micropython / "ports/rp2"
    manifest = f"-DMICROPY_FROZEN_MANIFEST={tree / 'manifest.py'}"
    cmake = ["cmake", "-G", "Unix Makefiles", "-S", str(port), "-B", str(work)]
    log = out / "build.log"
    log.write_text("", encoding="utf-8")
    run(log, [*cmake, f"-DMICROPY_BOARD={BOARD}", "-DPICO_NO_PICOTOOL=1", manifest])
    run(log, ["cmake", "--build", str(work), "--parallel", str(os.cpu_count() or 1)])
    elf, raw = work / "firmware.elf", work / "firmware.raw"
    check_files_place(elf)
    run(log, ["arm-none-eabi-objcopy", "-O", "binary", str(elf), str(raw)])
    path = out / f"handbell-{version}-pico.uf2"
    convert = [sys.executable, str(micropython / "tools/uf2conv.py"), "-c"]
    address = ["-b", hex(uf2.FLASH), "-f", hex(uf2.FAMILY), "-o", str(path)]
    run(log, [*convert, *address, str(raw)])
    made = uf2.read_image(path)
    if made.name != name or made.flash[: raw.stat().st_size] != raw.read_bytes():
        raise HandbellError(f"{path} is not what was built", f"Delete {out} and build again")
    text = licences.gather(micropython, work, ROOT / "LICENSE")
    path.with_name(f"{path.stem}-licences.txt").write_text(text, encoding="utf-8")
    return made


def lay_out(tree: Path) -> tuple[str, str]:
    """Write what is frozen, and its manifest; return the firmware's version and the image's name.

    The name has a digest of all of it, so two images of one version can be told apart.
    """
    files = inlined()
    version = firmware_version(files)
    files["main.py"] = (ROOT / "firmware/main.py").read_bytes()
    files["boot.py"] = (ROOT / "image/boot.py").read_bytes()
    whole = hashlib.sha256()
    for path in sorted(files):
        whole.update(path.encode() + b"\0" + hashlib.sha256(files[path]).digest())
    digest = whole.hexdigest()[:12]
    name = uf2.NAME.format(version=version, digest=digest, runtime=sources.VERSION)
    files["image_name.py"] = f"NAME = {name!r}\n".encode()
    packages = [module for module in MODULES if not module.endswith(".py")]
    modules = sorted(path for path in files if "/" not in path)
    files["manifest.py"] = MANIFEST.format(packages=packages, modules=modules).encode()
    shutil.rmtree(tree, ignore_errors=True)
    for path, data in files.items():
        (tree / path).parent.mkdir(parents=True, exist_ok=True)
        (tree / path).write_bytes(data)
    return version, name


def firmware_version(files: dict[str, bytes]) -> str:
    """Return the text that the firmware says as its version."""
    for data in files.values():
        for node in ast.parse(data).body:
            if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant):
                names = [target.id for target in node.targets if isinstance(target, ast.Name)]
                if names == ["FIRMWARE"] and isinstance(node.value.value, str):
                    return node.value.value
    raise HandbellError("The firmware does not say its version", "Give it a text FIRMWARE")


def check_files_place(elf: Path) -> None:
    """Check in the program itself that the board's files are where every other image has them.

    Raises HandbellError when they are not, or when the program reaches into them.
    """
    listed = subprocess.run(
        ["arm-none-eabi-nm", str(elf)], capture_output=True, text=True, check=True
    )
    symbols = {line.split()[-1]: int(line.split()[0], 16) for line in listed.stdout.splitlines()}
    at = symbols["rp2_flash_obj"]  # of type rp2_flash_obj_t: its type, then the place and the size
    _, place, size = struct.unpack("<3I", content(elf.read_bytes(), at, 12))
    end = symbols["__flash_binary_end"] - uf2.FLASH
    if (place, size) != (uf2.FILES_AT, uf2.FILES_SIZE):
        raise HandbellError(
            f"This build keeps the board's files at {place:#x}, {size} bytes, and others at "
            f"{uf2.FILES_AT:#x}, {uf2.FILES_SIZE} bytes: a box would lose its files",
            f"Take MicroPython {sources.VERSION} as it is",
        )
    if end > uf2.FILES_AT:
        raise HandbellError(f"The image has {end} bytes, {uf2.FILES_AT} is the most")


def content(elf: bytes, address: int, size: int) -> bytes:
    """Return what a 32-bit ELF file loads at an address."""
    (headers,) = struct.unpack_from("<I", elf, 28)
    entry, count = struct.unpack_from("<2H", elf, 42)
    for n in range(count):
        kind, offset, start, _, length = struct.unpack_from("<5I", elf, headers + n * entry)
        if kind == 1 and start <= address and address + size <= start + length:
            return elf[offset + address - start :][:size]
    raise HandbellError(f"Nothing is loaded at {address:#x}")


def run(log: Path, command: list[str]) -> None:
    """Run a program, keeping what it says; raises HandbellError with its last words."""
    done = subprocess.run(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False
    )
    with log.open("a", encoding="utf-8") as file:
        file.write(f"$ {' '.join(command)}\n{done.stdout}\n")
    if done.returncode:
        wrong = [line for line in done.stdout.splitlines() if "rror" in line]
        last = (wrong or done.stdout.splitlines() or ["nothing"])[-1].strip()
        raise HandbellError(f"{command[0]} failed, saying: {last}", f"All it said is in {log}")


def say(words: str) -> None:
    """Say how far it is."""
    print(words, flush=True)


if __name__ == "__main__":
    sys.exit(main())
