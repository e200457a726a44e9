"""Changing keys of a table, with the quotes, the layout and the comments that they have."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import tomlkit
from tomlkit.container import Container
from tomlkit.items import Array, Comment, InlineTable, String, Trivia

Table = dict[str, Any]


def change_keys(table: Any, values: Table) -> None:
    """Change keys of a table of the style-preserving TOML library; None takes one out."""
    for key, value in values.items():
        if value is None:
            _take_out(table, key)
        elif isinstance(value, list) and _fits(table.get(key), value):
            _change_list(table, key, value)
        elif isinstance(value, str):
            table[key] = _string(value, table.get(key))
        else:
            table[key] = value


def _change_list(table: Any, key: str, value: list[Any]) -> None:
    old = table[key]
    if len(old) == len(value):
        for n, entry in enumerate(value):
            old[n] = _string(entry, old[n]) if isinstance(entry, str) else entry
    elif "#" in old.as_string():
        raise ValueError("comments stand between the entries of a list that changes its length")
    else:
        table[key] = value


def _fits(old: Any, new: Sequence[Any]) -> bool:
    """Return whether an old list can take the entries of a new one, and so keep its layout."""
    return isinstance(old, Array) and len(old) == len(new)


def _string(value: str, old: Any) -> String:
    """Return a text between the quotes that the old one had."""
    literal = isinstance(old, String) and old.as_string().startswith("'")
    return tomlkit.string(value, literal=literal and "'" not in value)


def _take_out(table: Any, key: str) -> None:
    """Take a key out; a comment on its lines stays, on a line of its own."""
    if not isinstance(table, InlineTable):
        body = (table if isinstance(table, Container) else table.value).body
        at = next(n for n, (k, _) in enumerate(body) if k is not None and k.key == key)
        item = body[at][1]
        # Reps, goals and ways to tap hold no texts with a # in them.
        said = [*re.findall(r"#[^\n]*", item.as_string()), item.trivia.comment]
        indent = item.trivia.indent
        kept = f"\n{indent}".join(text.rstrip() for text in said if text)
        if kept:  # one item for one: the table knows its other keys by their places
            body[at] = (None, Comment(Trivia(indent, "", kept)))
            return
    table.remove(key)
