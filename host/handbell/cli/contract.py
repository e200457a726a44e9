"""The contract of ``--json``: a schema made from the commands' own results, checked for staleness.

python -m handbell.cli.contract --check
"""

from __future__ import annotations

import argparse
import ast
import importlib
import inspect
import json
import sys
import typing
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from handbell.base.files import write_whole
from handbell.cli.main import command_module
from handbell.cli.output import CONTRACT
from handbell.cli.table import COMMANDS

PATH = Path(__file__).with_name("contract.schema.json")
COMMAND = "python -m handbell.cli.contract"

ERROR = {
    "type": "object",
    "description": "Why a command did nothing, in sentences for people.",
    "properties": {
        "what": {"type": "string"},
        "remedy": {"type": "string"},
        "faults": {"type": "array", "items": {"type": "string"}},
    },
    "required": ["what", "remedy", "faults"],
    "additionalProperties": False,
}


def schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of what each command prints with ``--json``."""
    types: dict[str, Any] = {name: TypeAdapter(result_type(name)) for name in COMMANDS}
    refs, whole = TypeAdapter.json_schemas(
        [(name, "serialization", adapter) for name, adapter in types.items()],
        ref_template="#/$defs/{model}",
    )
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "What handbell COMMAND --json prints",
        "description": "A command prints version, ok, and data; or error where it did nothing.",
        "contract": CONTRACT,
        "commands": {name: refs[(name, "serialization")] for name in types},
        "$defs": {**whole.get("$defs", {}), "error": ERROR},
    }


def result_type(name: str) -> Any:
    """Return the dataclass that a command's ``run`` returns.

    Where it is imported for type checkers alone, so that help starts fast, it is imported here.
    """
    module = command_module(name)
    names = dict(vars(module))
    for node in ast.parse(inspect.getsource(module)).body:
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            for line in node.body:
                assert isinstance(line, ast.ImportFrom) and line.module
                of = importlib.import_module(line.module)
                names |= {alias.name: getattr(of, alias.name) for alias in line.names}
    return typing.get_type_hints(module.run, names)["return"]


def for_command(name: str) -> dict[str, Any]:
    """Return the schema of what one command prints, error or not."""
    whole = schema()
    head = {"version": {"const": CONTRACT}, "ok": {"type": "boolean"}}
    done = {"data": whole["commands"][name]}
    return {
        "$schema": whole["$schema"],
        "$defs": whole["$defs"],
        "type": "object",
        "oneOf": [
            {"properties": head | done, "required": ["version", "ok", "data"]},
            {
                "properties": head | {"error": {"$ref": "#/$defs/error"}},
                "required": ["version", "ok", "error"],
            },
        ],
    }


def schema_text() -> str:
    """Return the schema as its file has it."""
    return json.dumps(schema(), indent=1, sort_keys=True) + "\n"


def main(words: list[str] | None = None) -> int:
    """Check or write the committed schema; return the exit code."""
    parser = argparse.ArgumentParser(prog=COMMAND, description=__doc__)
    how = parser.add_mutually_exclusive_group(required=True)
    how.add_argument("--check", action="store_true", help="exit 1 when the file is out of date")
    how.add_argument("--write", action="store_true", help="write the file anew")
    if parser.parse_args(words).write:
        write_whole(PATH, schema_text())
        return 0
    if PATH.is_file() and PATH.read_text(encoding="utf-8") == schema_text():
        return 0
    sys.stderr.write(f"{PATH.name} is out of date. Run {COMMAND} --write and commit it.\n")
    return 1


if __name__ == "__main__":
    sys.exit(main())
