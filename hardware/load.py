"""``box.toml`` read into the model: the reference box, and each variant's changes to it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from handbell.base.errors import HandbellError
from hardware.model import Box

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

PATH = Path(__file__).with_name("box.toml")
REFERENCE = ""  # the name of the variant that changes nothing


def read(path: Path = PATH) -> dict[str, Any]:
    """Return ``box.toml`` as it stands; raises HandbellError if it can't be read."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise HandbellError(f"{path.name} can't be read: {error}", "Mend the file") from error


def variants(data: dict[str, Any]) -> list[str]:
    """Return the names of the builds: the reference, then the variants."""
    return [REFERENCE, *data.get("variant", {})]


def box_of(data: dict[str, Any], variant: str = REFERENCE, buttons: int = 0) -> Box:
    """Return one build; ``buttons`` 0 takes the file's number. Raises HandbellError."""
    kept = {key: value for key, value in data.items() if key != "variant"}
    change = data["variant"][variant] if variant else {}
    buttons = buttons or kept.get("buttons", 1)
    dropped = set(change.get("drop", ()))
    parts = {ref: dict(fields) for ref, fields in kept.get("part", {}).items()}
    parts = {ref: fields for ref, fields in parts.items() if ref not in dropped}
    for ref, fields in change.get("part", {}).items():
        parts[ref] = parts.get(ref, {}) | fields
    nets = _nets(kept.get("net", {}), change.get("net", {}), dropped)
    kept |= {
        "variant": variant,
        "what": change.get("what", "the reference box"),
        "boxes": change.get("boxes", 1),
        "buttons": buttons,
        "firmware": kept.get("firmware", {}) | change.get("firmware", {}),
        "part": _numbered(parts, buttons),
        "net": _numbered_nets(nets, buttons),
        "class_day": kept.pop("class", None),
    }
    try:
        return Box.model_validate(kept)
    except ValidationError as error:
        raise HandbellError("box.toml: " + _faults(error), "Mend the file") from error


def _nets(
    nets: dict[str, list[str]], moved: dict[str, list[str]], dropped: set[str]
) -> dict[str, list[str]]:
    """Return the nets without dropped parts, with the ends that a variant moves at their place."""
    away = {end for ends in moved.values() for end in ends}
    kept = {
        name: [end for end in ends if end not in away and end.split(".")[0] not in dropped]
        for name, ends in nets.items()
    }
    for name, ends in moved.items():
        kept.setdefault(name, []).extend(ends)
    return {name: ends for name, ends in kept.items() if ends}


def _numbered(parts: dict[str, Any], buttons: int) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for ref, fields in parts.items():
        for name in _names(ref, buttons):
            out[name] = fields
    return out


def _numbered_nets(nets: dict[str, list[str]], buttons: int) -> dict[str, list[str]]:
    out: dict[str, list[str]] = {}
    for net, ends in nets.items():
        for n, name in enumerate(_names(net, buttons), 1):
            mine = (end.replace("#", str(n)) for end in ends) if "#" in net else None
            out[name] = list(mine or (one for end in ends for one in _names(end, buttons)))
    return out


def _names(name: str, buttons: int) -> list[str]:
    return [name.replace("#", str(n)) for n in range(1, buttons + 1)] if "#" in name else [name]


def _faults(error: ValidationError) -> str:
    return "; ".join(
        f"{'.'.join(str(part) for part in fault['loc'])}: {fault['msg']}"
        for fault in error.errors()
    )
