"""Gives a box's tracebacks the firmware's long names: python -m handbell.boxes.firmware.readable.

It reads a ``trouble.txt`` from standard input. The box must have the firmware that is here, put on
without ``--line-numbers``: a later one may have other short names.
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Mapping

from .files import inlined, module_name, shortened


def readable(text: str, before: Mapping[str, bytes], after: Mapping[str, bytes]) -> str:
    """Return a traceback with the names that functions and attributes have in the source.

    The source is the same ``before`` and ``after`` names were shortened. A short name that several
    attributes have is told as all of them.
    """
    functions: dict[tuple[str, str], str] = {}
    attributes: dict[str, set[str]] = {}
    for path, source in before.items():
        nodes = zip(ast.walk(ast.parse(source)), ast.walk(ast.parse(after[path])), strict=True)
        for was, now in nodes:
            if isinstance(was, ast.FunctionDef) and isinstance(now, ast.FunctionDef):
                functions[module_name(path), now.name] = was.name
            elif isinstance(was, ast.Attribute) and isinstance(now, ast.Attribute):
                attributes.setdefault(now.attr, set()).add(was.attr)

    def in_function(match: re.Match[str]) -> str:
        place, module, name = match.groups()
        return place + functions.get((module, name), name)

    def no_attribute(match: re.Match[str]) -> str:
        name = match[2]
        return match[1] + "' or '".join(sorted(attributes.get(name, {name})))

    text = re.sub(r'(File "([\w.]+)", line \d+, in )(\w+)', in_function, text)
    return re.sub(r"(has no attribute ')(\w+)", no_attribute, text)


if __name__ == "__main__":
    sys.stdout.write(readable(sys.stdin.read(), inlined(), shortened()))
