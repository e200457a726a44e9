"""The case from a shell: ``python -m hardware.case stl | check | pictures``."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.errors import HandbellError

if TYPE_CHECKING:
    from .build import Case
    from .remote import RemoteCase

EXAMPLES = """examples:
  python -m hardware.case stl --out stl
  python -m hardware.case stl --out stl-foot --button button_large
  python -m hardware.case stl --out stl-remote --product remote
  python -m hardware.case check
  python -m hardware.case pictures
"""
PICTURES = Path(__file__).parents[2] / "docs" / "img"


def main(arguments: list[str] | None = None) -> int:
    """Run a command; returns 1 where the case fails a check, 2 where it can't be built."""
    parser = argparse.ArgumentParser(
        "python -m hardware.case",
        description="Builds the case of a box or a remote from box.toml and case/case.toml.",
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("what", choices=("stl", "check", "pictures"))
    parser.add_argument("--out", type=Path, help="folder for the files")
    parser.add_argument("--display", default="display", help="table of sizes, as display_large")
    parser.add_argument("--button", default="button", help="table of sizes, as button_large")
    parser.add_argument("--product", choices=("box", "remote"), default="box")
    given = parser.parse_args(arguments)
    try:
        return _run(given)
    except ImportError as error:
        print(f"The case needs {error.name}: pip install 'handbell[dev]'.", file=sys.stderr)
    except HandbellError as error:
        print(error, file=sys.stderr)
    return 2


def _run(given: argparse.Namespace) -> int:
    from .build import Case

    if given.product == "remote":
        return _remote(given)
    case = Case.of(given.display, given.button)
    if given.what == "check":
        from .verdict import faults, table

        print(table(case))
        found = faults(case)
        for sentence in found:
            print(sentence, file=sys.stderr)
        return 1 if found else 0
    if given.what == "stl":
        from . import stl

        files = stl.write(case, given.out or Path("stl"))
    else:
        from . import pictures
        from .remote import RemoteCase

        files = pictures.write(case, given.out or PICTURES)
        files += pictures.write_remote(RemoteCase.of(), given.out or PICTURES)
    return _told(files, case)


def _remote(given: argparse.Namespace) -> int:
    """Check a remote's case, or write it; or draw its pictures alone."""
    from . import pictures, stl
    from .remote import RemoteCase
    from .verdict import remote_faults, remote_table

    case = RemoteCase.of()
    if given.what == "check":
        print(remote_table(case))
        found = remote_faults(case)
        for sentence in found:
            print(sentence, file=sys.stderr)
        return 1 if found else 0
    if given.what == "stl":
        return _told(stl.write(case, given.out or Path("stl-remote")), case)
    return _told(pictures.write_remote(case, given.out or PICTURES), case)


def _told(files: list[Path], case: Case | RemoteCase) -> int:
    for path in files:
        print(path)
    print(f"About {case.plastic_g():.0f} g of plastic.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
