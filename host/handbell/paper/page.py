"""Cards and timetable as pages that need nothing else, and as PDF by a browser."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handbell.base.markup import isolated, together

from .cards import cards_of
from .layout import Page, Paper, pages_of
from .timetable import Timetable, timetable

if TYPE_CHECKING:
    from handbell.coach.library.shelf import Library
    from handbell.compile import CompiledClass
    from handbell.plan.model import Plan

HERE = Path(__file__).parent


def cards_page(built: CompiledClass, library: Library, paper: Paper) -> tuple[str, int]:
    """Return the cards as HTML, and how many pages they are."""
    pages = list(pages_of(cards_of(built, library), paper))
    return _page(built.plan, paper, pages=pages), len(pages)


def timetable_page(
    built: CompiledClass, library: Library, paper: Paper, caution: str
) -> tuple[str, Timetable]:
    """Return the timetable as HTML, and what it was made of."""
    table = timetable(built, library, paper, caution)
    return _page(built.plan, paper, timetable=table), table


def _page(plan: Plan, paper: Paper, pages: Iterable[Page] = (), **more: Any) -> str:
    import jinja2
    from markupsafe import Markup

    loader = jinja2.FileSystemLoader(HERE)
    env = jinja2.Environment(loader=loader, autoescape=True, trim_blocks=True, lstrip_blocks=True)
    names = list(_names(plan))
    env.filters["apart"] = lambda words: isolated(together(words), names)
    style = Markup((HERE / "cards.css").read_text(encoding="utf-8"))
    return env.get_template("cards.html").render(
        title=plan.title, paper=paper, style=style, pages=list(pages), **more
    )


def _names(plan: Plan) -> Iterator[str]:
    """Give the names of a plan that stand among other words on its timetable."""
    yield from (group.name for group in plan.groups)
    yield from (station.label or "" for station in plan.stations)
    yield from (span.name for span in (*plan.opening, *plan.cool_down))
    for block in plan.blocks:
        yield block.name or ""
        for exercise in block.exercises:
            yield exercise.name
            yield from (part.name for part in exercise.parts)
