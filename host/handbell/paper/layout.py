"""Where things stand on a card, and how large: all of it readable, none of it over the edge.

Everything on a card is sized for two metres, but the notes at its foot, which are sized for one.
Where a coach's own texts are too long for that, the caution becomes as small, then all but the name
and the task. Own tasks that are too many are summed up, since the box shows each.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from handbell.plan.own_tasks import Own, bibs_words

from .cards import Card, LaneBlock, LaneCard
from .legible import LINE, PREFERRED_RAD, largest, lines, size_mm, width

FAR_MM, NEAR_MM = 2_000, 1_000
FAR, FAR_BEST, NEAR = size_mm(FAR_MM), size_mm(FAR_MM, PREFERRED_RAD), size_mm(NEAR_MM)
NAME_GOOD, NAME_MOST, TASK_MOST, LIST_MOST = 26.0, 44.0, 24.0, 20.0
LIST_LINE, LIST_HANG_MM, LIST_GAP_MOST = 1.02, 2.0, 2.5  # letters hang below the last line
BLOCK_OVER, BLOCK_UNDER, RULE_MM = 0.2, 0.1, 0.4  # of a block's heading in a list
NAMES_WIDE = 0.6  # of a list's width, at most for the names in it
MARGIN_MM, GAP_MM, LABEL_MM, BAR_MM, INDENT_MM = 10.0, 3.5, 58.0, 7.0, 8.0
OWN_MOST, BIBS_LONG = 3, 40  # lines of own tasks; letters of their bibs
PARTS_MOST, LIST_OPTIONS = 5, 4  # lines of a list; options on its card
SEE_BOX = "see your box"


class Paper(NamedTuple):
    """A sheet lying on its side, in mm."""

    name: str
    wide_mm: float
    high_mm: float

    @property
    def room_mm(self) -> float:
        """The width between the margins."""
        return self.wide_mm - 2 * MARGIN_MM

    @property
    def depth_mm(self) -> float:
        """The height between the margins."""
        return self.high_mm - 2 * MARGIN_MM


PAPERS = {"a4": Paper("A4", 297.0, 210.0), "letter": Paper("letter", 279.4, 215.9)}


@dataclass(frozen=True)
class Piece:
    """A paragraph: its kind names its style, ``strong`` is set bold before ``text``.

    ``label_mm`` is the width of the column that ``strong`` stands in, 0 without one.
    """

    kind: str
    strong: str
    text: str
    size: float
    label_mm: float = 0.0

    def high_mm(self, room_mm: float) -> float:
        """Return how much of a page it takes, the gap after it included."""
        if self.label_mm:
            count = max(
                lines(self.text, self.size, room_mm - self.label_mm),
                lines(self.strong, self.size, self.label_mm, bold=True),
            )
        else:
            room_mm -= {"mind": BAR_MM, "own": INDENT_MM, "part": INDENT_MM}.get(self.kind, 0)
            count = lines(self.text, self.size, room_mm, strong=self.strong)
        is_list = self.kind in ("block", "line", "own", "part")
        if self.kind == "block":
            return (count * LIST_LINE + BLOCK_OVER + BLOCK_UNDER) * self.size + RULE_MM
        return count * self.size * (LIST_LINE if is_list else LINE) + (0 if is_list else GAP_MM)


@dataclass(frozen=True)
class Page:
    """A laid out card; ``gap_mm`` is what is left to put between its lines."""

    kind: str
    pieces: tuple[Piece, ...]
    gap_mm: float = 0.0


class _Choice(NamedTuple):
    """How generous a layout is: how many options and own tasks, whether it says how, and sizes."""

    options: int
    how: bool
    own: int
    caution: float
    name: float
    task: float = FAR_BEST
    rest: float = FAR
    parts: int = PARTS_MOST  # lines of a list; a longer one is a paragraph


_CHOICES = (
    _Choice(2, True, OWN_MOST, FAR, NAME_GOOD),
    _Choice(1, True, OWN_MOST, FAR, NAME_GOOD),
    _Choice(1, False, OWN_MOST, FAR, NAME_GOOD),
    _Choice(1, False, OWN_MOST, FAR, FAR_BEST),
    _Choice(1, False, 2, FAR, FAR_BEST),
    _Choice(1, False, 1, FAR, FAR_BEST),
    _Choice(1, False, 1, FAR, FAR, FAR),
    _Choice(1, False, 0, FAR, FAR, FAR),
    _Choice(1, False, 0, NEAR, FAR, FAR),
    _Choice(1, False, 0, NEAR, FAR, FAR, NEAR),
)


# A list has more to say: first its options go, then it becomes a paragraph, then it gets smaller.
_LIST_CHOICES = (
    _Choice(LIST_OPTIONS, False, OWN_MOST, FAR, NAME_GOOD),
    _Choice(LIST_OPTIONS, False, OWN_MOST, FAR, FAR_BEST),
    _Choice(1, False, OWN_MOST, FAR, FAR_BEST),
    _Choice(0, False, OWN_MOST, FAR, FAR_BEST),
    _Choice(0, False, OWN_MOST, FAR, FAR_BEST, FAR),
    _Choice(0, False, OWN_MOST, FAR, FAR, FAR, parts=1),
    _Choice(0, False, 1, FAR, FAR, FAR, parts=1),
    _Choice(0, False, 0, NEAR, FAR, FAR, parts=1),
    _Choice(0, False, 0, NEAR, FAR, FAR, NEAR, parts=1),
    _Choice(0, False, 0, NEAR, FAR, NEAR, NEAR, parts=1),
)


_GROWS = (
    (("part",), FAR_BEST),
    (("task",), FAR_BEST),
    (("mind", "tap", "head"), FAR),
    (("part",), TASK_MOST),
    (("name",), NAME_GOOD),
    (("task",), TASK_MOST),
)
SIZE_STEP = 0.25


def pages_of(cards: Sequence[Card | LaneCard], paper: Paper) -> Iterator[Page]:
    """Yield a page for each card, more for a lane's that doesn't fit on one."""
    for card in cards:
        if isinstance(card, Card):
            yield _card(card, paper)
        else:
            yield from _lane(card, paper)


def _card(card: Card, paper: Paper) -> Page:
    for choice in _LIST_CHOICES if card.parts else _CHOICES:
        pieces = list(_pieces(card, choice))
        left_mm = paper.depth_mm - LIST_HANG_MM - sum(p.high_mm(paper.room_mm) for p in pieces)
        if left_mm >= 0:
            break
    if card.parts:
        return Page("card", tuple(_grown(pieces, paper)))
    for kind, most in (("name", NAME_MOST), ("task", TASK_MOST)):
        n = next(n for n, piece in enumerate(pieces) if piece.kind == kind)
        was = pieces[n]
        high_mm = was.high_mm(paper.room_mm) - GAP_MM + max(left_mm, 0)
        size = largest(was.strong, paper.room_mm, high_mm, was.size, most, bold=True)
        pieces[n] = Piece(kind, was.strong, "", size)
        left_mm -= pieces[n].high_mm(paper.room_mm) - was.high_mm(paper.room_mm)
    return Page("card", tuple(pieces))


def _grown(pieces: Sequence[Piece], paper: Paper) -> list[Piece]:
    """Return the pieces of a list's card in the room they have: first the list, the name last."""
    grown = list(pieces)
    for kinds, most in _GROWS:
        while True:
            larger = [
                replace(p, size=max(p.size, min(p.size + SIZE_STEP, most)))
                if p.kind in kinds
                else p
                for p in grown
            ]
            high_mm = sum(p.high_mm(paper.room_mm) for p in larger) + LIST_HANG_MM
            if larger == grown or high_mm > paper.depth_mm:
                break
            grown = larger
    return grown


