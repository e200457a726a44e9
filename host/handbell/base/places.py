"""Where things are: the folders Handbell keeps things in, and what the environment may name."""

from __future__ import annotations

import os
import re
from pathlib import Path

from handbell.base.errors import HandbellError

DATA = "HANDBELL_DATA"
STORE = "HANDBELL_STORE"
PORTS = "HANDBELL_PORTS"
COACH = "HANDBELL_COACH"
BROWSER = "HANDBELL_BROWSER"
CLOCK = "HANDBELL_CLOCK"
SETTINGS = "HANDBELL_SETTINGS"

VARIABLES = {
    DATA: "the folder for the store, the map of stations and half-done transfers",
    STORE: "the store: a file, or the address of a PostgreSQL server",
    PORTS: "addresses of boxes, separated by blanks, quoted as in a shell",
    COACH: "who amends counts: a name that stands beside each",
    BROWSER: "the browser that prints cards and pages as PDF",
    CLOCK: "the clock file of virtual boxes, which handbell virtual names",
    SETTINGS: "the settings file, if it is not at its usual place",
}
"""Every variable that is read, with what it names."""


# What may stand in the settings file, by its key there.
KEYS = {
    name.removeprefix("HANDBELL_").lower(): name for name in (DATA, STORE, PORTS, COACH, BROWSER)
}


def named(variable: str) -> str:
    """Return what the environment says for one of ``VARIABLES``, else the settings file, else "".

    Raises HandbellError for a settings file that can't be read.
    """
    assert variable in VARIABLES
    said = os.environ.get(variable, "")
    return said or (settings().get(variable, "") if variable in KEYS.values() else "")


def settings_file() -> Path:
    """Return where the settings file is, or would be."""
    said = os.environ.get(SETTINGS)
    if said:
        return Path(said)
    from platformdirs import user_config_path

    return user_config_path("handbell") / "settings.toml"


def settings() -> dict[str, str]:
    """Return what the settings file says, by variable; nothing when there is none.

    Raises HandbellError for one that can't be read or holds a key that means nothing.
    """
    path = settings_file()
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        return {}
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "not all of it is text in UTF-8"
        raise HandbellError(
            f"{path} can't be read: {why}", "Mend the file, or take it away"
        ) from error
    from handbell.base import toml

    try:
        said = toml.loads(text)
    except (ValueError, RecursionError) as error:
        raise HandbellError(f"{path}: {error}", "Mend the file, or take it away") from None
    for key, value in said.items():
        if key not in KEYS or not isinstance(value, str):
            at = _line_of(key, text)
            raise HandbellError(
                f"{path}: {key} is no setting, or no text in quotes{at}",
                f"There are {', '.join(KEYS)}",
            )
    return {KEYS[key]: value for key, value in said.items()}


def _line_of(key: str, text: str) -> str:
    """Return where a key stands, in the words of the reader of TOML; "" where it isn't plain."""
    for number, line in enumerate(text.splitlines(), 1):
        if re.match(rf"\s*\[*\s*[\"']?{re.escape(key)}\b", line):
            return f" (at line {number})"
    return ""


def data_folder() -> Path:
    """Return the folder for what is kept; it need not be there yet.

    Raises HandbellError for one that can't be looked into.
    """
    folder = _data_folder()
    try:
        os.stat(os.path.join(folder, os.curdir))  # noqa: PTH116, PTH118  a Path drops the dot
    except (FileNotFoundError, NotADirectoryError):
        pass  # told by what writes there
    except OSError as error:
        raise HandbellError(
            f"The data folder {folder} can't be read ({error.strerror})",
            f"Let your user read it, or name another with {DATA}",
        ) from error
    return folder


def _data_folder() -> Path:
    if named(DATA):
        return _said_data()
    from platformdirs import user_data_path

    return user_data_path("handbell")


def _said_data() -> Path:
    """Return the folder that was said; one in the settings file is the same wherever one stands."""
    said = Path(named(DATA)).expanduser()
    return said if os.environ.get(DATA) else settings_file().parent / said


def state_folder() -> Path:
    """Return the folder for the log of what was run; it need not be there yet."""
    if named(DATA):
        return _said_data() / "state"
    from platformdirs import user_state_path

    return user_state_path("handbell")
