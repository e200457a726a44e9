"""Makes every artefact of the hardware from box.toml, or proves that all are current.

``python -m hardware.build`` writes the schematic, the wiring picture and the tables of
docs/makers/hardware.md; ``--check`` writes nothing and names what is wrong or not current.
"""

from __future__ import annotations

import argparse
import re
import sys
from pathlib import Path
from typing import Any

from handbell.base.errors import EXIT_FAILED, EXIT_OK, HandbellError
from handbell.base.files import write_whole
from hardware import prices, rules, tables
from hardware.load import PATH, box_of, read, variants

ROOT = Path(__file__).resolve().parents[1]
PAGE = Path("docs/makers/hardware.md")
SCHEMATIC = Path("docs/img/hardware-schematic.svg")
PICTURE = Path("docs/img/hardware-wiring.svg")
REMOTE_SCHEMATIC = Path("docs/img/remote-schematic.svg")
REMOTE_PICTURE = Path("docs/img/remote-wiring.svg")
COMMAND = "python -m hardware.build"
_MARKED = re.compile(r"(<!-- made: (\w+) -->\n).*?(<!-- end -->)", re.DOTALL)


def faults(source: Path = PATH) -> list[str]:
    """Return a sentence for everything wrong with the hardware, in any build or with the firmware.

    The reference box is checked with each number of buttons.
    """
    return faults_of(read(source))


def faults_of(data: dict[str, Any]) -> list[str]:
    """Return a sentence for everything wrong with what was read."""
    found: list[str] = []
    for name in variants(data):
        found += rules.faults(box_of(data, name))
    for count in (1, 2, 3, 4):
        found += rules.faults(box_of(data, buttons=count))
    found += rules.firmware_faults(box_of(data))
    return list(dict.fromkeys(found))


def artefacts(source: Path = PATH, root: Path = ROOT) -> dict[Path, str]:
    """Return the text of every artefact by its path in the repository. Raises HandbellError."""
    from hardware import picture, schematic

    data = read(source)
    box, remote = box_of(data), box_of(data, tables.REMOTE)
    page = (root / PAGE).read_text(encoding="utf-8")
    return {
        SCHEMATIC: schematic.svg(box),
        PICTURE: picture.svg(box),
        REMOTE_SCHEMATIC: schematic.svg(remote),
        REMOTE_PICTURE: picture.svg(remote),
        PAGE: filled(page, tables.tables(data) | prices.tables(data)),
    }


def filled(page: str, made: dict[str, str]) -> str:
    """Return a page with each table between its markers. Raises HandbellError."""
    asked = [name for _, name, _ in _MARKED.findall(page)]
    if sorted(asked) != sorted(made):
        odd = ", ".join(sorted(set(asked) ^ set(made))) or "one of them twice"
        raise HandbellError(f"{PAGE} and the tables don't match: {odd}", "Mend its markers")
    return _MARKED.sub(lambda match: f"{match[1]}{made[match[2]]}\n{match[3]}", page)


def stale(source: Path = PATH, root: Path = ROOT) -> list[str]:
    """Return a sentence for each artefact that is not what box.toml makes now."""
    found = []
    for path, text in artefacts(source, root).items():
        there = root / path
        if not there.is_file() or there.read_text(encoding="utf-8") != text:
            found.append(f"{path.as_posix()} is not current: run `{COMMAND}`.")
    return found


def write(source: Path = PATH, root: Path = ROOT) -> list[Path]:
    """Write what is not current; return what was written."""
    written = []
    for path, text in artefacts(source, root).items():
        there = root / path
        if there.is_file() and there.read_text(encoding="utf-8") == text:
            continue
        write_whole(there, text)
        written.append(path)
    return written


def main(arguments: list[str] | None = None) -> int:
    """Run the command; return its exit code."""
    parser = argparse.ArgumentParser(
        prog=COMMAND,
        description="Make the schematic, the wiring picture and the tables from box.toml.",
        epilog=f"{COMMAND} --check   says what is wrong or not current, and writes nothing",
    )
    parser.add_argument("--check", action="store_true", help="write nothing; exit 1 on a fault")
    asked = parser.parse_args(arguments)
    found: list[str] = []
    try:
        found += faults()
        if asked.check:
            found += stale()
        elif not found:
            for path in write():
                print(f"wrote {path.as_posix()}")
    except HandbellError as error:
        found.append(str(error))  # what the rules found may be its cause
    for fault in found:
        print(fault, file=sys.stderr)
    return EXIT_FAILED if found else EXIT_OK


if __name__ == "__main__":
    sys.exit(main())
