"""A report as one page that needs nothing else: no network, no script, no other file."""

from __future__ import annotations

import contextlib
import unicodedata
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from handbell.base.errors import HandbellError
from handbell.base.files import beside, replace_like

from .athlete import AthleteReport
from .group_model import GroupReport
from .model import ClassReport
from .views import View, class_view, together
from .views_over_time import athlete_view, group_view
from .words import clock_of, day_of, percent_of, several, short

HERE = Path(__file__).parent

Report = ClassReport | AthleteReport | GroupReport


def write_page(report: Report, path: Path) -> None:
    """Write the page; an old one stays whole until the new one is. Raises HandbellError."""
    text = page(report)
    if path.is_dir():
        raise HandbellError(f"{path} is a folder", "Name a file in it")
    fresh = beside(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        fresh.write_text(text, encoding="utf-8", newline="\n")
        replace_like(fresh, path)
    except OSError as error:
        raise HandbellError(
            f"The page {path} can't be written: {error.strerror}", "Give another place"
        ) from error
    finally:
        with contextlib.suppress(OSError):
            fresh.unlink(missing_ok=True)


def page(report: Report) -> str:
    """Return the page's HTML."""
    import jinja2
    from markupsafe import Markup

    loader = jinja2.FileSystemLoader(HERE)
    env = jinja2.Environment(loader=loader, autoescape=True, trim_blocks=True, lstrip_blocks=True)
    env.filters.update(
        clock=clock_of,
        percent=percent_of,
        whole_percent=lambda share: f"{share:.0f} %",
        several=several,
        short=short,
        day=day_of,
    )
    view = _view(report)
    return env.get_template(view.template).render(
        report=report,
        style=Markup((HERE / "page.css").read_text(encoding="utf-8")),
        sentence=lambda words: _isolated(words, view.names),
        **view.shown,
    )


def _view(report: Report) -> View:
    if isinstance(report, ClassReport):
        return class_view(report)
    return athlete_view(report) if isinstance(report, AthleteReport) else group_view(report)


def _isolated(sentence: str, names: Iterable[str]) -> Any:
    """Return a sentence as HTML in which a name written from right to left stays in its place."""
    from markupsafe import Markup, escape

    safe = escape(together(sentence))
    for name in set(names):
        if any(unicodedata.bidirectional(c) in ("R", "AL", "AN") for c in name):
            safe = safe.replace(escape(name), Markup("<bdi>{}</bdi>").format(name))
    return safe
