"""A report as one page that needs nothing else: no network, no script, no other file."""

from __future__ import annotations

from pathlib import Path

from handbell.base.files import write_whole
from handbell.base.markup import isolated, isolated_alone, together
from handbell.base.times import day_of, whole_clock
from handbell.base.words import block_words, several, short

from .one_class.model import ClassReport
from .one_class.views import class_view
from .one_list import LIST_CAUTION
from .over_time.athlete import AthleteReport
from .over_time.group_model import GroupReport
from .over_time.views import athlete_view, group_view
from .view import View
from .words import faded_by

HERE = Path(__file__).parent

Report = ClassReport | AthleteReport | GroupReport


def write_page(report: Report, path: Path, *, with_list: bool = False) -> None:
    """Write the page; an old one stays whole until the new one is. Raises HandbellError."""
    write_whole(path, page(report, with_list=with_list), own_sort=True, private=True)


def page(report: Report, *, with_list: bool = False) -> str:
    """Return the page's HTML; with the list of who to talk to open, and printed, if asked."""
    import jinja2
    from markupsafe import Markup

    loader = jinja2.FileSystemLoader(HERE)
    env = jinja2.Environment(loader=loader, autoescape=True, trim_blocks=True, lstrip_blocks=True)
    env.filters.update(
        clock=whole_clock,
        faded=faded_by,
        whole_percent=lambda share: f"{share:.0f} %",
        several=several,
        short=short,
        alone=isolated_alone,
        block=block_words,
        day=day_of,
    )
    view = _view(report)
    return env.get_template(view.template).render(
        report=report,
        with_list=with_list,
        list_caution=LIST_CAUTION,
        style=Markup((HERE / "page.css").read_text(encoding="utf-8")),
        sentence=lambda words: isolated(together(words), view.names),
        **view.shown,
    )


def _view(report: Report) -> View:
    if isinstance(report, ClassReport):
        return class_view(report)
    return athlete_view(report) if isinstance(report, AthleteReport) else group_view(report)
