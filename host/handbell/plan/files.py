"""Reading a plan file, and saying all that is wrong with it."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from handbell.base import toml
from handbell.base.digest import short_digest
from handbell.base.errors import PlanError
from handbell.plan.agreement import Place
from handbell.plan.going_on import every_fault
from handbell.plan.model import Plan
from handbell.plan.slips import Slip, mended, stranger
from handbell.plan.tried import tried

SIZE_MOST = 1 << 20
DIGEST_SIZE = 12
TOO_DEEP = "lists or tables are nested too deep; a plan needs two levels"


def load_plan(path: Path) -> Plan:
    """Read, check and return the plan in a file; raises PlanError with every fault found."""
    name = str(path)
    return parse_plan(_read(Path(path)), name)


def parse_plan(data: bytes, name: str = "plan") -> Plan:
    """Check and return the plan in a file's bytes; ``name`` is what errors call it."""
    strange = stranger(data)
    if strange:
        raise PlanError(name, [strange])
    source = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    try:
        text = source.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = source.count(b"\n", 0, error.start) + 1
        raise PlanError(
            name, [f"line {line}: the text is not UTF-8; save the file as UTF-8"]
        ) from None
    document, slips, places = _document(text, name)
    plan, faults = every_fault(document, places)
    if plan is None or slips:
        raise PlanError(name, [*(slip.words() for slip in slips), *faults])
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


def _document(text: str, name: str) -> tuple[dict[str, Any], list[Slip], list[Place]]:
    """Return what a text says, its slips mended, the slips, and places they tell all of.

    Raises PlanError where the slips can't be mended.
    """
    try:
        return toml.loads(text, parse_float=_decimal), [], []
    except toml.KeyTooLongError as error:
        fault = f"{error}; write key = value"
    except toml.TOMLDecodeError:
        return _mended(text, name)
    except RecursionError:
        fault = TOO_DEEP
    except ValueError as error:
        fault = f"a number can't be read ({error}); write times in seconds"
    raise PlanError(name, [fault]) from None


def _mended(text: str, name: str) -> tuple[dict[str, Any], list[Slip], list[Place]]:
    try:
        slips, right = mended(text)
        if right is not None:
            found = tried(slips, right, toml.loads(right, parse_float=_decimal))
            return found.document, found.slips, found.places
        faults = [slip.words() for slip in slips]
    except RecursionError:
        faults = [TOO_DEEP]
    except ValueError as error:
        faults = [f"a number can't be read ({error}); write times in seconds"]
    raise PlanError(name, faults) from None


def _decimal(text: str) -> Decimal:
    try:
        return Decimal(text)
    except InvalidOperation:
        return Decimal("Infinity")
