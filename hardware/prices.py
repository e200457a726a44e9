"""The bill of materials: what to order, for one box and for a set, and what it costs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from hardware.load import box_of, variants
from hardware.markdown import table
from hardware.model import Box
from hardware.tables import REMOTE, named

TWELVE = 12
_LETTERS = (
    "U",
    "L",
    "LS",
    "SB",
    "BT",
    "S",
    "J",
    "F",
    "D",
    "Q",
    "R",
    "RP",
    "RS",
    "C",
    "CB",
    "RX",
    "RF",
    "CF",
    "IA",
    "IB",
    "IC",
    "ID",
    "QM",
    "QL",
    "RE",
    "RG",
    "PB",
)


@dataclass(frozen=True)
class Line:
    """One line of an order for one box."""

    what: str
    refs: tuple[str, ...]
    each: float
    optional: str

    @property
    def total(self) -> float:
        """The price of all of them."""
        return self.each * len(self.refs)


def lines(box: Box) -> list[Line]:
    """Return what one box takes; equal parts are one line."""
    grouped: dict[tuple[str, float, str], list[str]] = {}
    for ref, part in box.part.items():
        grouped.setdefault((named(part), part.price, part.optional), []).append(ref)
    found = [
        Line(what, tuple(refs), each, optional) for (what, each, optional), refs in grouped.items()
    ]
    return sorted(found, key=lambda line: _order(line.refs[0]))


def _order(ref: str) -> tuple[int, str]:
    letters = ref.rstrip("0123456789")
    return (_LETTERS.index(letters) if letters in _LETTERS else len(_LETTERS), ref)


def box_price(box: Box) -> float:
    """Return the price of one box."""
    return sum(line.total for line in lines(box))


def set_price(data: dict[str, Any], kind: str) -> float:
    """Return the price of a set of ``kind`` ("twelve" or "bench") with what it shares."""
    box, count = _set(data, kind)
    shared = [item for item in box.shared if item.set == kind]
    spare = sum(box_price(box) for item in shared if item.box)
    return count * box_price(box) + spare + sum(item.price for item in shared)


def _set(data: dict[str, Any], kind: str) -> tuple[Box, int]:
    if kind == "twelve":
        return box_of(data), TWELVE
    box = box_of(data, kind)
    return box, box.boxes


def tables(data: dict[str, Any]) -> dict[str, str]:
    """Return the tables of docs/makers/hardware.md that have prices in them."""
    return {
        "order": order(box_of(data), TWELVE, "twelve"),
        "remote_order": order(box_of(data, REMOTE)),
        "totals": totals(data),
    }


def order(box: Box, many: int = 0, called: str = "") -> str:
    """Return the bill of materials of one, and of ``many`` if they are asked for."""
    rows: list[tuple[object, ...]] = []
    for line in lines(box):
        count = len(line.refs)
        what = line.what + (f" (may be left out: {line.optional})" if line.optional else "")
        row = (", ".join(line.refs), what, count, f"{line.each:.2f}", f"{line.total:.2f}")
        rows.append((*row, *((count * many, f"{line.total * many:.2f}") if many else ())))
    total = box_price(box)
    last = ("", "**all**", "", "", f"**{total:.2f}**")
    rows.append((*last, *(("", f"**{total * many:.2f}**") if many else ())))
    one, money = box.product, box.currency
    head = ("part", "what", f"a {one}", f"{money} each", f"{money} a {one}")
    return table((*head, *((called, money) if many else ())), rows)


def totals(data: dict[str, Any]) -> str:
    """Return the price of each build and each set."""
    rows: list[tuple[object, ...]] = []
    for name in variants(data):
        box = box_of(data, name)
        rows.append((f"one {box.product}: {box.what}", f"{box_price(box):.2f}"))
    box = box_of(data)
    for option in dict.fromkeys(line.optional for line in lines(box) if line.optional):
        less = sum(line.total for line in lines(box) if line.optional == option)
        rows.append((f"one box without its {option}", f"{box_price(box) - less:.2f}"))
    more = box_price(box_of(data, buttons=2)) - box_price(box)
    rows.append(("each button more", f"{more:.2f}"))
    for kind, what in (("twelve", "a set of twelve"), ("bench", "the bench rig of four")):
        _, count = _set(data, kind)
        shared = ", ".join(item.what for item in box.shared if item.set == kind)
        rows.append((f"**{what}**: {count} boxes; {shared}", f"**{set_price(data, kind):.2f}**"))
    return table(("what", f"{box.currency}, prices from memory, {box.priced}"), rows)
