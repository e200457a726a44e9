"""The JSON Schema of a plan, for editors: generated from the model, committed beside it.

``python -m handbell.plan.schema --check`` says whether the committed file is current,
``--write`` makes it so.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from handbell.base.files import write_whole
from handbell.plan.model import Plan
from handbell.plan.shorthands import FORMATS
from handbell.plan.shorthands.counted import Through

PATH = Path(__file__).with_name("plan.schema.json")


def schema_text() -> str:
    """Return the schema as JSON text."""
    plan = _plain(Plan.model_json_schema(by_alias=True))
    _add_forms(plan)
    schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **plan,
        "title": "Handbell plan",
        "required": ["title", "block"],
    }
    return json.dumps(schema, indent=2, sort_keys=True) + "\n"


def _add_forms(plan: dict[str, Any]) -> None:
    """Let a block be written in each short form too, with the keys it has there."""
    tables = plan["$defs"]
    block, exercise, part = tables["Block"], tables["Exercise"], tables["Part"]
    del block["properties"]["format"]
    choices = [{"$ref": "#/$defs/Block"}]
    for name, form in FORMATS.items():
        own = _plain(form.model_json_schema(by_alias=True))
        inside = {**exercise["properties"], **form.exercise_takes}
        required = ["name"]
        if issubclass(form, Through):
            inside = {**part["properties"], "kit": exercise["properties"]["kit"]}
        elif "work_s" not in (*form.exercise_has, *form.exercise_takes) and "rep_s" not in inside:
            required.append("work_s")
        inside = _without(inside, form.exercise_has)
        properties = _without(block["properties"], form.block_has) | own["properties"]
        items = {**_closed(inside), "required": required}
        properties |= {"format": {"const": name}, "exercise": {"type": "array", "items": items}}
        tables[form.__name__] = {
            **_closed(properties),
            "description": own["description"],
            "required": ["format", *own.get("required", [])],
        }
        choices.append({"$ref": f"#/$defs/{form.__name__}"})
    plan["properties"]["block"]["items"] = {"anyOf": choices}


def _without(properties: dict[str, Any], keys: Iterable[str]) -> dict[str, Any]:
    return {key: value for key, value in properties.items() if key not in set(keys)}


def _closed(properties: dict[str, Any]) -> dict[str, Any]:
    return {"type": "object", "additionalProperties": False, "properties": properties}


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
        write_whole(PATH, schema_text())
        return 0
    if PATH.is_file() and PATH.read_text(encoding="utf-8") == schema_text():
        return 0
    sys.stderr.write(
        f"{PATH.name} is out of date. Run python -m handbell.plan.schema --write and commit it.\n"
    )
    return 1


if __name__ == "__main__":
    sys.exit(main())
