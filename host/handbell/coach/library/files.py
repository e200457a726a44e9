"""Reading the exercises that come with Handbell and the coach's own, and saying what is wrong."""

from __future__ import annotations

import difflib
import functools
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from handbell.base import toml
from handbell.base.errors import PlanError
from handbell.base.words import quoted

from .entry import Entry, OwnFile, missing

SHIPPED = Path(__file__).with_name("exercises")
SIZE_MOST = 1 << 20

Table = dict[str, Any]


def read_entries(own: Path | None) -> tuple[list[Entry], OwnFile]:
    """Return all exercises, the shipped ones first, and the head of the coach's own file.

    An exercise of the own file whose id is known changes only the keys that it writes. Raises
    PlanError with every fault of the file.
    """
    tables, shipped = _shipped()
    if own is None:
        return list(shipped.values()), OwnFile()
    head, changed, faults = _own_entries(_document(own), tables)
    if faults:
        raise PlanError(str(own), faults)
    return list({**shipped, **changed}.values()), head


@functools.cache
def _shipped() -> tuple[dict[str, Table], dict[str, Entry]]:
    tables: dict[str, Table] = {}
    for path in sorted(SHIPPED.glob("*.toml")):
        for table in _document(path)["exercise"]:
            tables[table["id"]] = table
    return tables, {id_: Entry.model_validate(table) for id_, table in tables.items()}


def _own_entries(
    document: Table, tables: dict[str, Table]
) -> tuple[OwnFile, dict[str, Entry], list[str]]:
    faults: list[str] = []
    head = OwnFile()
    try:
        head = OwnFile.model_validate(document)
    except ValidationError as error:
        return head, {}, _sentences(error, "", OwnFile)
    changed: dict[str, Entry] = {}
    for n, table in enumerate(head.exercise, 1):
        id_ = table["id"] if isinstance(table.get("id"), str) else ""
        place = f"exercise {n}"
        if id_:
            place += f" ({id_})" if id_.isprintable() else f" ({quoted(id_)})"
        if id_ in changed:
            faults.append(f"{place}: this id is there already; write each exercise once")
            continue
        try:
            entry = Entry.model_validate(_merged(tables.get(id_, {}), table))
            changed[entry.id] = entry
        except ValidationError as error:
            faults += _sentences(error, place, Entry)
    return head, changed, faults


def _merged(known: Table, table: Table) -> Table:
    """Return a table over a known one; reps take the place of a hold and the other way round."""
    over = dict(known)
    for key, other in (("reps_30s", "hold_s"), ("hold_s", "reps_30s")):
        if key in table:
            over.pop(other, None)
    return over | table


def _document(path: Path) -> Table:
    try:
        data = path.read_bytes()
        if len(data) > SIZE_MOST:
            raise PlanError(str(path), ["the file is over 1 MiB; that is no list of exercises"])
        return toml.loads(data.decode("utf-8-sig").replace("\r\n", "\n"))
    except FileNotFoundError:
        fault = "there is no such file; check the name and the folder"
    except OSError as error:
        fault = f"the file can't be read ({error.strerror}); check the name and who may read it"
    except UnicodeDecodeError:
        fault = "the text is not UTF-8; save the file as UTF-8"
    except RecursionError:
        fault = "lists or tables are nested too deep; write exercises as [[exercise]]"
    except toml.TOMLDecodeError as error:
        fault = f"{error}; write key = value, texts in quotes, exercises as [[exercise]]"
    except ValueError as error:
        fault = f"a number can't be read ({error}); write a smaller one"
    raise PlanError(str(path), [fault])


def _sentences(error: ValidationError, place: str, model: type[BaseModel]) -> list[str]:
    return [_sentence(part, place, list(model.model_fields)) for part in error.errors()]


def _sentence(part: Any, place: str, keys: list[str]) -> str:
    steps = [str(step) for step in part["loc"]]
    key = steps[0] if steps else ""
    raised = part.get("ctx", {}).get("error")
    if part["type"] == "missing":
        return f"{place}: {missing(key)}"
    if part["type"] == "extra_forbidden":
        near = difflib.get_close_matches(key, keys, 1, 0.6)
        remedy = f"did you mean {near[0]}?" if near else f"known are {', '.join(keys)}"
        fault = f"no such key here; {remedy}"
    elif raised is not None:
        fault = str(raised)
    else:
        fault = "write [[exercise]], with two brackets, on a line of its own and its keys below"
    shown_key = key if key.isprintable() and len(key) <= 40 else quoted(key[:40])
    return ", ".join(word for word in (place, shown_key) if word) + f": {fault}"
