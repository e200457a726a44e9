"""The table of what each exercise loads; run as a script, it writes the page anew.

python tests/made_loads.py
"""

from itertools import groupby
from pathlib import Path

from handbell.base import toml
from handbell.base.files import write_whole
from handbell.coach.library.loads import LOADS, MOVED_BY
from handbell.coach.library.shelf import load_library

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "coaches" / "loads.md"
MARKS = ROOT / "tests" / "host" / "blind_marks.toml"
HEAD = """# What each exercise loads

What `swap --because sore` goes by. **A professional should read this table before you rely on it**:
it is common practice, no source, and no advice on injuries. Pain stops the exercise, whatever stands
here.

● loaded · ◐ loaded by our rules, though of two readers one said no · ○ by our rules, though both said
no. The two, no clinicians, knew neither our marks nor each other's. What either marked is marked here.

A sore muscle is spared like the joints that it moves: nothing is proposed that tires the muscle, or
loads one of them. What each exercise tires stands in its last column. The readers marked no muscles.

| sore | spared like a sore |
| --- | --- |
"""


def marks() -> dict[str, list[list[str]]]:
    """Return for each exercise what each of the two readers marked."""
    return toml.loads(MARKS.read_text(encoding="utf-8"))


def page() -> str:
    """Return the page."""
    blind = marks()
    moved = (f"| {muscle} | {', '.join(joints)} |" for muscle, joints in MOVED_BY.items())
    lines = [HEAD + "\n".join(moved), ""]
    entries = load_library().entries.values()
    for pattern, group in groupby(entries, key=lambda entry: entry.pattern):
        lines += [f"## {pattern.capitalize()}", "", f"| | {' | '.join(LOADS)} | tires |"]
        lines += ["| --- |" + " :-: |" * len(LOADS) + " --- |"]
        for entry in group:
            said = [sum(part in one for one in blind[entry.id]) for part in LOADS]
            cells = ["○◐●"[n] if p in entry.bears else "" for p, n in zip(LOADS, said, strict=True)]
            lines.append(f"| {entry.name} | {' | '.join(cells)} | {', '.join(entry.tires)} |")
        lines.append("")
    return "\n".join(lines)


if __name__ == "__main__":
    write_whole(PAGE, page())
