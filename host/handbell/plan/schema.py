"""The JSON Schema of a plan, for editors: generated from the model, committed beside it.

``python -m handbell.plan.schema --check`` says whether the committed file is current,
``--write`` makes it so.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from handbell.plan.model import Plan

PATH = Path(__file__).with_name("plan.schema.json")


def schema_text() -> str:
    """Return the schema as JSON text."""
    schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **_plain(Plan.model_json_schema(by_alias=True)),
        "title": "Handbell plan",
        "required": ["title", "block"],
    }
    return json.dumps(schema, indent=2, sort_keys=True) + "\n"


def _plain(node: Any) -> Any:
    """Drop what says nothing to a plan's author: generated titles, and defaults that are none."""
    if isinstance(node, list):
        return [_plain(item) for item in node]
    if not isinstance(node, dict):
        return node
    kept = {}
    for key, value in node.items():
        if key == "properties":
            kept[key] = {name: _plain(field) for name, field in value.items()}
        elif key not in ("title", "default"):
            kept[key] = _plain(value)
    return kept


def main(words: list[str] | None = None) -> int:
    """Check or write the committed schema; return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m handbell.plan.schema", description=__doc__)
    how = parser.add_mutually_exclusive_group(required=True)
    how.add_argument("--check", action="store_true", help="exit 1 when the file is out of date")
    how.add_argument("--write", action="store_true", help="write the file anew")
    args = parser.parse_args(words)
    if args.write:
        fresh = PATH.with_suffix(".new")
        fresh.write_text(schema_text(), encoding="utf-8", newline="\n")
        fresh.replace(PATH)
        return 0
    if PATH.is_file() and PATH.read_text(encoding="utf-8") == schema_text():
        return 0
    sys.stderr.write(
        f"{PATH.name} is out of date. Run python -m handbell.plan.schema --write and commit it.\n"
    )
    return 1


if __name__ == "__main__":
    sys.exit(main())
