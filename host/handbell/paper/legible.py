"""How large letters must be to be read from afar, and how much room a text takes.

Heights are by NUREG-0700: a capital subtends at least 15 minutes of arc at the eye, better 20.
Faces differ between computers, so widths are those of a wide one and capitals those of a low one:
a text that fits here fits anywhere.
"""

from __future__ import annotations

import math
import re
import unicodedata

LEAST_RAD, PREFERRED_RAD = 0.00436, 0.00582
CAPITAL = 0.685  # of the size of the type: 0.688 in Liberation Sans to 0.729 in DejaVu Sans
LINE = 1.16  # from one line to the next, of the size

# Widths in sizes of the type: letters of DejaVu Sans by the most of their sort, plain and bold.
_SORTS = (
    ("'iljıłIJ ,.’·/\\|:;", 0.34, 0.40),
    ("f-()[]t!rľ", 0.42, 0.50),
    ('"_`–*sz?cLFkxvy', 0.60, 0.69),
    ("PTYoøaeßEhnubdgpqSK0123456789${}", 0.66, 0.78),
    ("AVZXBRCUN", 0.75, 0.84),
    ("HDG&OQØw#+<>=~^×", 0.84, 0.93),
)
_WIDTHS = {letter: (plain, bold) for letters, plain, bold in _SORTS for letter in letters}
_BROAD = (1.07, 1.17)


def capital_mm(distance_mm: float, radians: float = LEAST_RAD) -> float:
    """Return how high a capital must be to be read from a distance."""
    return distance_mm * radians


def size_mm(distance_mm: float, radians: float = LEAST_RAD) -> float:
    """Return the size of type whose capitals are that high, rounded up to tenths."""
    return math.ceil(capital_mm(distance_mm, radians) / CAPITAL * 10) / 10


def width(text: str, bold: bool = False) -> float:
    """Return the most room that a text takes on a line, in sizes of the type."""
    return sum(_letter(c, bold) for c in unicodedata.normalize("NFC", text))


def _letter(letter: str, bold: bool) -> float:
    if unicodedata.combining(letter):
        return 0.0
    base = unicodedata.normalize("NFD", letter)[0]
    return _WIDTHS.get(letter, _WIDTHS.get(base, _BROAD))[bold]


_WORD = re.compile("[^ \n]+")


def lines(text: str, size_mm: float, room_mm: float, bold: bool = False, strong: str = "") -> int:
    """Return on how many lines a text is set, with bold words before it.

    Words stay whole, and so do those that a no-break space joins; one that is longer than a line is
    broken.
    """
    words = [(word, True) for word in _WORD.findall(strong)]
    words += [(word, bold) for word in _WORD.findall(text)]
    room = room_mm / size_mm
    count, used = 1, 0.0
    for word, heavy in words:
        wide = width(word, heavy)
        gap = width(" ", heavy) if used else 0.0
        if used and used + gap + wide > room:
            count, used, gap = count + 1, 0.0, 0.0
        if wide > room:
            more = math.ceil(wide / (room - _BROAD[heavy]))
            count, used = count + more - 1, room
        else:
            used += gap + wide
    return count


def largest(
    text: str, room_mm: float, high_mm: float, least_mm: float, most_mm: float, bold: bool = False
) -> float:
    """Return the largest size, in halves of mm, in which a text fits; ``least_mm`` if none."""
    size = most_mm
    while size > least_mm:
        if lines(text, size, room_mm, bold) * size * LINE <= high_mm:
            return size
        size -= 0.5
    return least_mm
