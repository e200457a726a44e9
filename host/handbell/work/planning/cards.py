"""Writing a plan on paper: station cards and a timetable, as pages to print."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from handbell.base.files import write_whole
from handbell.coach.library.shelf import load_library
from handbell.paper.layout import PAPERS
from handbell.paper.page import cards_page, timetable_page
from handbell.paper.printing import find_browser, print_pdf

from .plans import CAUTION, compiled


@dataclass(frozen=True)
class Cards:
    """Pages that were written; ``ok`` is False where PDF was wanted and ``browser`` is None."""

    ok: bool
    title: str
    size: str
    paper: str
    cards: int
    timetable_over_a_page: bool
    browser: str | None
    written: tuple[str, ...]


def cards(
    plan: Path,
    folder: Path | None = None,
    size: str = "a4",
    pdf: bool = False,
    own_library: Path | None = None,
) -> Cards:
    """Write ``cards.html`` and ``timetable.html``, with ``pdf`` PDF files too.

    They go to a folder beside the caller, named after the plan, unless told; ``size`` is a key of
    PAPERS. Raises PlanError, HandbellError.
    """
    built, library, paper = compiled(plan), load_library(own_library), PAPERS[size]
    folder = folder or Path(f"{plan.stem}-cards")
    page, count = cards_page(built, library, paper)
    table, made = timetable_page(built, library, paper, CAUTION)
    paths = [folder / "cards.html", folder / "timetable.html"]
    for path, text in zip(paths, (page, table), strict=True):
        write_whole(path, text, own_sort=True)
    browser = find_browser() if pdf else None
    if browser is not None:
        for path in paths[:2]:
            paths.append(path.with_suffix(".pdf"))
            print_pdf(browser, path, paths[-1])
    return Cards(
        browser is not None or not pdf,
        built.plan.title,
        size,
        paper.name,
        count,
        made.over,
        browser,
        tuple(map(str, paths)),
    )
