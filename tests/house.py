"""The rooms of the product and who imports whom; run as a script, it draws them anew.

python tests/house.py
"""

import ast
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[1]
PICTURE = ROOT / "docs" / "img" / "rooms.svg"
HOST = (ROOT / "host", "handbell")
FIRMWARE = (ROOT / "firmware", "box")
CORE = (ROOT / "firmware", "handbell_core")
# Each row may import from the rows below it, and from nothing beside it.
ROOMS = (
    ("cli",),
    ("work",),
    ("report", "paper", "measure"),
    ("analysis",),
    ("coach",),
    ("compile",),
    ("store", "plan"),
    ("boxes",),
    ("virtual",),
    ("base",),
)


def imports(base: Path, package: str) -> dict[str, set[str]]:
    """Return for each module of a package the modules of it that it imports, wherever it does."""
    modules = {}
    for path in sorted((base / package).rglob("*.py")):
        parts = path.relative_to(base).with_suffix("").parts
        modules[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    found = {}
    for name, path in modules.items():
        inside = name if path.name == "__init__.py" else name.rpartition(".")[0]
        others = set()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom):
                of = node.module or ""
                if node.level:
                    steps = inside.split(".")
                    of = ".".join([*steps[: len(steps) - node.level + 1], *of.split(".")]).strip(
                        "."
                    )
                for alias in node.names:
                    whole = f"{of}.{alias.name}"
                    others.add(whole if whole in modules else of)
            elif isinstance(node, ast.Import):
                others.update(alias.name for alias in node.names)
        found[name] = {other for other in others if other in modules and other != name}
    return found


def room_of(module: str) -> str:
    """Return a module's room; what stands beside the rooms belongs to the lowest."""
    parts = module.split(".")
    names = {room for row in ROOMS for room in row}
    if len(parts) > 1 and parts[1] in names:
        return parts[1]
    return "cli" if parts[-1] == "__main__" else "base"


def folder_circles(base: Path, package: str) -> list[set[str]]:
    """Return the folders of which each stands on all others of a set, below the rooms, too."""
    whole = {".".join(p.parent.relative_to(base).parts) for p in base.rglob("__init__.py")}

    def folder(module: str) -> str:
        return module if module in whole else module.rpartition(".")[0]

    on: dict[str, set[str]] = {}
    for name, others in imports(base, package).items():
        if folder(name) != package:
            on.setdefault(folder(name), set()).update(set(map(folder, others)) - {package})
    reached = {one: _reached(one, on) for one in on}
    circles = [frozenset(o for o in found if one in reached[o]) for one, found in reached.items()]
    return [set(some) for some in dict.fromkeys(circles) if len(some) > 1]


def _reached(start: str, on: dict[str, set[str]]) -> set[str]:
    found, todo = set(), [start]
    while todo:
        new = on.get(todo.pop(), set()) - found
        found |= new
        todo += new
    return found


def drawn() -> str:
    """Return the picture: a row of rooms above those it stands on, arrows by how many files."""
    wide, high, box_wide, box_high = 760, 92, 150, 46
    middle, lines = {}, []
    for n, row in enumerate(ROOMS):
        for k, room in enumerate(row):
            middle[room] = (wide * (k + 1) // (len(row) + 1), 40 + n * high)
    count = Counter(
        (room_of(name), room_of(other))
        for name, others in imports(*HOST).items()
        for other in others
        if room_of(name) != room_of(other) != "base"  # on which all stand
    )
    files = Counter(room_of(name) for name in imports(*HOST))
    for (above, below), many in sorted(count.items()):
        (x, y), (u, v) = middle[above], middle[below]
        thick = min(1 + many // 12, 5)
        bend = 0 if v - y <= high else (60 if (x + u) // 2 >= wide // 2 else -60)
        lines.append(
            f'<path d="M{x} {y + box_high // 2}Q{(x + u) // 2 + bend} {(y + v) // 2} {u} '
            f'{v - box_high // 2}" stroke-width="{thick}"><title>{above} imports {below}: {many} '
            "files</title></path>"
        )
    boxes = [
        f'<g><rect x="{x - box_wide // 2}" y="{y - box_high // 2}" width="{box_wide}" '
        f'height="{box_high}" rx="6"/><text x="{x}" y="{y - 2}" font-weight="bold">{room}</text>'
        f'<text x="{x}" y="{y + 15}" font-size="12">{files[room]} files</text></g>'
        for room, (x, y) in middle.items()
    ]
    tall = 40 + len(ROOMS) * high
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {tall}" '
            'font-family="sans-serif" font-size="15" text-anchor="middle">',
            "<title>The rooms of the host, and which imports which</title>",
            f'<rect width="{wide}" height="{tall}" fill="#ffffff"/>',
            '<g fill="none" stroke="#8a94a3">',
            *lines,
            "</g>",
            '<g fill="#f3f5f8" stroke="#3b4654">',
            *(box.replace("<text", '<text stroke="none" fill="#1d2530"') for box in boxes),
            "</g>",
            "</svg>",
            "",
        ]
    )


if __name__ == "__main__":
    PICTURE.write_text(drawn(), encoding="utf-8")
