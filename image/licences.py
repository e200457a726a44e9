"""Gathers the licences of all that was compiled into an image, from the sources themselves.

Which files went in is read from what the compiler noted of each object. Of a folder with licence
files those are taken; of one without, what its files say at their head.
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

from handbell.base.errors import HandbellError

_LICENCE = re.compile(r"(LICEN[CS]E|COPYING|NOTICE)([.-].*)?", re.IGNORECASE)
_SAYS = re.compile(r"copyright|licen[cs]e|public domain", re.IGNORECASE)
_NEWLIB = Path("/usr/share/doc/libnewlib-arm-none-eabi/copyright")

# Terms that a file may only name: words of theirs, and the part that has them whole.
_TERMS = {
    "BSD-3-Clause": ("Redistributions in binary form", "lib/pico-sdk"),
    "Apache-2.0": ("Apache License", "lib/mbedtls"),
    "MIT": ("Permission is hereby granted", "MicroPython"),
}

# Folders of MicroPython's whose Python goes in: the compiler notes none of it.
_ALWAYS = ("micropython-lib",)


def gather(micropython: Path, build: Path, ours: Path) -> str:
    """Return the text for a file beside the image; raises HandbellError for a part without any."""
    parts: dict[str, set[Path]] = {name: set() for name in _ALWAYS}
    for file in used(build):
        part = _part(file, micropython)
        if part:
            parts.setdefault(part, set()).add(file)
    if len(parts) == len(_ALWAYS):
        raise HandbellError(f"{build} does not say of what the image was compiled", "Build anew")
    pieces = [
        ("Handbell's firmware", _text(ours)),
        ("MicroPython", _text(micropython / "LICENSE")),
    ]
    for part in sorted(parts):
        pieces.append((f"lib/{part}", _of_part(micropython / "lib" / part, parts[part])))
    pieces.append(("The compiler's C library, newlib", _newlib()))
    rule = "=" * 78
    said = "".join(f"{rule}\n{name}\n{rule}\n\n{text.strip()}\n\n" for name, text in pieces)
    return f"The image holds these parts. Each may be passed on under the terms below it.\n\n{said}"


def used(build: Path) -> Iterator[Path]:
    """Yield every source and header that went into the objects of a build."""
    seen = set()
    for note in build.rglob("*.d"):
        text = note.read_text(encoding="utf-8", errors="replace")
        for word in text.replace("\\\n", " ").partition(":")[2].split():
            if word not in seen:
                seen.add(word)
                yield (build / word) if not word.startswith("/") else Path(word)


def _part(file: Path, micropython: Path) -> str:
    """Return the folder below ``lib`` that a file is of, "" for MicroPython's own."""
    for at in (file, file.resolve()):
        for base in (micropython, micropython.resolve()):
            if at.is_relative_to(base / "lib"):
                return at.relative_to(base / "lib").parts[0]
    for folder in (micropython / "lib").iterdir():
        if folder.is_symlink() and file.resolve().is_relative_to(folder.resolve()):
            return folder.name
    return ""


def _of_part(folder: Path, files: set[Path]) -> str:
    """Return a part's licence files, and the heads of its files where it has none."""
    places = {folder.resolve()}
    for file in files:
        above = [p for p in file.resolve().parents if p.is_relative_to(folder.resolve())]
        places.update(above)
    found = sorted(
        file for place in places for file in place.iterdir() if _LICENCE.fullmatch(file.name)
    )
    texts = [_text(file) for file in found if file.is_file()]
    if not texts:
        heads = {head for file in sorted(files) if (head := head_of(_text(file)))}
        texts = sorted(heads)
    if not texts:
        raise HandbellError(
            f"{folder} has no licence that could be found", "Don't give the image away; ask why"
        )
    said = "\n\n".join(dict.fromkeys(text.strip() for text in texts))
    for terms, (words, whole) in _TERMS.items():
        if (
            re.search(rf"SPDX-License-Identifier: .*\b{re.escape(terms)}", said)
            and words not in said
        ):
            said += f"\n\nThe terms {terms} are those that stand at {whole} in this file."
    return said


def head_of(source: str) -> str:
    """Return the comments at the head of a C file that speak of a licence, "" if none do."""
    found = []
    rest = source.lstrip()
    while True:
        match = re.match(r"/\*.*?\*/|(?://[^\n]*\n)+", rest, re.DOTALL)
        if match is None:
            break
        if _SAYS.search(match[0]):
            found.append(match[0].strip())
        rest = rest[match.end() :].lstrip()
    return "\n".join(found)


def _newlib() -> str:
    compiler = subprocess.run(
        ["arm-none-eabi-gcc", "-print-file-name=libc.a"],
        capture_output=True,
        text=True,
        check=False,
    )
    root = Path(compiler.stdout.strip() or "/").resolve()
    for place in [_NEWLIB, *(up / "share/doc/COPYING.NEWLIB" for up in root.parents)]:
        if place.is_file():
            return _text(place)
    return (
        "Its notices are in the file COPYING.NEWLIB of the compiler that the image was made with."
    )


def _text(file: Path) -> str:
    return file.read_text(encoding="utf-8", errors="replace")
