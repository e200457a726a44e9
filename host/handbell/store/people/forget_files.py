"""Forgetting in the small files beside the store: station labels, the title that was sent last."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

from handbell.base.files import is_left_over, write_whole

from .redact import without_name

# As earlier versions began whole files, and the copies of a store.
_LEFT_OVER_BEFORE = re.compile(
    r"(stations|sent)\.json\.tmp|"
    r".+-(before-\w+|backup)-\d{4}-\d\d-\d\d(-\d+)?(\.\w+)?\.part(-journal|-wal|-shm)?"
)
# SQLite file format, sections 1.3, 3 and 4.1: a database, a rollback journal, a log written ahead.
_SQLITE = (b"SQLite format 3\0", *map(bytes.fromhex, ("d9d505f920a163d7", "377f0682", "377f0683")))


def forget_in_files(folder: Path, name: str, dry_run: bool = False) -> tuple[list[str], list[str]]:
    """Take a name out of a data folder's JSON files; return those it stood in, and warnings.

    Only texts change, never keys or numbers. A coach's own TOML files are left alone: a warning
    names those in which it stands. What an interrupted write or collecting left behind is nobody's:
    it goes if the name stands in it.
    """
    left = [*_left_over(folder), *folder.glob("partial/*")]
    found, warnings = _deleted(sorted(left), name, dry_run)
    for path in sorted(folder.glob("*.json")):
        try:
            if _in_json(path, name, dry_run):
                found.append(str(path))
        except (OSError, ValueError, RecursionError) as error:
            warnings.append(f"{path} could not be cleaned ({error}): look into it yourself.")
    for path in sorted(folder.glob("*.toml")):
        try:
            stands = without_name(path.read_text(encoding="utf-8-sig"), name) is not None
        except (OSError, ValueError) as error:
            warnings.append(f"{path} could not be read ({error}): look into it yourself.")
        else:
            if stands:
                warnings.append(f"The name stands in {path}: take it out yourself.")
    return found, warnings


def forget_left_over(folder: Path, name: str, dry_run: bool = False) -> tuple[list[str], list[str]]:
    """Delete what interrupted writes left in a folder, if a name stands in it; return as above.

    Half a copy of a store is deleted whatever stands in it, since its words can't be told apart.
    """
    return _deleted(_left_over(folder), name, dry_run)


def _left_over(folder: Path) -> list[Path]:
    there = sorted(folder.iterdir()) if folder.is_dir() else []
    return [p for p in there if is_left_over(p) or _LEFT_OVER_BEFORE.fullmatch(p.name)]


def _deleted(paths: list[Path], name: str, dry_run: bool) -> tuple[list[str], list[str]]:
    """Delete the files in which a name stands; return them, and warnings."""
    found, warnings = [], []
    for path in paths:
        try:
            data = path.read_bytes()
            words = data.decode("utf-8", "replace")
            if data.startswith(_SQLITE) or without_name(words, name) is not None:
                found.append(str(path))
                if not dry_run:
                    path.unlink()
        except OSError as error:
            warnings.append(f"{path} could not be cleaned ({error}): delete it.")
    return found, warnings


def _in_json(path: Path, name: str, dry_run: bool) -> bool:
    old = json.loads(path.read_text(encoding="utf-8"))
    new = _without(old, name)
    if new == old:
        return False
    if not dry_run:
        write_whole(path, json.dumps(new, indent=1, ensure_ascii=False))
    return True


def _without(value: Any, name: str) -> Any:
    if isinstance(value, str):
        changed = without_name(value, name)
        return value if changed is None else changed
    if isinstance(value, list):
        return [_without(one, name) for one in value]
    if isinstance(value, dict):
        return {key: _without(one, name) for key, one in value.items()}
    return value