def _pieces(card: Card, choice: _Choice) -> Iterator[Piece]:
    yield Piece("head", card.head, card.place, choice.rest)
    yield Piece("name", card.name, "", choice.name)
    yield Piece("task", card.task, "", choice.task)
    parts = card.parts if len(card.parts) <= choice.parts else (_paragraph(card.parts),)
    yield from (Piece("part", "", part, choice.task) for part in parts)
    if card.tap:
        yield Piece("tap", "", card.tap, choice.rest)
    yield from _own(card.own, choice.own, choice.rest)
    for kind, names in (("easier", card.easier), ("harder", card.harder)):
        if names and choice.options:
            words = (", " if card.parts else " or ").join(names[: choice.options])
            yield Piece(kind, kind.capitalize(), words, choice.rest, LABEL_MM)
    if card.caution:
        yield Piece("mind", "Take care:", card.caution, choice.caution)
    notes = " ".join(text for text in (card.how if choice.how else "", card.lever) if text)
    if notes:
        yield Piece("notes", "", notes, NEAR)


def _paragraph(parts: Sequence[str]) -> str:
    """Return a list's parts in one text, in which lines break only between them."""
    return ", ".join(part.replace(" ", "\N{NO-BREAK SPACE}") for part in parts)


def _own(own: Sequence[Own[str]], most: int, size: float) -> Iterator[Piece]:
    """Yield a line for each own task; when they are too many, the last line is for the others."""
    if own and not most:
        yield Piece("own", "Some bibs:", SEE_BOX, size)
        return
    shown = list(own)
    if len(own) > most:
        others = tuple(bib for o in own[most - 1 :] for bib in o.bibs)
        shown[most - 1 :] = [Own(others, SEE_BOX)]
    for o in shown:
        words = bibs_words(o.bibs)
        words = words if len(words) <= BIBS_LONG else f"{len(o.bibs)} bibs"
        yield Piece("own", f"{words[:1].upper()}{words[1:]}:", o.what, size)


