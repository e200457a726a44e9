"""The hall of this computer: a number that classes are told apart by, and what people call it.

It stands in ``hall.toml`` of the data folder. The number is no secret: it is drawn once, travels
with each plan that is sent and comes home with the logs.
"""

from __future__ import annotations

import json
import os
import re
import secrets
from dataclasses import dataclass
from pathlib import Path

from handbell.base import toml
from handbell.base.errors import HandbellError, UsageError
from handbell.base.files import beside, write_whole
from handbell.base.places import DATA, data_folder

SIGNS, NAME_MOST = 16, 40
SHOWN = 8  # so many of a number's signs are shown where it has no name
_FREE = f"Free the folder, or name another with {DATA}"


@dataclass(frozen=True)
class Hall:
    """A hall: its number as 16 hex signs, and its name, "" when it has none."""

    number: str
    name: str = ""

    @property
    def words(self) -> str:
        """How it is called."""
        return called(self.number, self.name)


def called(number: str, name: str | None) -> str:
    """Return how a hall is called: by its name, else by how its number begins."""
    return name or f"hall {number[:SHOWN]}"


def hall_file() -> Path:
    """Return where the hall of this computer stands, or would."""
    return data_folder() / "hall.toml"


def own_hall() -> Hall | None:
    """Return the hall of this computer, None before it has one; raises HandbellError."""
    try:
        return read_hall(hall_file())
    except FileNotFoundError:
        return None


def made_hall() -> Hall:
    """Return the hall of this computer, drawn now if it has none; raises HandbellError."""
    found = own_hall()
    if found is not None:
        return found
    drawn = Hall(drawn_number())
    path = hall_file()
    part = beside(path)
    try:
        write_whole(part, _text(drawn), _FREE)
        try:
            os.link(part, path)  # unless another program has just drawn one
        except FileExistsError:
            pass
        except OSError:  # a file system without links
            part.replace(path)
    except OSError as error:
        raise HandbellError(f"{path} can't be written: {error.strerror or error}", _FREE) from error
    finally:
        part.unlink(missing_ok=True)
    return own_hall() or drawn


def drawn_number() -> str:
    """Draw a hall's number; 0 is none."""
    return f"{1 + secrets.randbelow(2 ** (4 * SIGNS) - 1):0{SIGNS}x}"


def save_hall(hall: Hall, path: Path | None = None) -> None:
    """Write a hall as this computer's own, or into a file for another; raises HandbellError."""
    if path is None:
        write_whole(hall_file(), _text(hall), _FREE)
    else:
        write_whole(path, _text(hall), own_sort=True)


def read_hall(path: Path) -> Hall:
    """Read a hall; raises FileNotFoundError, and HandbellError for what holds none."""
    try:
        said = toml.loads(path.read_text(encoding="utf-8-sig"))
        number, name = said["number"], said.get("name", "")
        if not (isinstance(number, str) and is_number(number)):
            raise ValueError("its number is none")
        return Hall(number, checked_name(name))
    except FileNotFoundError:
        raise
    except (OSError, ValueError, KeyError, TypeError, RecursionError, HandbellError) as error:
        raise HandbellError(
            f"{path} holds no hall",
            "Put a whole copy there, or take the hall from a computer that has it: "
            "handbell hall --join FILE",
        ) from error


def is_number(text: str) -> bool:
    """Whether a text is a hall's number."""
    return re.fullmatch(rf"[0-9a-f]{{{SIGNS}}}", text) is not None and int(text, 16) != 0


def checked_name(name: str) -> str:
    """Return a hall's name without spare blanks; raises UsageError for one that can't be shown."""
    plain = " ".join(name.split())
    if not plain.isprintable() or len(plain) > NAME_MOST:
        raise UsageError(
            f"{plain[:NAME_MOST]!r} is no name for a hall", f"Take {NAME_MOST} letters at most"
        )
    return plain


def _text(hall: Hall) -> str:
    name = json.dumps(hall.name, ensure_ascii=False)  # what can be shown is the same in TOML
    return (
        "# A hall of handbell: classes are told apart by its number\n"
        f'number = "{hall.number}"\nname = {name}\n'
    )
