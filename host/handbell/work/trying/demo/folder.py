"""The folder that the demo fills: marked, and emptied of nothing but what a demo wrote."""

from __future__ import annotations

import re
from pathlib import Path

from handbell.base.digest import whole_hex
from handbell.base.errors import HandbellError
from handbell.base.files import write_whole

MARK = "demo"
_FIRST_LINE = "This folder was filled by handbell demo."
KEPT = ("report.html", "screen.png", "store.sqlite")  # what a coach may go on working with
_FOLDERS = ("boxes", "boxes/ports")
_FILES = re.compile(
    r"demo|report\.html|screen\.png|store\.sqlite(-wal|-shm|-journal)?"
    r"|boxes/(clock\.json|box\d+\.(flash|stderr)|ports/box\d+)"
    r"|(boxes/\.clock\.json|\.demo|\.report\.html)\.[0-9a-f]{8}"  # half written
)
_NOTES = (".DS_Store", "Thumbs.db", "desktop.ini")  # of a file browser that looked in; they stay
_REMEDY = "Name an empty folder with --out"


def make_ready(out: Path) -> None:
    """Make the folder, or empty one that a demo filled; raises HandbellError and removes nothing.

    It is refused when anything is in it that no demo wrote or that was changed since.
    """
    try:
        if out.exists() and not out.is_dir():
            raise HandbellError(f"{out} is a file", _REMEDY)
        out.mkdir(parents=True, exist_ok=True)
        files, folders = _inside(out)
        if files or folders:
            _require_own(out, files, folders)
        for path in files:
            path.unlink()
        for path in reversed(folders):
            if not any(path.iterdir()):
                path.rmdir()
        write_whole(out / MARK, f"{_FIRST_LINE}\n")
    except OSError as error:
        raise HandbellError(
            f"{error.filename or out} can't be written ({error.strerror or error})", _REMEDY
        ) from error


def seal(out: Path) -> None:
    """Note in the mark how the demo left what a coach may go on working with."""
    lines = [_FIRST_LINE, *(f"{whole_hex((out / name).read_bytes())} {name}" for name in KEPT)]
    write_whole(out / MARK, "\n".join(lines) + "\n")


def _inside(out: Path) -> tuple[list[Path], list[Path]]:
    """Return files and folders below ``out`` but notes, each folder before what is in it."""
    files: list[Path] = []
    folders: list[Path] = []
    for path in sorted(out.rglob("*")):
        if path.name not in _NOTES:
            (folders if path.is_dir() and not path.is_symlink() else files).append(path)
    return files, folders


def _require_own(out: Path, files: list[Path], folders: list[Path]) -> None:
    mark = out / MARK
    lines: list[str] = []
    if mark.is_file() and not mark.is_symlink():
        lines = mark.read_text(encoding="utf-8", errors="replace").splitlines()
    if lines[:1] != [_FIRST_LINE]:
        raise HandbellError(f"{out} holds other files", _REMEDY)
    strange = [p for p in files if not _FILES.fullmatch(p.relative_to(out).as_posix())]
    strange += [p for p in folders if p.relative_to(out).as_posix() not in _FOLDERS]
    if strange:
        raise HandbellError(f"{strange[0]} is not the demo's, so nothing was removed", _REMEDY)
    for line in lines[1:]:
        digest, _, name = line.partition(" ")
        path = out / name
        if name in KEPT and path.is_file() and whole_hex(path.read_bytes()) != digest:
            raise HandbellError(
                f"{path} was changed since the demo wrote it, so nothing was removed",
                "Move it away, or name another folder with --out",
            )