def _lane(card: LaneCard, paper: Paper) -> Iterator[Page]:
    # What to do stands in a column of its own unless that takes another page.
    pages = min((_lane_set(card, paper, columns) for columns in (True, False)), key=len)
    for n, pieces in enumerate(pages, 1):
        number = f"page {n} of {len(pages)}" if len(pages) > 1 else ""
        every = (_lane_head(card, number), *pieces)
        taken_mm = sum(piece.high_mm(paper.room_mm) for piece in every)
        left_mm = paper.depth_mm - taken_mm - LIST_HANG_MM
        yield Page("lane", every, min(LIST_GAP_MOST, max(0, round(left_mm / len(every), 2))))


def _lane_set(card: LaneCard, paper: Paper, columns: bool) -> list[list[Piece]]:
    """Return a lane's list in the largest size that has the fewest pages."""
    size = LIST_MOST
    while True:
        label_mm = _names_mm(card, size, paper) if columns else 0.0
        pages = _lane_pages(card, paper, size, label_mm, whole=False)
        if len(pages) == 1 or size <= FAR:
            return min(_lane_pages(card, paper, size, label_mm, whole=True), pages, key=len)
        size = max(size - 0.5, FAR)


def _lane_head(card: LaneCard, number: str) -> Piece:
    text = "; ".join(word for word in (card.people, number) if word)
    return Piece("head", card.head, text, FAR)


def _lane_pages(
    card: LaneCard, paper: Paper, size: float, label_mm: float, whole: bool
) -> list[list[Piece]]:
    """Cut a lane's list into pages; with ``whole``, between blocks where that can be."""
    head_mm = _lane_head(card, "page 99 of 99").high_mm(paper.room_mm)
    depth_mm = paper.depth_mm - head_mm - LIST_HANG_MM
    pages: list[list[Piece]] = [[]]
    left_mm = depth_mm
    for block in card.blocks:
        pieces = list(_block(block, size, label_mm))
        high_mm = sum(piece.high_mm(paper.room_mm) for piece in pieces)
        if whole and pages[-1] and high_mm > left_mm:
            pages.append([])
            left_mm = depth_mm
        for n, piece in enumerate(pieces):
            together = _together(pieces, n)
            if pages[-1] and sum(p.high_mm(paper.room_mm) for p in together) > left_mm:
                pages.append([])
                left_mm = depth_mm
            pages[-1].append(piece)
            left_mm -= piece.high_mm(paper.room_mm)
    return pages


def _together(pieces: Sequence[Piece], n: int) -> Sequence[Piece]:
    """Return what a page is not turned within: a title, an exercise, its first own task."""
    end = n + 1
    if pieces[n].kind == "block":
        end += 1
    if pieces[n].kind != "own" and end < len(pieces) and pieces[end].kind == "own":
        end += 1
    return pieces[n:end]


def _names_mm(card: LaneCard, size: float, paper: Paper) -> float:
    """Return how wide the column of a list's names is, so that what to do stands below itself."""
    names = (line.name for block in card.blocks for line in block.exercises)
    widest = max((width(f"{name} ", bold=True) for name in names), default=0.0)
    return round(min(widest * size + GAP_MM, NAMES_WIDE * paper.room_mm), 1)


def _block(block: LaneBlock, size: float, label_mm: float) -> Iterator[Piece]:
    yield Piece("block", "", block.title, size)
    for line in block.exercises:
        yield Piece("line", line.name if label_mm else f"{line.name}:", line.task, size, label_mm)
        yield from _own(line.own, OWN_MOST, size)
