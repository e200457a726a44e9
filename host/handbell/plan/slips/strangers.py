"""Files that are no plan at all, by how they begin."""

from __future__ import annotations

import re

# The first bytes are those of the formats' own descriptions (from memory).
_BEGINS = (
    (b"PK\x03\x04", "this is a spreadsheet, a text document or another packed file"),
    (b"\xd0\xcf\x11\xe0", "this is a spreadsheet or a text document of an office program"),
    (b"%PDF", "this is a PDF"),
    (b"{\\rtf", "this is a text document of an office program"),
    (b"\x89PNG", "this is a picture"),
    (b"\xff\xd8\xff", "this is a picture"),
    (b"GIF8", "this is a picture"),
    (b"RIFF", "this is a sound or a picture"),
    (b"SQLite format 3", "this is a store or another database"),
    (b"\x1f\x8b", "this is a packed file"),
)
_WIDE = (b"\xff\xfe", b"\xfe\xff")
_PLAIN = "a plan is a plain text file: handbell new writes one to start from"


def stranger(data: bytes) -> str:
    """Return what a file is that is no plan, and the remedy; "" when it may be one."""
    for begin, what in _BEGINS:
        if data.startswith(begin):
            return f"{what}; {_PLAIN}"
    if data.startswith(_WIDE) or data[1:20:2] == b"\0" * len(data[1:20:2]) != b"":
        return "the text is UTF-16; save the file as UTF-8"
    if b"\0" in data:
        return f"this is no text; {_PLAIN}"
    text = data.decode("utf-8", "replace").lstrip("\ufeff \n\r\t")
    if re.match(r"<(!doctype|html|\?xml)", text, re.IGNORECASE):
        return f"this is a web page; {_PLAIN}"
    if re.match(r"\{\s*(\"|\}|$)", text) or re.match(r"\[\s*\{", text):
        return f"this is JSON; {_PLAIN}"
    lines = [line for line in text.split("\n")[:20] if line.strip()]
    for sign in ",;\t":
        counts = {line.count(sign) for line in lines}
        if len(lines) > 1 and "=" not in text and len(counts) == 1 and counts.pop() > 0:
            return f"this is a table of a spreadsheet (CSV); {_PLAIN}"
    return ""
