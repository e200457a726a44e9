"""The page's tables and charts from a shell: ``python -m hardware.infrared write | show``."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

PAGE = Path(__file__).parents[2] / "docs" / "engineers" / "infrared.md"
HALLS = 200
SEED = 1


def main(arguments: list[str] | None = None) -> int:
    """Draw halls, then write or show what came of it; returns 2 without numpy."""
    parser = argparse.ArgumentParser(
        "python -m hardware.infrared",
        description="Reckons how far a remote's telegrams reach in made-up halls.",
    )
    parser.add_argument("what", choices=("write", "show"))
    parser.add_argument("--halls", type=int, default=HALLS, help=f"of each case ({HALLS})")
    parser.add_argument("--seed", type=int, default=SEED)
    given = parser.parse_args(arguments)
    try:
        import numpy  # noqa: F401
    except ImportError as error:
        print(f"The halls need {error.name}: pip install 'handbell[dev]'.", file=sys.stderr)
        return 2
    from hardware.infrared import made

    found, charts = made.drawn(given.halls, given.seed)
    if given.what == "show":
        print("\n\n".join(found.values()))
        return 0
    text = PAGE.read_text(encoding="utf-8")
    PAGE.write_text(made.put(text, found), encoding="utf-8")
    for name, chart in charts.items():
        (PAGE.parents[1] / "img" / name).write_text(chart + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
