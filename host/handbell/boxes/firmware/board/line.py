"""How long a line of 256 characters of JSON takes to parse."""
# mypy: ignore-errors
# ruff: noqa: F821

import json

_line = json.dumps({"numbers": list(range(100_000, 100_029)), "text": "abcdefghijkl"})
_line += " " * (256 - len(_line))
show(line_us=middle([us(json.loads, _line) for _ in range(20)]))
