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
    buttons = buttons or change.get("buttons") or kept.get("buttons", 1)
    counts = {"#": buttons}
    for sign, what in (("@", "strings"), ("%", "receivers")):
        counts[sign] = change.get(what, kept.get(what, 0))
    dropped = set(change.get("drop", ()))
    parts = {ref: dict(fields) for ref, fields in kept.get("part", {}).items()}
    parts = {ref: fields for ref, fields in parts.items() if ref not in dropped}
    for ref, fields in change.get("part", {}).items():
        parts[ref] = parts.get(ref, {}) | fields
    free = change.get("free", kept.get("free", ()))
    away = {f"U1.{name}" for name in free}
    nets = _nets(kept.get("net", {}), change.get("net", {}), dropped | away)
    kept |= {
        "variant": variant,
        "what": change.get("what", "the reference box"),
        "product": change.get("product", "box"),
        "boxes": change.get("boxes", 1),
        "buttons": buttons,
        "strings": counts["@"],
        "receivers": counts["%"],
        "free": free,
        "firmware": kept.get("firmware", {}) | change.get("firmware", {}),
        "part": _numbered(parts, counts),
        "net": _numbered_nets(nets, counts),
        "class_day": kept.pop("class", None),
    }
    try:
        return Box.model_validate(kept)
    except ValidationError as error:
        raise HandbellError("box.toml: " + _faults(error), "Mend the file") from error


def _nets(
    nets: dict[str, list[str]], moved: dict[str, list[str]], dropped: set[str]
) -> dict[str, list[str]]:
    """Return the nets without dropped parts and ends, a variant's moved ends at their place."""
    away = dropped | {end for ends in moved.values() for end in ends}
    kept = {
        name: [end for end in ends if not {end, end.split(".")[0]} & away]
        for name, ends in nets.items()
    }
    for name, ends in moved.items():
        kept.setdefault(name, []).extend(ends)
    return kept


def _numbered(parts: dict[str, Any], counts: dict[str, int]) -> dict[str, Any]:
    return {name: fields for ref, fields in parts.items() for name, _, _ in _names(ref, counts)}


def _numbered_nets(nets: dict[str, list[str]], counts: dict[str, int]) -> dict[str, list[str]]:
    out: dict[str, list[str]] = {}
    for net, ends in nets.items():
        for name, sign, n in _names(net, counts):
            mine = [end.replace(sign, n) for end in ends] if sign else ends
            out[name] = [one for end in mine for one, _, _ in _names(end, counts)]
    return {net: ends for net, ends in out.items() if ends}


def _names(name: str, counts: dict[str, int]) -> list[tuple[str, str, str]]:
    """Return (name, sign, number) for each thing that a sign stands for, (name, "", "") without."""
    sign = next((sign for sign in counts if sign in name), "")
    if not sign:
        return [(name, "", "")]
    return [(name.replace(sign, str(n)), sign, str(n)) for n in range(1, counts[sign] + 1)]


def _faults(error: ValidationError) -> str:
    return "; ".join(
        f"{'.'.join(str(part) for part in fault['loc'])}: {fault['msg']}"
        for fault in error.errors()
    )
