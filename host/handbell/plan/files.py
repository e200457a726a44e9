"""Reading a plan file, and saying all that is wrong with it."""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from handbell.base import toml
from handbell.base.digest import short_digest
from handbell.base.errors import PlanError
from handbell.plan import rules
from handbell.plan.faults import sentences, told
from handbell.plan.model import Plan

SIZE_MOST = 1 << 20
DIGEST_SIZE = 12


def load_plan(path: Path) -> Plan:
    """Read, check and return the plan in a file; raises PlanError with every fault found."""
    name = str(path)
    return parse_plan(_read(Path(path)), name)


def parse_plan(data: bytes, name: str = "plan") -> Plan:
    """Check and return the plan in a file's bytes; ``name`` is what errors call it."""
    source = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    try:
        text = source.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = source.count(b"\n", 0, error.start) + 1
        raise PlanError(
            name, [f"line {line}: the text is not UTF-8; save the file as UTF-8"]
        ) from None
    document = _document(text, name)
    try:
        plan = Plan.model_validate(document)
    except ValidationError as error:
        raise PlanError(name, sentences(error)) from None
    faults = told(rules.of_plan(plan))
    if faults:
        raise PlanError(name, faults)
    return plan.from_file(name, source, short_digest(source))


def _read(path: Path) -> bytes:
    fault = ""
    try:
        with path.open("rb") as file:
            data = file.read(SIZE_MOST + 1)
        if len(data) <= SIZE_MOST:
            return data
        fault = "the file is over 1 MiB; that is no plan, name another"
    except FileNotFoundError:
        fault = "there is no such file; check the name and the folder"
    except (IsADirectoryError, PermissionError) as error:
        if path.is_dir():
            fault = "this is a folder; name the plan file in it"
        else:
            fault = f"the file can't be read ({error.strerror}); check who may read it"
    except (OSError, ValueError) as error:
        fault = f"the file can't be read ({error}); check the name"
    raise PlanError(str(path), [fault])


def _document(text: str, name: str) -> dict[str, Any]:
    try:
        return toml.loads(text, parse_float=_decimal)
    except toml.TOMLDecodeError as error:
        fault = _syntax(str(error), text)
    except RecursionError:
        fault = "lists or tables are nested too deep; a plan needs two levels"
    except ValueError as error:
        fault = f"a number can't be read ({error}); write times in seconds"
    raise PlanError(name, [fault]) from None


def _decimal(text: str) -> Decimal:
    try:
        return Decimal(text)
    except InvalidOperation:
        return Decimal("Infinity")


def _syntax(message: str, text: str) -> str:
    at = re.search(r" \(at (?:line (\d+), column (\d+)|end of document)\)$", message)
    what = message[: at.start()] if at else message
    if at and at[1]:
        line, column = at[1], at[2]
    else:
        lines = text.split("\n")
        line, column = str(len(lines)), str(len(lines[-1]) + 1)
    return (
        f"line {line}, column {column}: {what[:1].lower()}{what[1:]}; "
        'write key = value, texts in "quotes", tables as [[block]]'
    )
